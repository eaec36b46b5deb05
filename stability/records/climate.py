"""What tins have been through, as known at an instant: store temperatures, outings, moves.

Times come out as days since 1970-01-01 UTC, ready for arithmetic; logger rows never become objects.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

from stability.records.tables import table
from stability.records.tables.design import Sample, Store, Study
from stability.records.tables.measured import Outing, SampleMove, StoreTemperature

__all__ = [
    "LogDigest",
    "MoveFacts",
    "OutingFacts",
    "StoreFacts",
    "epoch_days",
    "log_digests",
    "moves",
    "outings",
]
__all__ += ["store_log", "stores"]

_store, _sample, _study = table(Store), table(Sample), table(Study)
_temperature, _outing, _move = table(StoreTemperature), table(Outing), table(SampleMove)
_UNIX_EPOCH_JULIAN_DAY = 2440587.5


def epoch_days(moment: datetime) -> float:
    """Return an instant as days since 1970-01-01 UTC, [d].

    >>> epoch_days(datetime(1970, 1, 2, 12, tzinfo=UTC))
    1.5
    """
    return moment.timestamp() / 86_400.0


@dataclass(frozen=True, slots=True)
class StoreFacts:
    """A store as on record."""

    id: int
    store: str
    temperature_c: float
    tolerance_c: float | None
    humidity_pct: float | None


@dataclass(frozen=True, slots=True)
class OutingFacts:
    """A tin out of its store."""

    sample_id: int
    out_at: datetime
    back_at: datetime
    temperature_c: float | None


@dataclass(frozen=True, slots=True)
class MoveFacts:
    """A tin moved for good."""

    sample_id: int
    at: datetime
    to_store: str


@dataclass(frozen=True, slots=True)
class LogDigest:
    """How much of a store's log is known, cheaply enough to ask at every sweep."""

    points: int
    last_at: str
    degrees: float


def stores(connection: sa.Connection) -> tuple[StoreFacts, ...]:
    """Return all stores, by name."""
    columns = (
        _store.c.id,
        _store.c.store,
        _store.c.temperature_c,
        _store.c.tolerance_c,
        _store.c.humidity_pct,
    )
    return tuple(StoreFacts(*row) for row in connection.execute(sa.select(*columns).order_by(_store.c.store)))


def outings(connection: sa.Connection, *, as_of: datetime, study: str) -> tuple[OutingFacts, ...]:
    """Return the outings of a study's samples known by `as_of`."""
    query = (
        sa.select(_outing.c.sample_id, _outing.c.out_at, _outing.c.back_at, _outing.c.temperature_c)
        .where(
            _outing.c.entered_at <= as_of, _outing.c.out_at <= as_of, _outing.c.sample_id.in_(_ids_of(study))
        )
        .order_by(_outing.c.sample_id, _outing.c.out_at)
    )
    return tuple(OutingFacts(*row) for row in connection.execute(query))


def moves(connection: sa.Connection, *, as_of: datetime, study: str) -> tuple[MoveFacts, ...]:
    """Return the moves of a study's samples known by `as_of`."""
    query = (
        sa.select(_move.c.sample_id, _move.c.at, _store.c.store)
        .join(_store, _store.c.id == _move.c.to_store_id)
        .where(_move.c.entered_at <= as_of, _move.c.at <= as_of, _move.c.sample_id.in_(_ids_of(study)))
        .order_by(_move.c.sample_id, _move.c.at)
    )
    return tuple(MoveFacts(*row) for row in connection.execute(query))


def _ids_of(study: str) -> sa.Select[tuple[int]]:
    return (
        sa.select(_sample.c.id).join(_study, _study.c.id == _sample.c.study_id).where(_study.c.code == study)
    )


def log_digests(
    connection: sa.Connection, wanted: Sequence[tuple[int, datetime]], *, as_of: datetime
) -> Mapping[tuple[int, datetime], LogDigest]:
    """Return, for each (store id, instant), how much of the log up to that instant is known."""
    found: dict[tuple[int, datetime], LogDigest] = {}
    for store_id, until in wanted:
        count, last, total = connection.execute(
            sa.select(
                sa.func.count(),
                sa.func.max(_temperature.c.at),
                sa.func.coalesce(sa.func.sum(_temperature.c.temperature_c), 0.0),
            ).where(
                _temperature.c.store_id == store_id,
                _temperature.c.at <= until,
                _temperature.c.entered_at <= as_of,
            )
        ).one()
        last_at = "" if last is None else last.astimezone(UTC).isoformat()
        found[store_id, until] = LogDigest(int(count), last_at, round(float(total), 3))
    return found


def store_log(
    connection: sa.Connection, store_id: int, *, as_of: datetime, since: datetime | None = None
) -> tuple[list[float], list[float]]:
    """Return a store's log as times [d since 1970] and temperatures [°C], each instant's last word last."""
    day: sa.ColumnElement[Any]
    if connection.dialect.name == "sqlite":
        day = sa.func.julianday(_temperature.c.at, type_=sa.Float) - _UNIX_EPOCH_JULIAN_DAY
    else:
        day = sa.cast(sa.extract("epoch", _temperature.c.at), sa.Float) / 86_400.0
    query = (
        sa.select(day, _temperature.c.temperature_c)
        .where(
            _temperature.c.store_id == store_id,
            _temperature.c.at <= as_of,
            _temperature.c.entered_at <= as_of,
        )
        .order_by(_temperature.c.at, _temperature.c.entered_at)
    )
    if since is not None:
        query = query.where(_temperature.c.at >= since)
    rows = connection.execute(query).fetchall()
    return [row[0] for row in rows], [row[1] for row in rows]
