"""Changes of method on record: what shifts all readings from one moment on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from stability.records.tables import table
from stability.records.tables.measured import MethodChange

__all__ = ["ChangeFacts", "method_changes"]

_change = table(MethodChange)


@dataclass(frozen=True, slots=True)
class ChangeFacts:
    """One change: `study` and `instrument` are empty where it concerns all."""

    at: datetime
    what: str
    study: str
    instrument: str


def method_changes(connection: sa.Connection, *, as_of: datetime, study: str) -> tuple[ChangeFacts, ...]:
    """Return the changes that concern a study, known by `as_of`, oldest first."""
    query = (
        sa.select(_change.c.at, _change.c.what, _change.c.study, _change.c.instrument)
        .where(_change.c.at <= as_of, _change.c.entered_at <= as_of, _change.c.study.in_(("", study)))
        .order_by(_change.c.at, _change.c.what)
    )
    return tuple(ChangeFacts(*row) for row in connection.execute(query))
