"""Taking rows in by the thousand: what is on record already, and bulk inserts, on SQLite and PostgreSQL.

Rows come as columns of plain values. SQLite gets them through its driver, with instants in exactly the
text form that the tables hold: 'YYYY-MM-DD HH:MM:SS.ffffff' in UTC.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from typing import Any

import sqlalchemy as sa
from sqlmodel import SQLModel

from stability.records.tables import table
from stability.records.tables.bench import Ending, Reading, Sample
from stability.records.tables.design import Study, StudyLimit, StudyPlan, StudyVersion
from stability.records.tables.measured import StoreTemperature

__all__ = [
    "SampleOnRecord",
    "VersionOnRecord",
    "complete",
    "insert_columns",
    "insert_version",
    "last_reading_times",
    "names_of",
    "on_record",
    "rows_of_samples",
    "samples_on_record",
    "temperatures_on_record",
    "versions_of",
]

_IN_AT_ONCE = 500
_study, _version, _limit, _plan = table(Study), table(StudyVersion), table(StudyLimit), table(StudyPlan)
_sample, _ending, _reading = table(Sample), table(Ending), table(Reading)
_logged = table(StoreTemperature)


@dataclass(frozen=True, slots=True)
class SampleOnRecord:
    """What an import has to know of a sample."""

    id: int
    sample: str
    placed_at: datetime
    ended_at: datetime | None


@dataclass(frozen=True, slots=True)
class VersionOnRecord:
    """One version of a study, as filed."""

    version: int
    source: str
    entered_at: datetime


def names_of(connection: sa.Connection, model: type[SQLModel], name: str) -> dict[str, int]:
    """Return name → id of a table's rows."""
    columns = table(model).c
    return {str(n): int(i) for n, i in connection.execute(sa.select(columns[name], columns["id"]))}


def samples_on_record(connection: sa.Connection) -> dict[str, SampleOnRecord]:
    """Return all samples by code."""
    query = sa.select(_sample.c.id, _sample.c.sample, _sample.c.placed_at, _ending.c.at).outerjoin(
        _ending, _ending.c.sample_id == _sample.c.id
    )
    return {row[1]: SampleOnRecord(*row) for row in connection.execute(query)}


def last_reading_times(connection: sa.Connection) -> dict[int, datetime]:
    """Return sample id → when its last original reading was taken."""
    query = sa.select(_reading.c.sample_id, sa.func.max(_reading.c.taken_at, type_=_reading.c.taken_at.type))
    found = connection.execute(query.where(_reading.c.corrects_id.is_(None)).group_by(_reading.c.sample_id))
    return {int(sample_id): moment for sample_id, moment in found}


def on_record(
    connection: sa.Connection, model: type[SQLModel], key: Sequence[str]
) -> dict[tuple[Any, ...], dict[str, Any]]:
    """Return all rows of a small table by their key."""
    rows = connection.execute(sa.select(table(model))).mappings()
    return {tuple(row[name] for name in key): dict(row) for row in rows}


def rows_of_samples(
    connection: sa.Connection, model: type[SQLModel], names: Sequence[str], sample_ids: Collection[int]
) -> Iterator[Sequence[Any]]:
    """Yield the named columns of all rows of some samples, in the order in which they became known."""
    columns = table(model).c
    query = sa.select(*(columns[name] for name in names)).order_by(columns["entered_at"], columns["id"])
    rest = iter(sorted(sample_ids))
    while some := list(islice(rest, _IN_AT_ONCE)):
        yield from connection.execute(query.where(columns["sample_id"].in_(some)))


def insert_columns(
    connection: sa.Connection, model: type[SQLModel], columns: Mapping[str, Sequence[Any]]
) -> None:
    """Insert rows given as columns of equal length; columns without any value are left to their default."""
    target = table(model)
    columns = {name: values for name, values in columns.items() if values.count(None) < len(values)}
    sqlite = connection.dialect.name == "sqlite"
    names = ", ".join(f'"{target.c[name].name}"' for name in columns)
    marks = ", ".join(["?" if sqlite else "%s"] * len(columns))
    held = [
        _as_text(values) if sqlite and isinstance(target.c[name].type, sa.types.TypeDecorator) else values
        for name, values in columns.items()
    ]
    rows = list(zip(*held, strict=True))
    if rows:
        # names come from our own table classes, never from a file
        connection.exec_driver_sql(f'INSERT INTO "{target.name}" ({names}) VALUES ({marks})', rows)  # noqa: S608


def _as_text(values: Sequence[Any]) -> Sequence[Any]:
    """Return instants as SQLite's tables hold them; other values as they are."""
    first = next((value for value in values if value is not None), None)
    if not isinstance(first, datetime):
        return values
    # all are in UTC here, so the offset at the end is cut off
    return [None if value is None else value.isoformat(" ", "microseconds")[:26] for value in values]


def complete(
    connection: sa.Connection, model: type[SQLModel], row_id: int, values: Mapping[str, Any]
) -> None:
    """Fill in what a row of a table that is not append-only left open."""
    target = table(model)
    connection.execute(target.update().where(target.c.id == row_id).values(**values))


def versions_of(connection: sa.Connection, code: str) -> tuple[VersionOnRecord, ...]:
    """Return all versions of a study, the first one first."""
    query = (
        sa.select(_version.c.version, _version.c.source, _version.c.entered_at)
        .join(_study, _study.c.id == _version.c.study_id)
        .where(_study.c.code == code)
        .order_by(_version.c.version)
    )
    return tuple(VersionOnRecord(*row) for row in connection.execute(query))


def insert_version(
    connection: sa.Connection,
    code: str,
    values: Mapping[str, Any],
    *,
    limits: Mapping[str, float],
    plan: Collection[tuple[str, float, str]],
) -> None:
    """File a version of a study, and the study itself where it is the first."""
    study_id = connection.execute(sa.select(_study.c.id).where(_study.c.code == code)).scalar()
    if study_id is None:
        study_id = connection.execute(_study.insert().values(code=code).returning(_study.c.id)).scalar_one()
    filed = _version.insert().values(study_id=study_id, **values).returning(_version.c.id)
    version_id = connection.execute(filed).scalar_one()
    named = [{"study_version_id": version_id, "name": name, "value": value} for name, value in limits.items()]
    connection.execute(_limit.insert(), named)
    planned = [
        {"study_version_id": version_id, "store": store, "age_days": age, "kind": kind}
        for store, age, kind in sorted(plan)
    ]
    if planned:
        connection.execute(_plan.insert(), planned)


def temperatures_on_record(connection: sa.Connection, store_id: int) -> Iterator[Sequence[Any]]:
    """Yield (instant, °C, known since) of one store's logged points, in the order they became known."""
    query = sa.select(_logged.c.at, _logged.c.temperature_c, _logged.c.entered_at)
    yield from connection.execute(query.where(_logged.c.store_id == store_id).order_by(_logged.c.entered_at))
