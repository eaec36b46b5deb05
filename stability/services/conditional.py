"""Which readings are conditional, and why: certificates and checks held against when each was taken.

A reading rests on its instrument and on its cup; what was found out about either makes it conditional until
a named person releases it. Instants are aware UTC.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from stability.bench.instruments import Span, conditional_for, doubtful_spans
from stability.records.releases import released_at
from stability.services.instruments import certificates_by_instrument, checks_by_instrument

__all__ = ["Doubts", "doubts_known"]


@dataclass(frozen=True, slots=True)
class Doubts:
    """What speaks against each instrument as known at an instant, and which readings were released."""

    spans: Mapping[str, tuple[Span, ...]]
    released: Mapping[tuple[int, str], datetime]

    def of(
        self, reading_id: int, taken_at: datetime, means: Iterable[str | None]
    ) -> tuple[tuple[str, Span], ...]:
        """Return what a reading is conditional for, as (instrument, what was found); else nothing."""
        return tuple(
            (name, span)
            for name in dict.fromkeys(name for name in means if name)
            for span in conditional_for(
                self.spans.get(name, ()),
                taken_at=taken_at,
                released_at=self.released.get((reading_id, name)),
            )
        )

    def touching(self, taken_at: datetime, means: Iterable[str | None]) -> tuple[tuple[str, Span], ...]:
        """Return everything that was ever found about the means of a reading, released or not."""
        names = dict.fromkeys(name for name in means if name)
        return tuple(
            (name, span) for name in names for span in self.spans.get(name, ()) if span.touches(taken_at)
        )


def doubts_known(connection: sa.Connection, *, as_of: datetime) -> Doubts:
    """Return what is known against the instruments at an instant."""
    certificates = certificates_by_instrument(connection, as_of=as_of)
    checks = checks_by_instrument(connection, as_of=as_of)
    spans = {
        name: tuple(
            span
            for span in doubtful_spans(certificates.get(name, ()), checks.get(name, ()))
            if span.known_at <= as_of
        )
        for name in sorted({*certificates, *checks})
    }
    return Doubts({name: own for name, own in spans.items() if own}, released_at(connection, as_of=as_of))
