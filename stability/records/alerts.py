"""Alerts and the steps of their life, as kept; the words and the decisions are made elsewhere."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from stability.records.tables import table
from stability.records.tables.told import Alert, AlertEvent

__all__ = [
    "AlertRow",
    "AlertStep",
    "acknowledge",
    "alert_rows",
    "close_alert",
    "find_alert",
    "known_causes",
    "open_alert",
    "steps_of",
    "update_alert",
]

_alert, _event = table(Alert), table(AlertEvent)


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertRow:
    """One alert as kept; `detail` holds what to do, evidence, cautions, the subject's lots and the looks."""

    id: int
    cause: str
    kind: str
    study: str | None
    product: str | None
    thinner: str | None
    level_pct: float | None
    additive: str | None
    pack: str | None
    sample: str | None
    store: str | None
    severity: int
    opened_at: datetime
    closed_at: datetime | None
    acknowledged_at: datetime | None
    acknowledged_by: str | None
    acknowledged_reason: str | None
    probability: float | None
    priors_used: bool | None
    limit_date: str | None
    says: str
    detail: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class AlertStep:
    """One step in the life of an alert: opened, worse, acknowledged, closed."""

    at: datetime
    step: str
    person: str | None
    says: str


def alert_rows(
    connection: sa.Connection, *, as_of: datetime | None = None, closed_too: bool = False
) -> tuple[AlertRow, ...]:
    """Return the open alerts, with `closed_too` all, oldest first; with `as_of` as they stood then."""
    query = sa.select(_alert).order_by(_alert.c.opened_at, _alert.c.id)
    if as_of is not None:
        query = query.where(_alert.c.opened_at <= as_of)
    if not closed_too:
        over = _alert.c.closed_at.is_(None)
        query = query.where(over if as_of is None else sa.or_(over, _alert.c.closed_at > as_of))
    return tuple(_row(row, as_of) for row in connection.execute(query).mappings())


def find_alert(connection: sa.Connection, number: int) -> AlertRow | None:
    """Return one alert by its number."""
    row = connection.execute(sa.select(_alert).where(_alert.c.id == number)).mappings().first()
    return None if row is None else _row(row, None)


def known_causes(connection: sa.Connection, *, kind: str | None = None) -> frozenset[str]:
    """Return every cause that ever had an alert, open or closed."""
    query = sa.select(_alert.c.cause)
    if kind is not None:
        query = query.where(_alert.c.kind == kind)
    return frozenset(connection.execute(query).scalars())


def open_alert(connection: sa.Connection, values: Mapping[str, Any], *, at: datetime) -> int | None:
    """Open an alert and note it; None if its cause has an open one already."""
    open_now = sa.select(_alert.c.id).where(_alert.c.cause == values["cause"], _alert.c.closed_at.is_(None))
    if connection.execute(open_now).first() is not None:
        return None
    row = {**values, "opened_at": at, "detail": _text(values["detail"])}
    number = int(connection.execute(_alert.insert().returning(_alert.c.id), row).scalar_one())
    _note(connection, number, at=at, step="opened", says=values["says"])
    return number


def update_alert(
    connection: sa.Connection,
    number: int,
    values: Mapping[str, Any],
    *,
    at: datetime,
    worse: str | None = None,
) -> int | None:
    """Let an open alert say what is known now; with `worse`, the reason, note a step; return its number."""
    row = {**values, "detail": _text(values["detail"])}
    result = connection.execute(
        _alert.update().where(_alert.c.id == number, _alert.c.closed_at.is_(None)).values(**row)
    )
    if worse is None or not result.rowcount:
        return None
    return _note(connection, number, at=at, step="worse", says=f"{worse}: {values['says']}")


def close_alert(connection: sa.Connection, number: int, *, at: datetime, says: str) -> bool:
    """Close an open alert and note it; say whether it was open."""
    still_open = _alert.update().where(_alert.c.id == number, _alert.c.closed_at.is_(None))
    if not connection.execute(still_open.values(closed_at=at)).rowcount:
        return False
    _note(connection, number, at=at, step="closed", says=says)
    return True


def acknowledge(connection: sa.Connection, number: int, *, at: datetime, person: str, reason: str) -> None:
    """Note who has seen an alert and what he says of it; a later word replaces an earlier one."""
    connection.execute(
        _alert.update()
        .where(_alert.c.id == number)
        .values(acknowledged_at=at, acknowledged_by=person, acknowledged_reason=reason)
    )
    _note(connection, number, at=at, step="acknowledged", says=reason, person=person)


def steps_of(connection: sa.Connection, number: int) -> tuple[AlertStep, ...]:
    """Return the steps of one alert in order."""
    columns = (_event.c.at, _event.c.step, _event.c.person, _event.c.says)
    query = sa.select(*columns).where(_event.c.alert_id == number).order_by(_event.c.id)
    return tuple(AlertStep(*row) for row in connection.execute(query))


def _note(
    connection: sa.Connection,
    number: int,
    *,
    at: datetime,
    step: str,
    says: str,
    person: str | None = None,
) -> int:
    values = {"alert_id": number, "at": at, "step": step, "person": person, "says": says[:2000]}
    return int(connection.execute(_event.insert().returning(_event.c.id), values).scalar_one())


def _text(detail: Mapping[str, Any]) -> str:
    return json.dumps(dict(detail), ensure_ascii=False, default=str)


def _row(row: Any, as_of: datetime | None) -> AlertRow:
    values = {name: row[name] for name in AlertRow.__slots__}
    values["detail"] = json.loads(values["detail"])
    if as_of is not None:
        values |= _then(values, as_of)
    return AlertRow(**values)


def _then(values: Mapping[str, Any], as_of: datetime) -> dict[str, Any]:
    """Return what was different then: not closed, not seen, and what the last look until then said."""
    found: dict[str, Any] = {}
    if values["closed_at"] is not None and values["closed_at"] > as_of:
        found["closed_at"] = None
    if values["acknowledged_at"] is not None and values["acknowledged_at"] > as_of:
        found |= {"acknowledged_at": None, "acknowledged_by": None, "acknowledged_reason": None}
    looks = [
        look for look in values["detail"].get("looks", ()) if datetime.fromisoformat(look["at"]) <= as_of
    ]
    if looks:
        found |= {name: looks[-1][name] for name in ("probability", "limit_date", "says")}
    return found
