"""Ending a sample: gelled, dropped, used or closed. No check falls due after it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from zoneinfo import ZoneInfo

from stability.bench.gel import GELLED_FROM
from stability.errors import InputError
from stability.records.engine import Records
from stability.records.events import note
from stability.records.moves import insert_ending
from stability.records.readings import readings_of
from stability.services.lookup import known_sample
from stability.services.opinion import cautions_at
from stability.services.times import local_words, refuse_out_of_time

__all__ = ["EndReason", "Ended", "end_sample"]

UTC = ZoneInfo("UTC")


class EndReason(StrEnum):
    """Why a sample ended."""

    GELLED = "gelled"
    DROPPED = "dropped"
    USED = "used"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """An ending as kept; `already` says that it had been on record."""

    sample: str
    reason: EndReason
    at: datetime
    says: str
    cautions: tuple[str, ...]
    already: bool


def end_sample(  # noqa: PLR0913 - what ended and why, and who says so when
    records: Records,
    sample: str,
    *,
    at: datetime,
    reason: str,
    person: str,
    now: datetime,
    zone: ZoneInfo = UTC,
) -> Ended:
    """Note that a sample ended.

    Raises
    ------
    InputError
        If it is not on record, has ended otherwise, was read later, or the time cannot be.
    """
    why = _reason(reason)
    with records.writing() as connection:
        tin = known_sample(connection, sample, at=at)
        already = tin.ended_at is not None
        if tin.ended_at is not None and (tin.ended_at, tin.end_reason) != (at, why.value):
            raise InputError(
                f"sample {tin.sample} ended already, {local_words(tin.ended_at, zone)} ({tin.end_reason})",
                hint="a sample ends once",
            )
        refuse_out_of_time(tin, at, now=now, zone=zone)
        counted = [r for r in readings_of(connection, tin.id) if not r.set_aside]
        if counted and counted[-1].taken_at > at:
            raise InputError(
                f"sample {tin.sample} was read after that, {local_words(counted[-1].taken_at, zone)}",
                hint="give --at, or correct the reading",
            )
        if not already:
            insert_ending(connection, sample_id=tin.id, reason=why.value, at=at, entered_at=now)
            note(
                connection,
                at=now,
                person=person,
                verb="ended",
                subject=tin.sample,
                details={"reason": why.value, "at": at},
            )
    grade = counted[-1].gel_grade if counted else None
    if why is EndReason.GELLED:
        grade = max(grade or 0, GELLED_FROM)
    return Ended(
        sample=tin.sample,
        reason=why,
        at=at,
        says=f"{tin.sample} ended: {why.value}; no check falls due any more",
        cautions=cautions_at(tin, grade),
        already=already,
    )


def _reason(reason: str) -> EndReason:
    try:
        return EndReason(reason)
    except ValueError:
        raise InputError(f"ending {reason!r} is not one of {', '.join(EndReason)}") from None
