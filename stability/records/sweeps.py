"""The heartbeat of the sweep, and who may sweep: so that blind periods and second daemons are known."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from datetime import datetime, timedelta

import sqlalchemy as sa

from stability.records.tables import table
from stability.records.tables.told import Lease, Sweep

__all__ = [
    "Look",
    "alone",
    "beat",
    "forget_beats",
    "last_look",
    "lease_holder",
    "release_lease",
    "take_lease",
]

_sweep, _lease = table(Sweep), table(Lease)


@dataclass(frozen=True, slots=True)
class Look:
    """One sweep: what it looked at, and when it did so. They differ where somebody asked for another time."""

    as_of: datetime
    started_at: datetime
    finished_at: datetime


def beat(
    connection: sa.Connection, look: Look, *, blind_from: datetime | None = None, says: str = ""
) -> None:
    """Note that a sweep looked."""
    connection.execute(
        _sweep.insert().values(
            as_of=look.as_of,
            started_at=look.started_at,
            finished_at=look.finished_at,
            blind_from=blind_from,
            says=says[:2000],
        )
    )


def forget_beats(connection: sa.Connection, *, before: datetime) -> None:
    """Drop old heartbeats that tell of no blind period: at two a minute they would outgrow the readings."""
    connection.execute(_sweep.delete().where(_sweep.c.as_of < before, _sweep.c.blind_from.is_(None)))


def last_look(
    connection: sa.Connection, *, watching: bool = False, as_of: datetime | None = None
) -> Look | None:
    """Return the sweep with the latest `as_of`; with `watching` the last one that looked at its own time.

    With `as_of` only those that had looked by then count.
    """
    query = sa.select(_sweep.c.as_of, _sweep.c.started_at, _sweep.c.finished_at)
    if as_of is not None:
        query = query.where(_sweep.c.as_of <= as_of)
    if watching:
        query = query.where(_sweep.c.as_of == _sweep.c.started_at).order_by(_sweep.c.id.desc())
    else:
        query = query.order_by(_sweep.c.as_of.desc(), _sweep.c.id.desc())
    row = connection.execute(query.limit(1)).first()
    return None if row is None else Look(*row)


def alone(connection: sa.Connection, name: str) -> None:
    """Let no other transaction of this name run beside this one; on SQLite a writer is alone anyway."""
    if connection.dialect.name == "postgresql":
        number = zlib.crc32(f"stability {name}".encode())
        connection.execute(sa.select(sa.func.pg_advisory_xact_lock(number)))


def lease_holder(connection: sa.Connection, name: str) -> tuple[str, datetime] | None:
    """Return who may do a thing and until when."""
    row = connection.execute(sa.select(_lease.c.holder, _lease.c.until).where(_lease.c.name == name)).first()
    return None if row is None else (str(row[0]), row[1])


def take_lease(connection: sa.Connection, name: str, *, holder: str, now: datetime, until: datetime) -> bool:
    """Take or prolong a lease that is free, ended or ours; say whether it is ours now.

    An end further ahead than twice the span asked for comes from a clock that ran ahead, and does not count.
    """
    alone(connection, f"lease {name}")
    found = lease_holder(connection, name)
    if found is None:
        connection.execute(_lease.insert().values(name=name, holder=holder, until=until))
        return True
    held_by, held_until = found
    latest: timedelta = 2 * (until - now)
    if held_by != holder and now < held_until <= now + latest:
        return False
    connection.execute(_lease.update().where(_lease.c.name == name).values(holder=holder, until=until))
    return True


def release_lease(connection: sa.Connection, name: str, *, holder: str) -> None:
    """Give a lease back, if it is still this holder's."""
    connection.execute(_lease.delete().where(_lease.c.name == name, _lease.c.holder == holder))
