"""What a reader of a report must know of: missed and moved checks, corrections, blind periods."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from stability.records.tables import table
from stability.records.tables.design import PlannedCheck
from stability.records.tables.measured import Reading
from stability.records.tables.told import Sweep

__all__ = ["CheckMark", "CorrectionFacts", "blind_periods", "check_marks", "corrections"]

_check, _reading, _sweep = table(PlannedCheck), table(Reading), table(Sweep)


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckMark:
    """A planned check that was missed or moved; `kind` is the word."""

    sample_id: int
    kind: str
    due_at: datetime
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectionFacts:
    """One correction beside its original."""

    sample_id: int
    taken_at: datetime
    entered_at: datetime
    entered_by: str
    reason: str
    set_aside: bool
    words: str


def check_marks(connection: sa.Connection, sample_ids: Sequence[int]) -> tuple[CheckMark, ...]:
    """Return the missed and the moved checks of some samples, by time."""
    query = (
        sa.select(_check)
        .where(
            _check.c.sample_id.in_(sample_ids),
            sa.or_(_check.c.state == "missed", _check.c.moved.is_(True)),
        )
        .order_by(_check.c.due_at, _check.c.sample_id, _check.c.kind)
    )
    return tuple(
        CheckMark(
            sample_id=row["sample_id"],
            kind="missed" if row["state"] == "missed" else "moved",
            due_at=row["due_at"],
            words=f"{row['kind']} check of day {row['age_days']:g}",
        )
        for row in connection.execute(query).mappings()
    )


def corrections(
    connection: sa.Connection, sample_ids: Sequence[int], *, as_of: datetime
) -> tuple[CorrectionFacts, ...]:
    """Return the corrections of readings of some samples known by `as_of`, by time entered."""
    original = _reading.alias("original")
    query = (
        sa.select(
            _reading,
            original.c.taken_at.label("first_taken_at"),
            original.c.viscosity_mpas.label("first_mpas"),
            original.c.gel_grade.label("first_grade"),
        )
        .join(original, original.c.id == _reading.c.corrects_id)
        .where(_reading.c.sample_id.in_(sample_ids), _reading.c.entered_at <= as_of)
        .order_by(_reading.c.entered_at, _reading.c.id)
    )
    return tuple(
        CorrectionFacts(
            sample_id=row["sample_id"],
            taken_at=row["first_taken_at"],
            entered_at=row["entered_at"],
            entered_by=row["entered_by"],
            reason=row["reason"],
            set_aside=row["viscosity_mpas"] is None and row["gel_grade"] is None,
            words=_change_words(
                row["first_mpas"], row["viscosity_mpas"], row["first_grade"], row["gel_grade"]
            ),
        )
        for row in connection.execute(query).mappings()
    )


def _change_words(before: float | None, after: float | None, grade: int | None, new_grade: int | None) -> str:
    if after is None and new_grade is None:
        shown = f"{before:g} mPa·s" if before is not None else f"grade {grade}"
        return f"{shown} set aside"
    if after != before:
        return f"{_value(before)} → {_value(after)}"
    return f"grade {grade} → {new_grade}" if grade != new_grade else "other details"


def _value(viscosity_mpas: float | None) -> str:
    return "no number" if viscosity_mpas is None else f"{viscosity_mpas:g} mPa·s"


def blind_periods(
    connection: sa.Connection, *, as_of: datetime, limit: int = 20
) -> tuple[tuple[datetime, datetime], ...]:
    """Return the latest stretches without a sweep, oldest first."""
    query = (
        sa.select(_sweep.c.blind_from, _sweep.c.as_of)
        .where(_sweep.c.blind_from.is_not(None), _sweep.c.as_of <= as_of)
        .order_by(_sweep.c.as_of.desc())
        .limit(limit)
    )
    return tuple((row[0], row[1]) for row in reversed(connection.execute(query).fetchall()))
