"""Correcting drying tests: a new row that names the original and the reason, as with readings."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from stability.errors import InputError
from stability.records.cures import StoredCure, cures_of, insert_cure
from stability.records.engine import Records
from stability.records.events import note
from stability.records.readings import SampleAtBench
from stability.services.correct import Corrected, checked_reason
from stability.services.lookup import known_sample
from stability.services.opinion import sample_words
from stability.units import significant

__all__ = ["correct_cure"]

_CARRIED = ("taken_at", "humidity_pct", "film_um", "dry_through_h", "operator", "note")
_POSITIVE = {"film_um": "film thickness", "dry_through_h": "dry-through time"}


def correct_cure(  # noqa: PLR0913 - which test, and who says what and why
    records: Records,
    *,
    sample: str,
    taken_at: datetime,
    humidity_pct: float,
    values: Mapping[str, Any],
    reason: str,
    person: str,
    now: datetime,
) -> Corrected:
    """Correct a drying test; `dry_through_h` None among the values sets it aside.

    Raises
    ------
    InputError
        If there is no such test, nothing changes, or a value is not positive.
    """
    because = checked_reason(reason)
    _refuse_values(values)
    with records.writing() as connection:
        tin = known_sample(connection, sample, at=taken_at)
        stored = _stored(connection, tin, taken_at, humidity_pct)
        before = stored.counts
        row = {**{name: before[name] for name in _CARRIED}, **values}
        changed = [name for name in row if row[name] != before[name]]
        was, becomes = _words(before["dry_through_h"]), _words(row["dry_through_h"])
        if not changed:
            raise InputError(
                f"the drying test of {tin.sample} says already {was}", hint="name what is to change"
            )
        if now <= before["entered_at"]:
            raise InputError("a correction is entered after what it corrects", hint="check the clock")
        who = {"entered_at": now, "entered_by": person, "reason": because}
        number = insert_cure(connection, {**row, **who, "sample_id": tin.id, "corrects_id": stored.id})
        shown = {"was": {n: before[n] for n in changed}, "is": {n: row[n] for n in changed}}
        note(
            connection,
            at=now,
            person=person,
            verb="corrected a drying test",
            subject=tin.sample,
            details={"cure": stored.id, "correction": number, "reason": because, **shown},
        )
    return Corrected(
        reading_id=stored.id,
        correction_id=number,
        sample=tin.sample,
        taken_at=row["taken_at"],
        was=was,
        now=becomes,
        says=f"{sample_words(tin)}, drying at {humidity_pct:g} %: {becomes}, was {was}",
    )


def _refuse_values(values: Mapping[str, Any]) -> None:
    for name, words in _POSITIVE.items():
        value = values.get(name)
        if value is not None and not (math.isfinite(value) and value > 0):
            raise InputError(f"{words} {value:g} is not a positive number")


def _stored(
    connection: sa.Connection, tin: SampleAtBench, taken_at: datetime, humidity_pct: float
) -> StoredCure:
    key = (taken_at, humidity_pct)
    for cure in cures_of(connection, tin.id):
        if (cure.original["taken_at"], cure.original["humidity_pct"]) == key:
            return cure
    raise InputError(f"sample {tin.sample} has no drying test at {humidity_pct:g} % of that time")


def _words(dry_through_h: float | None) -> str:
    return "set aside" if dry_through_h is None else f"{significant(dry_through_h)} h"
