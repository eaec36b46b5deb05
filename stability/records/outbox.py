"""Messages on their way: written with their cause, claimed with a lease, delivered at least once."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from stability.records.tables import table
from stability.records.tables.told import Outbox

__all__ = [
    "LONGEST_DELAY",
    "ChannelState",
    "Claimed",
    "channel_states",
    "claim",
    "hasten",
    "mark_dead",
    "mark_sent",
    "put",
    "put_off",
]

_outbox = table(Outbox)

LONGEST_DELAY = timedelta(hours=12)
"""No message waits longer between two attempts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Claimed:
    """A message that is ours to send until the lease ends; `attempts` counts this one."""

    id: int
    key: str
    channel: str
    receiver: str
    payload: Mapping[str, str]
    attempts: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelState:
    """How one way to one receiver does: messages given up, and what was delivered last."""

    channel: str
    receiver: str
    dead: int
    dead_since: datetime
    dead_last_at: datetime
    last_sent_at: datetime | None
    error: str


def put(
    connection: sa.Connection,
    *,
    key: str,
    channel: str,
    receiver: str,
    payload: Mapping[str, str],
    at: datetime,
) -> bool:
    """Write one message unless its key is known; say whether it is new."""
    known = connection.execute(sa.select(_outbox.c.id).where(_outbox.c.key == key)).first()
    if known is not None:
        return False
    connection.execute(
        _outbox.insert().values(
            key=key,
            channel=channel,
            receiver=receiver,
            payload=json.dumps(dict(payload), ensure_ascii=False),
            state="pending",
            attempts=0,
            not_before=at,
            created_at=at,
        )
    )
    return True


def claim(
    connection: sa.Connection, *, channels: Collection[str], now: datetime, lease: timedelta
) -> Claimed | None:
    """Take the oldest message that may go out, in a transaction of its own; None when there is none.

    A date further ahead than any delay or lease of ours comes from a clock that ran ahead: it does not count.
    """
    ready = sa.or_(
        sa.and_(
            _outbox.c.state == "pending",
            sa.or_(_outbox.c.not_before <= now, _outbox.c.not_before > now + LONGEST_DELAY),
        ),
        sa.and_(
            _outbox.c.state == "sending",
            sa.or_(_outbox.c.lease_until <= now, _outbox.c.lease_until > now + 2 * lease),
        ),
    )
    row = connection.execute(
        sa.select(_outbox)
        .where(_outbox.c.channel.in_(list(channels)), ready)
        .order_by(_outbox.c.id)
        .limit(1)
        .with_for_update(skip_locked=True)
    ).mappings().first()  # fmt: skip
    if row is None:
        return None
    attempts = int(row["attempts"]) + 1
    connection.execute(
        _outbox.update()
        .where(_outbox.c.id == row["id"])
        .values(state="sending", attempts=attempts, lease_until=now + lease)
    )
    return Claimed(
        id=row["id"],
        key=row["key"],
        channel=row["channel"],
        receiver=row["receiver"],
        payload=json.loads(row["payload"]),
        attempts=attempts,
    )


def mark_sent(connection: sa.Connection, claimed: Claimed, *, at: datetime) -> None:
    """Note that a message went out; whoever sent it, sent is sent."""
    connection.execute(
        _outbox.update()
        .where(_outbox.c.id == claimed.id)
        .values(state="sent", sent_at=at, lease_until=None, last_error=None)
    )


def put_off(connection: sa.Connection, claimed: Claimed, *, until: datetime, error: str) -> None:
    """Let a message wait for its next attempt, unless its lease went to somebody else meanwhile."""
    _give_back(connection, claimed, state="pending", not_before=until, last_error=error[:1000])


def mark_dead(connection: sa.Connection, claimed: Claimed, *, at: datetime, error: str) -> None:
    """Give a message up, for people to see; `at` is when."""
    _give_back(connection, claimed, state="dead", not_before=at, last_error=error[:1000])


def _give_back(connection: sa.Connection, claimed: Claimed, **values: Any) -> None:
    connection.execute(
        _outbox.update()
        .where(
            _outbox.c.id == claimed.id, _outbox.c.state == "sending", _outbox.c.attempts == claimed.attempts
        )
        .values(lease_until=None, **values)
    )


def hasten(connection: sa.Connection, *, channel: str, now: datetime) -> int:
    """Let what waits after a failure go out now: the channel has just worked again. Return how many."""
    result = connection.execute(
        _outbox.update()
        .where(
            _outbox.c.channel == channel,
            _outbox.c.state == "pending",
            _outbox.c.attempts > 0,
            _outbox.c.not_before > now,
        )
        .values(not_before=now)
    )
    return int(result.rowcount)


def channel_states(connection: sa.Connection, *, as_of: datetime) -> tuple[ChannelState, ...]:
    """Return every way to a receiver on which a message was given up by `as_of`."""
    dead = sa.select(_outbox).where(_outbox.c.state == "dead", _outbox.c.not_before <= as_of)
    lost: dict[tuple[str, str], list[Any]] = {}
    for row in connection.execute(dead.order_by(_outbox.c.not_before, _outbox.c.id)).mappings():
        lost.setdefault((row["channel"], row["receiver"]), []).append(row)
    sent = {
        (channel, receiver): at
        for channel, receiver, at in connection.execute(
            sa.select(_outbox.c.channel, _outbox.c.receiver, sa.func.max(_outbox.c.sent_at))
            .where(_outbox.c.state == "sent", _outbox.c.sent_at <= as_of)
            .group_by(_outbox.c.channel, _outbox.c.receiver)
        )
    }
    return tuple(
        ChannelState(
            channel=way[0],
            receiver=way[1],
            dead=len(rows),
            dead_since=rows[0]["not_before"],
            dead_last_at=rows[-1]["not_before"],
            last_sent_at=sent.get(way),
            error=rows[-1]["last_error"] or "",
        )
        for way, rows in sorted(lost.items())
    )
