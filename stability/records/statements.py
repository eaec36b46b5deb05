"""Statements on record: issued versions, the steps of their lives, who received them, whose keys there are.

A row is never changed. Where one statement speaks for several lots, `blend_key` holds a line for each.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from stability.records.tables import table
from stability.records.tables.bench import Event
from stability.records.tables.told import Statement, StatementEvent, StatementRecipient

__all__ = [
    "DRAFT_WRITTEN",
    "KEY_MADE",
    "LIVE_STEPS",
    "StatementRow",
    "StatementStep",
    "add_recipients",
    "add_step",
    "chain_rows",
    "draft_author",
    "insert_statement",
    "key_owners",
    "statement_rows",
    "statement_steps",
]

_statement, _step, _recipient = table(Statement), table(StatementEvent), table(StatementRecipient)
_event = table(Event)

KEY_MADE, DRAFT_WRITTEN = "made signing key", "wrote draft of statement"
"""Acts in the log that later acts rest on."""
LIVE_STEPS = frozenset({"issued"})
"""Steps after which a statement is still in force."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StatementRow:
    """One issued version; `step` is the last of its life, `payload` its data as canonical JSON."""

    id: int
    number: str
    version: int
    study_id: int
    blend_key: str
    months: int
    made_at: datetime
    author: str
    payload: str
    digest: str
    signature: str | None
    step: str
    recipients: tuple[str, ...]

    @property
    def name(self) -> str:
        """The number with its version: "ST-01 v2"."""
        return f"{self.number} v{self.version}"

    @property
    def live(self) -> bool:
        """Whether the statement is in force."""
        return self.step in LIVE_STEPS


@dataclass(frozen=True, slots=True)
class StatementStep:
    """One step in the life of a version."""

    at: datetime
    step: str
    person: str
    says: str


def insert_statement(connection: sa.Connection, values: Mapping[str, Any]) -> int:
    """Write one issued version; return its number in the table."""
    found = connection.execute(_statement.insert().values(**values))
    return int((found.inserted_primary_key or (0,))[0])


def add_step(
    connection: sa.Connection, statement_id: int, *, at: datetime, step: str, person: str, says: str
) -> None:
    """Add a step to the life of a version."""
    connection.execute(
        _step.insert().values(
            statement_id=statement_id, at=at, step=step, person=person[:200], says=says[:2000]
        )
    )


def add_recipients(
    connection: sa.Connection, statement_id: int, receivers: Sequence[str], *, at: datetime
) -> tuple[str, ...]:
    """Record who received a version; return those who were not on record yet."""
    known = set(
        connection.execute(
            sa.select(_recipient.c.receiver).where(_recipient.c.statement_id == statement_id)
        ).scalars()
    )
    new = tuple(dict.fromkeys(name for name in receivers if name not in known))
    rows = [{"statement_id": statement_id, "receiver": name, "at": at} for name in new]
    if rows:
        connection.execute(_recipient.insert(), rows)
    return new


def statement_rows(
    connection: sa.Connection, *, as_of: datetime, number: str | None = None
) -> tuple[StatementRow, ...]:
    """Return the versions issued by an instant with how things stood then, by number and version."""
    query = sa.select(_statement).where(_statement.c.made_at <= as_of)
    if number is not None:
        query = query.where(_statement.c.number == number)
    rows = connection.execute(query.order_by(_statement.c.number, _statement.c.version)).mappings().all()
    if not rows:
        return ()
    steps: dict[int, str] = {}
    told = sa.select(_step.c.statement_id, _step.c.step).where(_step.c.at <= as_of).order_by(_step.c.id)
    for statement_id, step in connection.execute(told):
        steps[statement_id] = step
    received: dict[int, list[str]] = {}
    who = sa.select(_recipient.c.statement_id, _recipient.c.receiver).where(_recipient.c.at <= as_of)
    for statement_id, receiver in connection.execute(who.order_by(_recipient.c.id)):
        received.setdefault(statement_id, []).append(receiver)
    return tuple(
        StatementRow(
            **row, step=steps.get(row["id"], "issued"), recipients=tuple(received.get(row["id"], ()))
        )
        for row in rows
    )


def statement_steps(connection: sa.Connection, statement_id: int) -> tuple[StatementStep, ...]:
    """Return the steps of a version, oldest first."""
    columns = (_step.c.at, _step.c.step, _step.c.person, _step.c.says)
    query = sa.select(*columns).where(_step.c.statement_id == statement_id).order_by(_step.c.id)
    return tuple(StatementStep(*row) for row in connection.execute(query))


def key_owners(connection: sa.Connection) -> dict[str, str]:
    """Return public key → the person whose it is, from the acts in the log."""
    query = sa.select(_event.c.subject, _event.c.details).where(_event.c.verb == KEY_MADE)
    return {
        str(json.loads(details)["public"]): str(person)
        for person, details in connection.execute(query.order_by(_event.c.id))
    }


def draft_author(connection: sa.Connection, digest: str) -> str | None:
    """Return who wrote a draft with this digest, from the acts in the log; None where nobody did."""
    query = sa.select(_event.c.person, _event.c.details).where(_event.c.verb == DRAFT_WRITTEN)
    for person, details in connection.execute(query.order_by(_event.c.id.desc())):
        if json.loads(details).get("digest") == digest:
            return str(person)
    return None


def chain_rows(
    connection: sa.Connection, *, as_of: datetime
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return all acts and all seals known by an instant, as rows: what the chain is made of."""
    from stability.records.tables.told import Seal

    seals = table(Seal)
    acts = connection.execute(sa.select(_event).where(_event.c.at <= as_of).order_by(_event.c.id)).mappings()
    links = connection.execute(sa.select(seals).where(seals.c.at <= as_of).order_by(seals.c.id)).mappings()
    return [dict(row) for row in acts], [dict(row) for row in links]
