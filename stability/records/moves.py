"""Where a sample goes and how it ends: moves between stores, endings."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from stability.records.tables.base import table
from stability.records.tables.bench import Ending, SampleMove, Store

__all__ = ["MoveRow", "StorePlace", "insert_ending", "insert_move", "moves_of", "store_named", "store_names"]

_store, _move, _ending = table(Store), table(SampleMove), table(Ending)


@dataclass(frozen=True, slots=True)
class StorePlace:
    """A store: its number, name and temperature [°C]."""

    id: int
    store: str
    temperature_c: float


@dataclass(frozen=True, slots=True)
class MoveRow:
    """One move of a sample."""

    at: datetime
    to_store: str


def store_named(connection: sa.Connection, name: str) -> StorePlace | None:
    """Return a store by its name, or None."""
    columns = (_store.c.id, _store.c.store, _store.c.temperature_c)
    row = connection.execute(sa.select(*columns).where(_store.c.store == name)).first()
    return None if row is None else StorePlace(*row)


def store_names(connection: sa.Connection) -> tuple[str, ...]:
    """Return the names of all stores."""
    return tuple(connection.execute(sa.select(_store.c.store).order_by(_store.c.store)).scalars())


def moves_of(connection: sa.Connection, sample_id: int) -> tuple[MoveRow, ...]:
    """Return the moves of a sample, oldest first."""
    query = (
        sa.select(_move.c.at, _store.c.store)
        .join(_store, _store.c.id == _move.c.to_store_id)
        .where(_move.c.sample_id == sample_id)
        .order_by(_move.c.at)
    )
    return tuple(MoveRow(*row) for row in connection.execute(query))


def insert_move(
    connection: sa.Connection, *, sample_id: int, to_store_id: int, at: datetime, entered_at: datetime
) -> None:
    """Store one move."""
    values = {"sample_id": sample_id, "to_store_id": to_store_id, "at": at, "entered_at": entered_at}
    connection.execute(_move.insert(), values)


def insert_ending(
    connection: sa.Connection, *, sample_id: int, reason: str, at: datetime, entered_at: datetime
) -> None:
    """Store the ending of a sample."""
    values = {"sample_id": sample_id, "reason": reason, "at": at, "entered_at": entered_at}
    connection.execute(_ending.insert(), values)
