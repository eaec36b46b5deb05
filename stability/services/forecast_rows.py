"""The rows of one blend's forecast: its lots together where the lot test allows it, else each on its own.

What is frozen answers where nothing changed: lots together under the digest of all they rest on; a lot on its
own under the digest of its own and of all lots, because that it stands alone rests on the others.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from stability.records import forecasts as frozen
from stability.services.blends import Blend, digest_of
from stability.services.lots import together
from stability.services.tins import Climate

if TYPE_CHECKING:
    from stability.ageing.lots import LotTest
    from stability.settings import FitSettings

__all__ = ["Row", "rows_of"]

Bands = Mapping[int, Sequence[tuple[float, float, float]]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row: the blend as it was fitted, and what came of it; `bands` only where it changed."""

    blend: Blend
    digest: str
    payload: Mapping[str, Any]
    changed: bool
    bands: Bands = field(default_factory=dict)


def rows_of(
    lots: Sequence[Blend],
    surroundings: Climate,
    connection: sa.Connection,
    options: FitSettings,
    *,
    limit_ratio: float | None = None,
) -> tuple[Row, ...]:
    """Return the rows of the lots of one blend; `limit_ratio` asks for the lives to another limit.

    Whether lots stand together is asked of the study's own limit alone, whatever limit is asked for.
    """
    work = _Work(surroundings, connection, options, limit_ratio)
    if len(lots) == 1:
        return (work.row(lots[0], work.digest(lots[0])),)
    every = together(lots)
    family = digest_of(every, surroundings, connection, settings=options.model_dump())
    apart = [
        _joined(digest_of(lot, surroundings, connection, settings=options.model_dump()), family)
        for lot in lots
    ]
    if frozen.by_digest(connection, every.key.text, family) is not None:
        alike = True
    elif all(frozen.by_digest(connection, lot.key.text, d) for lot, d in zip(lots, apart, strict=True)):
        alike = False
    else:
        alike = not every.gel_only and work.compared(every).alike
    if alike:
        return (work.row(every, work.digest(every)),)
    return tuple(work.row(lot, _joined(work.digest(lot), family)) for lot in lots)


def _joined(own: str, family: str) -> str:
    return hashlib.sha256(f"{own} {family}".encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class _Work:
    """What the rows of a blend are made with."""

    surroundings: Climate
    connection: sa.Connection
    options: FitSettings
    limit_ratio: float | None

    def asked(self, blend: Blend) -> Blend:
        """Return a blend with the limit that is asked for."""
        return blend if self.limit_ratio is None else blend.with_limit(self.limit_ratio)

    def digest(self, blend: Blend) -> str:
        """Return the digest of a row."""
        settings = self.options.model_dump()
        return digest_of(self.asked(blend), self.surroundings, self.connection, settings=settings)

    def compared(self, every: Blend) -> LotTest:
        """Test whether lots may stand together."""
        from stability.services.lots_fitted import lots_compared

        return lots_compared(every, self.surroundings, self.connection, self.options)

    def row(self, blend: Blend, digest: str) -> Row:
        """Return a row as it is frozen, else fitted anew."""
        asked = self.asked(blend)
        known = frozen.by_digest(self.connection, asked.key.text, digest)
        if known is not None:
            return Row(blend=asked, digest=digest, payload=known.payload, changed=False)
        from stability.services.fitting import fitted

        payload, bands = fitted(asked, self.surroundings, self.connection, self.options)
        return Row(blend=asked, digest=digest, payload=payload, changed=True, bands=bands)
