"""How each tin was measured last: instrument, spindle, speed, cup, torque; what its weighings lost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from stability.records.tables import table
from stability.records.tables.bench import Reading

__all__ = ["LastUsed", "last_used"]

_reading = table(Reading)
_AT_ONCE = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class LastUsed:
    """The last measured viscosity of a tin and what it was read with; `lost_g` is first minus last mass."""

    viscosity_mpas: float | None = None
    instrument: str | None = None
    spindle: str | None = None
    speed_rpm: float | None = None
    torque_pct: float | None = None
    cup: str | None = None
    lost_g: float | None = None


def last_used(
    connection: sa.Connection, sample_ids: Sequence[int], *, as_of: datetime
) -> dict[int, LastUsed]:
    """Return how some tins were measured last, of what was taken and entered by an instant."""
    by_tin: dict[int, list[Any]] = {}
    for start in range(0, len(sample_ids), _AT_ONCE):
        some = sample_ids[start : start + _AT_ONCE]
        query = (
            sa.select(*(_reading.c[name] for name in _COLUMNS))
            .where(_reading.c.sample_id.in_(some), _reading.c.entered_at <= as_of)
            .order_by(_reading.c.entered_at, _reading.c.id)
        )
        # of a reading and its corrections the one entered last counts
        counts = {row.corrects_id or row.id: row for row in connection.execute(query)}
        for row in counts.values():
            if row.taken_at <= as_of:
                by_tin.setdefault(row.sample_id, []).append(row)
    return {sample_id: _facts(rows) for sample_id, rows in by_tin.items()}


def _facts(rows: list[Any]) -> LastUsed:
    rows.sort(key=lambda row: (row.taken_at, row.id))
    read = next((row for row in reversed(rows) if row.viscosity_mpas is not None), None)
    masses = [row.mass_g for row in rows if row.mass_g is not None]
    lost = masses[0] - masses[-1] if len(masses) > 1 else None
    if read is None:
        return LastUsed(lost_g=lost)
    names = ("viscosity_mpas", "instrument", "spindle", "speed_rpm", "torque_pct", "cup")
    return LastUsed(**{name: getattr(read, name) for name in names}, lost_g=lost)


_COLUMNS = (
    "id",
    "corrects_id",
    "sample_id",
    "taken_at",
    "viscosity_mpas",
    "instrument",
    "spindle",
    "speed_rpm",
    "torque_pct",
    "cup",
    "mass_g",
    "entered_at",
)
