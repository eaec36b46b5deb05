"""The log of acts and its seals: a chain of digests over everything that was done."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

from stability.records.tables import table
from stability.records.tables.bench import Event

__all__ = ["EventRow", "events_of", "note", "seal", "unsealed_count", "verify_chain"]

_event = table(Event)
_NO_LINK = "0" * 64


def _seals() -> sa.Table:
    # The bench only notes acts; it need not wait for the tables that `told` declares.
    from stability.records.tables.told import Seal

    return table(Seal)


@dataclass(frozen=True, slots=True)
class EventRow:
    """One act as noted."""

    at: datetime
    person: str
    verb: str
    subject: str
    details: str


def note(
    connection: sa.Connection,
    *,
    at: datetime,
    person: str,
    verb: str,
    subject: str,
    details: Mapping[str, Any] | None = None,
) -> None:
    """Note one act in the transaction that does it."""
    text = json.dumps(details or {}, ensure_ascii=False, sort_keys=True, default=str)
    connection.execute(
        _event.insert().values(
            at=at, person=person[:200], verb=verb, subject=subject[:300], details=text[:100_000]
        )
    )


def events_of(
    connection: sa.Connection, *, subject: str | None = None, limit: int = 200
) -> tuple[EventRow, ...]:
    """Return the latest acts, oldest first, of one subject or of all."""
    columns = (_event.c.at, _event.c.person, _event.c.verb, _event.c.subject, _event.c.details)
    query = sa.select(*columns).order_by(_event.c.id.desc()).limit(limit)
    if subject is not None:
        query = query.where(_event.c.subject == subject)
    return tuple(EventRow(*row) for row in reversed(connection.execute(query).fetchall()))


def unsealed_count(connection: sa.Connection) -> int:
    """Return how many acts stand after the last seal."""
    seals = _seals()
    after = sa.select(sa.func.coalesce(sa.func.max(seals.c.last_event_id), 0)).scalar_subquery()
    return int(connection.execute(sa.select(sa.func.count()).where(_event.c.id > after)).scalar_one())


def seal(connection: sa.Connection, *, at: datetime) -> int:
    """Seal all acts since the last seal into one link; return how many there were."""
    seals = _seals()
    last = connection.execute(
        sa.select(seals.c.last_event_id, seals.c.digest).order_by(seals.c.id.desc()).limit(1)
    ).first()
    after, previous = (0, _NO_LINK) if last is None else (int(last[0]), str(last[1]))
    ids, digest = _digest(connection, previous, after, None)
    if not ids:
        return 0
    connection.execute(
        seals.insert().values(
            at=at, first_event_id=ids[0], last_event_id=ids[-1], previous_digest=previous, digest=digest
        )
    )
    return len(ids)


def verify_chain(connection: sa.Connection) -> tuple[str, ...]:
    """Return what does not fit: a changed, missing or added act, or a broken link. Empty is good."""
    faults: list[str] = []
    previous, after = _NO_LINK, 0
    seals = _seals()
    rows = connection.execute(
        sa.select(seals.c.id, seals.c.last_event_id, seals.c.previous_digest, seals.c.digest).order_by(
            seals.c.id
        )
    ).fetchall()
    for number, last, told_previous, told in rows:
        _, digest = _digest(connection, previous, after, last)
        if told_previous != previous or digest != told:
            faults.append(f"seal {number}: the events up to number {last} are not those that were sealed")
        previous, after = str(told), int(last)
    return tuple(faults)


def _digest(connection: sa.Connection, previous: str, after: int, upto: int | None) -> tuple[list[int], str]:
    columns = (_event.c.id, _event.c.at, _event.c.person, _event.c.verb, _event.c.subject, _event.c.details)
    query = sa.select(*columns).where(_event.c.id > after).order_by(_event.c.id)
    if upto is not None:
        query = query.where(_event.c.id <= upto)
    running = hashlib.sha256(previous.encode())
    ids: list[int] = []
    for number, at, *texts in connection.execute(query):
        ids.append(int(number))
        moment = at.astimezone(UTC).isoformat()
        running.update(json.dumps([number, moment, *texts], ensure_ascii=False).encode())
    return ids, running.hexdigest()
