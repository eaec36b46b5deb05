"""Which reading or cure somebody means by a time he types: a whole instant, or the beginning of one."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from stability.errors import InputError
from stability.records.cures import cures_of
from stability.records.engine import Records
from stability.records.readings import readings_of
from stability.services.lookup import known_sample
from stability.services.opinion import value_words
from stability.services.times import local_words

__all__ = ["LAST", "cure_taken_at", "reading_taken_at", "readings_listed", "the_one_meant"]

LAST = "last"
"""Typed in place of a time: the latest there is."""
_MOST_LISTED = 5


def reading_taken_at(records: Records, sample: str, typed: str, *, now: datetime, zone: ZoneInfo) -> datetime:
    """Return when the reading was taken that is meant by a time such as "2025-03-25", or by "last".

    Raises
    ------
    InputError
        If no reading of the sample begins so, or several do.
    """
    with records.reading() as connection:
        tin = known_sample(connection, sample, at=now)
        stored = readings_of(connection, tin.id)
    moments = [moment for r in stored for moment in (r.original["taken_at"], r.taken_at)]
    return the_one_meant(typed, moments, what=f"a reading of {tin.sample}", zone=zone)


def readings_listed(records: Records, sample: str, *, now: datetime, zone: ZoneInfo) -> str:
    """Return the latest readings of a sample as a hint: when, and what each says now."""
    with records.reading() as connection:
        tin = known_sample(connection, sample, at=now)
        stored = readings_of(connection, tin.id)
    if not stored:
        return f"{tin.sample} has no reading yet"
    rows = [(r.original["taken_at"], r.counts) for r in stored[-_MOST_LISTED:]]
    told = [
        f"{local_words(at, zone)} "
        f"({value_words(row['viscosity_mpas'], bool(row['over_range']), row['gel_grade'])})"
        for at, row in rows
    ]
    return f"{tin.sample} has {', '.join(told)}; or type {LAST}"


def cure_taken_at(
    records: Records, sample: str, typed: str, *, humidity_pct: float, now: datetime, zone: ZoneInfo
) -> datetime:
    """Return the same for a drying test at one humidity."""
    with records.reading() as connection:
        tin = known_sample(connection, sample, at=now)
        stored = cures_of(connection, tin.id)
    moments = [c.original["taken_at"] for c in stored if c.original["humidity_pct"] == humidity_pct]
    what = f"a drying test of {tin.sample} at {humidity_pct:g} %"
    return the_one_meant(typed, moments, what=what, zone=zone)


def the_one_meant(typed: str, moments: Sequence[datetime], *, what: str, zone: ZoneInfo) -> datetime:
    """Return the one moment that a typed time names or begins, in local time or in UTC.

    Raises
    ------
    InputError
        If there is none or more than one; what there is is listed.
    """
    there = sorted(set(moments))
    if typed.strip().casefold() == LAST and there:
        return there[-1]
    exact = _instant(typed, zone)
    if exact in there:
        return exact
    start = typed.strip().replace("T", " ")
    found = [m for m in there if any(text.startswith(start) for text in _spellings(m, zone))]
    if len(found) == 1:
        return found[0]
    listed = ", ".join(local_words(m, zone) for m in (found or there)[:_MOST_LISTED])
    more = f" and {len(found or there) - _MOST_LISTED} more" if len(found or there) > _MOST_LISTED else ""
    if not found:
        raise InputError(f"no time {typed!r} of {what}", hint=f"there is {listed}{more}" if listed else None)
    raise InputError(f"{typed!r} is the beginning of {len(found)} times of {what}", hint=f"{listed}{more}")


def _instant(typed: str, zone: ZoneInfo) -> datetime | None:
    try:
        moment = datetime.fromisoformat(typed.strip())
    except ValueError:
        return None
    return (moment if moment.tzinfo else moment.replace(tzinfo=zone)).astimezone(UTC)


def _spellings(moment: datetime, zone: ZoneInfo) -> tuple[str, ...]:
    local, utc = moment.astimezone(zone), moment.astimezone(UTC)
    return local.isoformat(sep=" "), utc.replace(tzinfo=None).isoformat(sep=" ") + "Z"
