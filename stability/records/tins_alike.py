"""Tins beside one at the bench: those of the same blend that stood alike, and those of the same store.

Viscosities are mPa·s, ages days since a sample was placed.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import sqlalchemy as sa

from stability.records.tables.base import table
from stability.records.tables.bench import Ending, Reading, Sample

__all__ = ["store_mates", "twins_read"]

_sample, _reading, _ending = table(Sample), table(Reading), table(Ending)
_BLEND = (
    "study_id",
    "product",
    "product_lot",
    "thinner",
    "thinner_lot",
    "level_pct",
    "additive",
    "additive_pct",
    "pack",
)
_SAME_AGE = timedelta(hours=24)
_YOUNG = timedelta(hours=12)


def twins_read(
    connection: sa.Connection, sample_id: int, *, taken_at: datetime, limit: int = 4
) -> tuple[tuple[str, float], ...]:
    """Return the tins of the same blend that stood alike and were read at the same age: (code, viscosity).

    Stood alike is: in the same store, or in any while both are hours old.
    """
    own = connection.execute(sa.select(_sample).where(_sample.c.id == sample_id)).mappings().one()
    age = taken_at - own["placed_at"]
    query = (
        sa.select(
            _sample.c.sample,
            _sample.c.store_id,
            _sample.c.placed_at,
            _reading.c.taken_at,
            _reading.c.viscosity_mpas,
        )
        .join(_sample, _sample.c.id == _reading.c.sample_id)
        .where(
            _sample.c.id != sample_id,
            *(_sample.c[name].is_not_distinct_from(own[name]) for name in _BLEND),
            _reading.c.viscosity_mpas.is_not(None),
            _reading.c.over_range == 0,
            _reading.c.id.not_in(
                sa.select(_reading.c.corrects_id).where(_reading.c.corrects_id.is_not(None))
            ),
        )
        .order_by(_reading.c.taken_at.desc(), _reading.c.id.desc())
    )
    found: dict[str, float] = {}
    for code, store_id, placed_at, read_at, viscosity in connection.execute(query):
        other = read_at - placed_at
        alike = store_id == own["store_id"] or max(age, other) <= _YOUNG
        if alike and abs(other - age) <= _SAME_AGE and len(found) < limit:
            found.setdefault(code, float(viscosity))
    return tuple(found.items())


def store_mates(
    connection: sa.Connection, sample_id: int, *, limit: int = 60
) -> tuple[tuple[str, int, datetime], ...]:
    """Return the tins that were put into the same store and have not ended: (code, id, placed at)."""
    store_id = sa.select(_sample.c.store_id).where(_sample.c.id == sample_id).scalar_subquery()
    query = (
        sa.select(_sample.c.sample, _sample.c.id, _sample.c.placed_at)
        .outerjoin(_ending, _ending.c.sample_id == _sample.c.id)
        .where(_sample.c.store_id == store_id, _sample.c.id != sample_id, _ending.c.id.is_(None))
        .order_by(_sample.c.sample)
        .limit(limit)
    )
    return tuple((str(code), int(number), placed_at) for code, number, placed_at in connection.execute(query))
