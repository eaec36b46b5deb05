"""Correcting readings: a new row that names the original and the reason; nothing is overwritten.

What is not named in a correction is carried over from what counted before. Instants are aware UTC.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from stability.bench.swaps import Exchange
from stability.errors import InputError
from stability.records.engine import Records
from stability.records.events import note
from stability.records.readings import MEASURED, SampleAtBench, StoredReading, insert_reading, readings_of
from stability.services.amend import FROM_THE_CUP, amended, kept
from stability.services.lookup import known_sample
from stability.services.opinion import age_words, sample_words, value_words
from stability.services.times import local_words

__all__ = [
    "Corrected",
    "Exchange",
    "checked_reason",
    "correct_reading",
    "set_aside",
    "stored_reading",
    "swap_readings",
]

_LONGEST_REASON = 500
UTC = ZoneInfo("UTC")
_MOVES: Mapping[Exchange, tuple[str, ...]] = {
    Exchange.ROWS: FROM_THE_CUP,
    Exchange.LIDS: (*FROM_THE_CUP, "mass_g", "photo"),
    Exchange.MASSES: ("mass_g",),
    Exchange.DAYS: MEASURED,
}
"""What goes with an exchange: the hand that measured stays where it was, unless it was another day."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Act:
    reason: str
    person: str
    now: datetime
    zone: ZoneInfo
    link: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Corrected:
    """A correction beside what it corrects, in words."""

    reading_id: int
    correction_id: int
    sample: str
    taken_at: datetime
    was: str
    now: str
    says: str


def stored_reading(
    connection: sa.Connection, sample: SampleAtBench, taken_at: datetime, zone: ZoneInfo
) -> StoredReading:
    """Return the reading that was entered for an instant.

    Raises
    ------
    InputError
        If there is none; the nearest are named.
    """
    stored = readings_of(connection, sample.id)
    found = next((r for r in stored if taken_at in (r.original["taken_at"], r.taken_at)), None)
    if found is None:
        near = sorted(stored, key=lambda r: abs(r.taken_at - taken_at))[:3]
        listed = ", ".join(local_words(r.original["taken_at"], zone) for r in near)
        raise InputError(
            f"sample {sample.sample} has no reading of {local_words(taken_at, zone)}",
            hint=f"it has {listed}" if listed else "it has none at all",
        )
    return found


def correct_reading(  # noqa: PLR0913 - which reading, and who says what and why
    records: Records,
    *,
    sample: str,
    taken_at: datetime,
    values: Mapping[str, Any],
    reason: str,
    person: str,
    now: datetime,
    zone: ZoneInfo = UTC,
) -> Corrected:
    """Correct the reading of an instant; `values` are the columns that change, `taken_at` may be one.

    Raises
    ------
    InputError
        If there is no such reading, nothing changes, or the new values are at fault.
    """
    act = _Act(reason=checked_reason(reason), person=person, now=now, zone=zone)
    with records.writing() as connection:
        tin = known_sample(connection, sample, at=taken_at)
        stored = stored_reading(connection, tin, taken_at, zone)
        return _write(
            connection, tin, stored, amended(connection, tin, stored, values, now=now, zone=zone), act
        )


def set_aside(  # noqa: PLR0913 - which reading, and who says why
    records: Records,
    *,
    sample: str,
    taken_at: datetime,
    reason: str,
    person: str,
    now: datetime,
    zone: ZoneInfo = UTC,
) -> Corrected:
    """Take a reading out of all sums; it stays on record and can be corrected back.

    Raises
    ------
    InputError
        If there is no such reading, or it is set aside already.
    """
    act = _Act(reason=checked_reason(reason), person=person, now=now, zone=zone)
    with records.writing() as connection:
        tin = known_sample(connection, sample, at=taken_at)
        stored = stored_reading(connection, tin, taken_at, zone)
        if stored.set_aside:
            raise InputError(
                f"the reading of {tin.sample} is set aside already",
                hint=f"because: {stored.counts['reason']}",
            )
        nothing = dict.fromkeys(("viscosity_mpas", "viscosity_text", "uncertainty_mpas", "gel_grade", "rule"))
        return _write(connection, tin, stored, {**kept(stored), **nothing, "over_range": 0}, act)


