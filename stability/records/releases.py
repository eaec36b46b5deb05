"""Which readings an instrument touched, which of them were released, and what was concluded from them."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from stability.records.tables import table
from stability.records.tables.bench import Instrument, Reading
from stability.records.tables.instruments import ReadingRelease
from stability.records.tables.told import Forecast, Statement, StatementEvent

__all__ = [
    "ForecastTouched",
    "StatementTouched",
    "forecasts_of_blends",
    "insert_releases",
    "means_of_readings",
    "reading_there",
    "released_at",
    "statements_of_blends",
]

_release, _instrument, _reading = table(ReadingRelease), table(Instrument), table(Reading)
_forecast, _statement, _step = table(Forecast), table(Statement), table(StatementEvent)


@dataclass(frozen=True, slots=True)
class ForecastTouched:
    """The frozen forecasts of one blend since an instant: how many, the first and the last."""

    blend_key: str
    count: int
    first_at: datetime
    last_at: datetime


@dataclass(frozen=True, slots=True)
class StatementTouched:
    """A statement on a blend, and the last step of its life."""

    number: str
    version: int
    blend_key: str
    made_at: datetime
    step: str | None


def released_at(connection: sa.Connection, *, as_of: datetime) -> dict[tuple[int, str], datetime]:
    """Return (reading, instrument) → when it was released last."""
    query = (
        sa.select(_reading.c.id, _instrument.c.instrument, _release.c.at)
        .join(
            _reading,
            sa.and_(
                _reading.c.sample_id == _release.c.sample_id,
                _reading.c.taken_at == _release.c.taken_at,
                _reading.c.corrects_id.is_(None),
            ),
        )
        .join(_instrument, _instrument.c.id == _release.c.instrument_id)
        .where(_release.c.at <= as_of, _release.c.entered_at <= as_of)
        .order_by(_release.c.at)
    )
    return {(int(number), str(name)): at for number, name, at in connection.execute(query)}


def means_of_readings(connection: sa.Connection, *, as_of: datetime) -> dict[int, tuple[str, ...]]:
    """Return reading → the instrument and the cup of what counts of it, as known by an instant."""
    columns = (_reading.c.id, _reading.c.corrects_id, _reading.c.instrument, _reading.c.cup)
    query = sa.select(*columns).where(
        _reading.c.entered_at <= as_of,
        sa.or_(_reading.c.instrument.is_not(None), _reading.c.cup.is_not(None)),
    )
    found: dict[int, tuple[str, ...]] = {}
    for number, root, instrument, cup in connection.execute(query.order_by(_reading.c.id)):
        # a correction names the means of what counts now
        found[root or number] = tuple(name for name in (instrument, cup) if name)
    return found


def insert_releases(
    connection: sa.Connection,
    readings: Sequence[tuple[int, int]],
    *,
    person: str,
    reason: str,
    at: datetime,
) -> None:
    """Release readings given as (reading, instrument) numbers."""
    originals = sa.select(_reading.c.id, _reading.c.sample_id, _reading.c.taken_at).where(
        _reading.c.id.in_([reading for reading, _ in readings])
    )
    known = {number: (sample_id, taken_at) for number, sample_id, taken_at in connection.execute(originals)}
    rows = [
        {
            "sample_id": known[reading][0],
            "taken_at": known[reading][1],
            "instrument_id": instrument,
            "at": at,
            "person": person,
            "reason": reason,
            "entered_at": at,
        }
        for reading, instrument in readings
    ]
    connection.execute(_release.insert(), rows)


def reading_there(connection: sa.Connection, sample_id: int, taken_at: datetime) -> bool:
    """Say whether an original reading of a sample and time is on record."""
    query = sa.select(_reading.c.id).where(
        _reading.c.sample_id == sample_id, _reading.c.taken_at == taken_at, _reading.c.corrects_id.is_(None)
    )
    return connection.execute(query.limit(1)).first() is not None


def forecasts_of_blends(
    connection: sa.Connection, keys: Collection[str], *, since: datetime, as_of: datetime
) -> tuple[ForecastTouched, ...]:
    """Return the frozen forecasts of blends made of what was known since an instant."""
    at = _forecast.c.as_of
    query = (
        sa.select(
            _forecast.c.blend_key,
            sa.func.count(),
            sa.func.min(at, type_=at.type),
            sa.func.max(at, type_=at.type),
        )
        .where(_forecast.c.blend_key.in_(keys), at >= since, at <= as_of)
        .group_by(_forecast.c.blend_key)
        .order_by(_forecast.c.blend_key)
    )
    return tuple(ForecastTouched(*row) for row in connection.execute(query))


def statements_of_blends(
    connection: sa.Connection, keys: Collection[str], *, since: datetime, as_of: datetime
) -> tuple[StatementTouched, ...]:
    """Return the statements on blends made since an instant, by number and version."""
    last = (
        sa.select(_step.c.step)
        .where(_step.c.statement_id == _statement.c.id, _step.c.at <= as_of)
        .order_by(_step.c.id.desc())
        .limit(1)
        .scalar_subquery()
    )
    query = (
        sa.select(
            _statement.c.number, _statement.c.version, _statement.c.blend_key, _statement.c.made_at, last
        )
        .where(_statement.c.made_at >= since, _statement.c.made_at <= as_of)
        .order_by(_statement.c.number, _statement.c.version)
    )
    found = []
    for number, version, blends, made_at, step in connection.execute(query):
        # a statement for several lots names each on a line of its own
        found += [
            StatementTouched(number, version, key, made_at, step) for key in blends.split("\n") if key in keys
        ]
    return tuple(found)
