"""One sample at the bench and its readings: few rows, few tables, a quick start.

Viscosities are mPa·s, temperatures °C, masses g; instants are aware UTC. A reading is told by its
original row, whatever corrections came after.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from stability.records.tables.base import table
from stability.records.tables.bench import (
    Ending,
    ExpectedBand,
    Reading,
    Sample,
    SampleMove,
    Store,
    Thinner,
)

__all__ = [
    "MEASURED",
    "SampleAtBench",
    "StoredReading",
    "beside",
    "insert_reading",
    "latest_band",
    "readings_of",
    "sample_at_bench",
    "sample_codes",
]

_sample, _store, _move, _ending = table(Sample), table(Store), table(SampleMove), table(Ending)
_thinner, _reading, _band = table(Thinner), table(Reading), table(ExpectedBand)

MEASURED = (
    "viscosity_mpas",
    "viscosity_text",
    "uncertainty_mpas",
    "over_range",
    "temperature_c",
    "gel_grade",
    "operator",
    "instrument",
    "spindle",
    "speed_rpm",
    "torque_pct",
    "cup",
    "efflux_s",
    "density_g_ml",
    "mass_g",
    "appearance",
    "photo",
    "note",
    "rule",
)
"""The columns that a correction may change, or carries over."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleAtBench:
    """A tin as the bench sees it: what is in it, where it stands, what is known of its thinner."""

    id: int
    sample: str
    product: str
    thinner: str | None
    level_pct: float | None
    additive: str | None
    additive_pct: float | None
    placed_at: datetime
    store: str
    store_temperature_c: float
    thinner_class: str | None
    flash_c: float | None
    sds: str | None
    ended_at: datetime | None
    end_reason: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredReading:
    """A reading: its original row and its corrections, in the order entered."""

    id: int
    rows: tuple[Mapping[str, Any], ...]

    @property
    def original(self) -> Mapping[str, Any]:
        """The row as first entered."""
        return next(row for row in self.rows if row["corrects_id"] is None)

    @property
    def counts(self) -> Mapping[str, Any]:
        """The row that counts."""
        return self.rows[-1]

    @property
    def taken_at(self) -> datetime:
        """When it was taken, as it counts."""
        moment: datetime = self.counts["taken_at"]
        return moment

    @property
    def viscosity_mpas(self) -> float | None:
        """The viscosity that counts; over range it is a lower bound."""
        value: float | None = self.counts["viscosity_mpas"]
        return value

    @property
    def gel_grade(self) -> int | None:
        """The grade that counts."""
        grade: int | None = self.counts["gel_grade"]
        return grade

    @property
    def set_aside(self) -> bool:
        """Whether a correction took it out of all sums."""
        return self.viscosity_mpas is None and self.gel_grade is None


def sample_at_bench(connection: sa.Connection, code: str, *, at: datetime) -> SampleAtBench | None:
    """Return a sample by its code with the store it stood in at an instant, or None."""
    stood = (
        sa.select(_move.c.to_store_id)
        .where(_move.c.sample_id == _sample.c.id, _move.c.at <= at)
        .order_by(_move.c.at.desc())
        .limit(1)
        .scalar_subquery()
    )
    query = (
        sa.select(
            *(_sample.c[name] for name in ("id", "sample", "product", "thinner", "level_pct")),
            *(_sample.c[name] for name in ("additive", "additive_pct", "placed_at")),
            _store.c.store,
            _store.c.temperature_c.label("store_temperature_c"),
            *(_thinner.c[name] for name in ("thinner_class", "flash_c", "sds")),
            _ending.c.at.label("ended_at"),
            _ending.c.reason.label("end_reason"),
        )
        .select_from(_sample)
        .join(_store, _store.c.id == sa.func.coalesce(stood, _sample.c.store_id))
        .outerjoin(_thinner, _thinner.c.thinner == _sample.c.thinner)
        .outerjoin(_ending, _ending.c.sample_id == _sample.c.id)
        .where(_sample.c.sample == code)
    )
    row = connection.execute(query).mappings().first()
    return None if row is None else SampleAtBench(**row)


def sample_codes(connection: sa.Connection) -> tuple[str, ...]:
    """Return the codes of all samples."""
    return tuple(connection.execute(sa.select(_sample.c.sample).order_by(_sample.c.sample)).scalars())


def readings_of(connection: sa.Connection, sample_id: int) -> tuple[StoredReading, ...]:
    """Return all readings of one sample as they count now, those set aside too, by time taken."""
    query = sa.select(_reading).where(_reading.c.sample_id == sample_id)
    rows: dict[int, list[Mapping[str, Any]]] = {}
    for row in connection.execute(query.order_by(_reading.c.entered_at, _reading.c.id)).mappings():
        rows.setdefault(row["corrects_id"] or row["id"], []).append(dict(row))
    found = [StoredReading(id=root, rows=tuple(own)) for root, own in rows.items()]
    return tuple(sorted(found, key=lambda reading: (reading.taken_at, reading.id)))


def latest_band(connection: sa.Connection, sample_id: int) -> tuple[tuple[float, float, float], ...]:
    """Return the knots of a sample's newest expected band: age [d], ln(mPa·s), sd; empty without one."""
    query = sa.select(_band.c.knots).where(_band.c.sample_id == sample_id).order_by(_band.c.id.desc())
    found = connection.execute(query.limit(1)).scalar()
    if found is None:
        return ()
    return tuple((float(age), float(mean), float(sd)) for age, mean, sd in json.loads(found))


def beside(
    connection: sa.Connection, sample_id: int, *, since: datetime, until: datetime, limit: int = 4
) -> tuple[tuple[str, int, datetime, float], ...]:
    """Return the other samples read lately as (code, id, placed at, viscosity), the latest entry first."""
    query = (
        sa.select(_sample.c.sample, _sample.c.id, _sample.c.placed_at, _reading.c.viscosity_mpas)
        .join(_sample, _sample.c.id == _reading.c.sample_id)
        .where(
            _reading.c.sample_id != sample_id,
            _reading.c.viscosity_mpas.is_not(None),
            _reading.c.taken_at.between(since, until),
        )
        .order_by(_reading.c.entered_at.desc(), _reading.c.id.desc())
        .limit(limit)
    )
    return tuple((str(a), int(b), c, float(d)) for a, b, c, d in connection.execute(query))


def insert_reading(connection: sa.Connection, values: Mapping[str, Any]) -> int:
    """Store one row, an original or a correction; return its number."""
    return int(connection.execute(_reading.insert().returning(_reading.c.id), dict(values)).scalar_one())
