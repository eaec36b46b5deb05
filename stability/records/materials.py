"""What is on record of thinners, lots and instruments."""

from __future__ import annotations

from dataclasses import dataclass

import sqlalchemy as sa

from stability.records.tables import table
from stability.records.tables.design import Thinner

__all__ = ["ThinnerFacts", "thinners"]

_thinner = table(Thinner)


@dataclass(frozen=True, slots=True)
class ThinnerFacts:
    """A thinner: its class, its flash point [°C] and where its safety data sheet is."""

    thinner: str
    thinner_class: str
    flash_c: float | None
    sds: str | None

    @property
    def is_ester(self) -> bool:
        """Whether the ester rule holds: no recommendation without a finished test of the blend itself."""
        return self.thinner_class in ("ester", "glycol ether acetate")


def thinners(connection: sa.Connection) -> dict[str, ThinnerFacts]:
    """Return all thinners on record by name."""
    columns = (_thinner.c.thinner, _thinner.c.thinner_class, _thinner.c.flash_c, _thinner.c.sds)
    return {str(row[0]): ThinnerFacts(*row) for row in connection.execute(sa.select(*columns))}
