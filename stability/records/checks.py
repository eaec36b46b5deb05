"""Planned checks as kept: one row per sample, kind and age; only what differs is written."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from stability.records.tables import table
from stability.records.tables.bench import Sample
from stability.records.tables.design import PlannedCheck, Study

__all__ = ["CheckKey", "CheckRow", "Kept", "kept_checks", "unfinished_studies", "write_checks"]

_check, _sample, _study = table(PlannedCheck), table(Sample), table(Study)

CheckKey = tuple[int, str, float]
"""(sample id, kind, age in days): what makes a planned check one and the same."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckRow:
    """What may change of a planned check."""

    due_at: datetime
    take_out_at: datetime | None
    moved: bool
    state: str
    done_at: datetime | None


@dataclass(frozen=True, slots=True)
class Kept:
    """A planned check as it stands in the records, with its number."""

    id: int
    row: CheckRow


def kept_checks(connection: sa.Connection, *, study: str) -> Mapping[CheckKey, Kept]:
    """Return the planned checks of a study's samples."""
    query = (
        sa.select(_check)
        .join(_sample, _sample.c.id == _check.c.sample_id)
        .join(_study, _study.c.id == _sample.c.study_id)
        .where(_study.c.code == study)
    )
    names = CheckRow.__slots__
    found: dict[CheckKey, Kept] = {}
    for row in connection.execute(query).mappings():
        values = {name: row[name] for name in names} | {"moved": bool(row["moved"])}
        found[row["sample_id"], row["kind"], row["age_days"]] = Kept(row["id"], CheckRow(**values))
    return found


def unfinished_studies(connection: sa.Connection) -> frozenset[str]:
    """Return the studies with a check that can still change."""
    query = (
        sa.select(_study.c.code)
        .distinct()
        .join(_sample, _sample.c.study_id == _study.c.id)
        .join(_check, _check.c.sample_id == _sample.c.id)
        .where(_check.c.state.in_(("planned", "due", "late")))
    )
    return frozenset(connection.execute(query).scalars())


def write_checks(
    connection: sa.Connection,
    new: Mapping[CheckKey, CheckRow],
    changed: Mapping[int, CheckRow],
    *,
    cancelled: Collection[int] = (),
) -> None:
    """Add planned checks, change some by their numbers, and cancel those that left the plan."""
    added = [
        {"sample_id": sample_id, "kind": kind, "age_days": age_days, **_values(row)}
        for (sample_id, kind, age_days), row in new.items()
    ]
    if added:
        connection.execute(_check.insert(), added)
    if changed:
        statement = _check.update().where(_check.c.id == sa.bindparam("number"))
        connection.execute(statement, _numbered(changed))
    if cancelled:
        connection.execute(_check.update().where(_check.c.id.in_(list(cancelled))).values(state="cancelled"))


def _numbered(changed: Mapping[int, CheckRow]) -> Sequence[Mapping[str, object]]:
    return [{"number": number, **_values(row)} for number, row in changed.items()]


def _values(row: CheckRow) -> dict[str, object]:
    return {name: getattr(row, name) for name in CheckRow.__slots__}
