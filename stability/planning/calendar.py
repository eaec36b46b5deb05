"""When checks fall due: ages in days → local dates → UTC instants.

A plan is a list of local dates. The day of the placing plus whole days gives the date, the wall time of the
placing gives the hour, so that summer time never moves a check by an hour. Instants are aware UTC.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from stability.errors import InputError

__all__ = ["Due", "closed_days", "due_times", "local_instant"]

LONGEST_AGE_DAYS = 36_525.0
LONGEST_CLOSURE_DAYS = 60
ONE_DAY = timedelta(days=1)
ONE_SECOND = timedelta(seconds=1)


@dataclass(frozen=True, slots=True)
class Due:
    """One planned check: its age in the plan, and the local date and instants that came of it.

    `take_out_at` is None where the tin need not stand before the reading, or would have to come out before
    it went in. `moved` says that a closed day was in the way.
    """

    age_days: float
    planned_on: date
    due_at: datetime
    take_out_at: datetime | None
    moved: bool


def closed_days(weekdays: Collection[int], holidays: Collection[date]) -> Callable[[date], bool]:
    """Return the test for a closed day: these days of the week (Monday 0 … Sunday 6) and these dates."""
    wrong = sorted(day for day in weekdays if day not in range(7))
    if wrong:
        raise InputError(f"days of the week are 0 (Monday) to 6 (Sunday), got {wrong[0]}")
    if len(set(weekdays)) == 7:
        raise InputError("all seven days of the week are closed: no check could ever fall due")
    shut, feasts = frozenset(weekdays), frozenset(holidays)
    return lambda day: day.weekday() in shut or day in feasts


def local_instant(day: date, wall: time, zone: ZoneInfo) -> datetime:
    """Return the UTC instant of a local wall time.

    In the gap of a clock change it is the first valid instant after it, in the doubled hour the first of two.
    """
    naive = datetime.combine(day, wall.replace(tzinfo=None, fold=0))
    first = naive.replace(tzinfo=zone).astimezone(UTC)
    if first.astimezone(zone).replace(tzinfo=None) == naive:
        return first
    # In a gap fold=1 answers with the offset after the change, hence an instant before it.
    before = naive.replace(tzinfo=zone, fold=1).astimezone(UTC).replace(microsecond=0)
    return _change_between(before, first, zone)


def due_times(
    placed_at: datetime,
    ages_days: Sequence[float],
    *,
    zone: ZoneInfo,
    closed: Callable[[date], bool],
    take_out_day_before: bool,
) -> tuple[Due, ...]:
    """Return the checks of one sample in the order of the ages given.

    Whole days are local days at the wall time of the placing; a fraction of a day is added as exact hours.
    A closed day, for the reading or for the take-out the day before it, moves the check to the next day
    that is open for both. The reading at age 0 never moves.
    """
    if placed_at.tzinfo is None:
        raise InputError("the time of placing needs a time zone")
    faults = [
        f"ages of checks are 0 to {LONGEST_AGE_DAYS:g} days, got {age!r}"
        for age in ages_days
        if not (math.isfinite(age) and 0 <= age <= LONGEST_AGE_DAYS)
    ]
    if faults:
        raise InputError(*faults)
    plan = _Plan(placed_at.astimezone(UTC), zone, closed, take_out_day_before)
    return tuple(plan.due(float(age)) for age in ages_days)


@dataclass(frozen=True, slots=True)
class _Plan:
    """What all checks of one sample share."""

    placed_at: datetime
    zone: ZoneInfo
    closed: Callable[[date], bool]
    take_out_day_before: bool

    def due(self, age_days: float) -> Due:
        if age_days == 0:
            local = self.placed_at.astimezone(self.zone)
            return Due(0.0, local.date(), self.placed_at, None, moved=False)
        for shift in range(LONGEST_CLOSURE_DAYS + 1):
            found = self._open_on(age_days, shift)
            if found is not None:
                return found
        raise InputError(
            f"the check of day {age_days:g} finds no open day within {LONGEST_CLOSURE_DAYS} days",
            hint="look at the closed days of the settings",
        )

    def _open_on(self, age_days: float, shift: int) -> Due | None:
        """Return the check moved by `shift` days, or None if that day or its take-out is closed."""
        due_at = self._at(age_days, shift)
        day = due_at.astimezone(self.zone).date()
        take_out_at = self._take_out_at(due_at)
        if self.closed(day):
            return None
        if take_out_at is not None and self.closed(take_out_at.astimezone(self.zone).date()):
            return None
        return Due(age_days, day, due_at, take_out_at, moved=shift > 0)

    def _at(self, age_days: float, shift: int) -> datetime:
        local = self.placed_at.astimezone(self.zone)
        whole = math.floor(age_days)
        start = local_instant(local.date() + timedelta(days=whole + shift), local.time(), self.zone)
        # UTC first: hours added in local time would be an hour off across a clock change
        return start + timedelta(days=age_days - whole)

    def _take_out_at(self, due_at: datetime) -> datetime | None:
        if not self.take_out_day_before:
            return None
        local = due_at.astimezone(self.zone)
        out_at = local_instant(local.date() - ONE_DAY, local.time(), self.zone)
        return out_at if out_at > self.placed_at else None


def _change_between(before: datetime, after: datetime, zone: ZoneInfo) -> datetime:
    """Return the instant of the clock change in (before, after], to the second."""
    offset = before.astimezone(zone).utcoffset()
    while after - before > ONE_SECOND:
        middle = before + (after - before) / 2
        middle = middle.replace(microsecond=0) if middle.replace(microsecond=0) > before else middle
        if middle.astimezone(zone).utcoffset() == offset:
            before = middle
        else:
            after = middle
    return after.replace(microsecond=0)