def swap_readings(  # noqa: PLR0913 - which readings, and who says why
    records: Records,
    *,
    first: tuple[str, datetime],
    second: tuple[str, datetime],
    reason: str,
    person: str,
    now: datetime,
    zone: ZoneInfo = UTC,
    what: Exchange = Exchange.ROWS,
) -> tuple[Corrected, Corrected]:
    """Exchange what two readings say, by two linked corrections or none.

    Both corrections name the same `exchange` in the event log, and one event of its own names both.

    Raises
    ------
    InputError
        If one of them does not exist, both are the same, or nothing would change.
    """
    because = checked_reason(reason)
    with records.writing() as connection:
        tins = [known_sample(connection, code, at=at) for code, at in (first, second)]
        found = [
            stored_reading(connection, tin, at, zone)
            for tin, (_, at) in zip(tins, (first, second), strict=True)
        ]
        if found[0].id == found[1].id:
            raise InputError("a reading cannot be exchanged with itself", hint="name two readings")
        link = {"exchange": f"{found[0].id}+{found[1].id} at {now.isoformat()}", "what": what.value}
        done = []
        for own, other in ((0, 1), (1, 0)):
            partner = f"{tins[other].sample}, {local_words(found[other].original['taken_at'], zone)}"
            told = f"exchanged with {partner}: {because}"[:_LONGEST_REASON]
            row = {**kept(found[own]), **{name: found[other].counts[name] for name in _MOVES[what]}}
            act = _Act(reason=told, person=person, now=now, zone=zone, link=link)
            done.append(_write(connection, tins[own], found[own], row, act))
        numbers = [one.correction_id for one in done]
        note(
            connection,
            at=now,
            person=person,
            verb="exchanged two readings",
            subject=" and ".join(dict.fromkeys(tin.sample for tin in tins)),
            details={**link, "corrections": numbers, "reason": because},
        )
    return done[0], done[1]


def checked_reason(reason: str) -> str:
    """Return a reason without blanks around it.

    Raises
    ------
    InputError
        If it is empty or too long.
    """
    if not 0 < len(reason.strip()) <= _LONGEST_REASON or not reason.strip().isprintable():
        raise InputError(
            f"a correction needs a reason of 1 to {_LONGEST_REASON} characters",
            hint="--reason 'what happened'",
        )
    return reason.strip()


def _write(
    connection: sa.Connection, tin: SampleAtBench, stored: StoredReading, row: Mapping[str, Any], act: _Act
) -> Corrected:
    before = stored.counts
    follows = ("viscosity_text", "uncertainty_mpas")
    changed = [name for name in row if name not in follows and row[name] != before[name]]
    was, becomes = _words(before), _words(row)
    if not changed:
        raise InputError(
            f"sample {tin.sample}, {local_words(stored.taken_at, act.zone)}: it says already {was}",
            hint="name what is to change",
        )
    if act.now <= before["entered_at"]:
        raise InputError("a correction is entered after what it corrects", hint="check the clock")
    who = {"entered_at": act.now, "entered_by": act.person, "reason": act.reason}
    number = insert_reading(connection, {**row, **who, "sample_id": tin.id, "corrects_id": stored.id})
    note(
        connection,
        at=act.now,
        person=act.person,
        verb="corrected a reading",
        subject=tin.sample,
        details={
            "reading": stored.id,
            "correction": number,
            "reason": act.reason,
            "was": {name: before[name] for name in changed},
            "is": {name: row[name] for name in changed},
            **act.link,
        },
    )
    words = f"{sample_words(tin)}, {age_words(tin, row['taken_at'], act.zone)}"
    return Corrected(
        reading_id=stored.id,
        correction_id=number,
        sample=tin.sample,
        taken_at=row["taken_at"],
        was=was,
        now=becomes,
        says=f"{words}: {becomes}, was {was}{_quiet(changed, before, row)}",
    )


def _words(row: Mapping[str, Any]) -> str:
    return value_words(row["viscosity_mpas"], bool(row["over_range"]), row["gel_grade"])


def _quiet(changed: list[str], before: Mapping[str, Any], row: Mapping[str, Any]) -> str:
    """Name what changed beside the viscosity and the grade, with both values."""
    said = ("viscosity_mpas", "gel_grade", "over_range", "rule")
    rest = [f"{name} {_shown(row[name])}, was {_shown(before[name])}" for name in changed if name not in said]
    return f" ({'; '.join(rest)})" if rest else ""


def _shown(value: object) -> str:
    return "none" if value is None else str(value)
