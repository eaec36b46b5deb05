"""Drying tests of aged samples, as known at an instant."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from stability.records.tables import table
from stability.records.tables.design import Sample, Study
from stability.records.tables.measured import Cure

__all__ = ["CureFacts", "StoredCure", "cures", "cures_of", "insert_cure"]

_cure, _sample, _study = table(Cure), table(Sample), table(Study)


@dataclass(frozen=True, slots=True, kw_only=True)
class CureFacts:
    """One drying test as it counts: the original, or what the latest correction made of it."""

    id: int
    sample_id: int
    taken_at: datetime
    humidity_pct: float
    dry_through_h: float
    entered_at: datetime
    corrected: bool


def cures(connection: sa.Connection, *, as_of: datetime, study: str) -> tuple[CureFacts, ...]:
    """Return what counts of a study's drying tests known by `as_of`, by sample, time and humidity."""
    of_study = (
        sa.select(_sample.c.id).join(_study, _study.c.id == _sample.c.study_id).where(_study.c.code == study)
    )
    query = (
        sa.select(_cure)
        .where(_cure.c.entered_at <= as_of, _cure.c.sample_id.in_(of_study))
        .order_by(_cure.c.entered_at, _cure.c.id)
    )
    latest: dict[int, Any] = {}
    for row in connection.execute(query).mappings():
        latest[row["corrects_id"] or row["id"]] = row
    found = [
        CureFacts(
            id=root,
            sample_id=row["sample_id"],
            taken_at=row["taken_at"],
            humidity_pct=row["humidity_pct"],
            dry_through_h=row["dry_through_h"],
            entered_at=row["entered_at"],
            corrected=row["corrects_id"] is not None,
        )
        for root, row in latest.items()
        if row["dry_through_h"] is not None and row["taken_at"] <= as_of
    ]
    return tuple(sorted(found, key=lambda c: (c.sample_id, c.taken_at, c.humidity_pct)))


@dataclass(frozen=True, slots=True)
class StoredCure:
    """A drying test: the row that counts, and the original row beside it."""

    id: int
    original: Mapping[str, Any]
    counts: Mapping[str, Any]


def cures_of(connection: sa.Connection, sample_id: int) -> tuple[StoredCure, ...]:
    """Return all drying tests of one sample as they count now, those set aside too, by time taken."""
    query = sa.select(_cure).where(_cure.c.sample_id == sample_id)
    originals: dict[int, Mapping[str, Any]] = {}
    latest: dict[int, Mapping[str, Any]] = {}
    for row in connection.execute(query.order_by(_cure.c.entered_at, _cure.c.id)).mappings():
        if row["corrects_id"] is None:
            originals[row["id"]] = dict(row)
        latest[row["corrects_id"] or row["id"]] = dict(row)
    found = [StoredCure(root, row, latest[root]) for root, row in originals.items()]
    return tuple(sorted(found, key=lambda c: (c.original["taken_at"], c.original["humidity_pct"])))


def insert_cure(connection: sa.Connection, values: Mapping[str, Any]) -> int:
    """Store one row, an original or a correction; return its number."""
    return int(connection.execute(_cure.insert().returning(_cure.c.id), dict(values)).scalar_one())
