"""The state of a planned check, and which reading served which check.

Windows are common practice (no source): to day 7 ± 6 h, weekly ± 1 d, monthly ± 3 d, quarterly ± 5 d. A fit
uses the actual time in any case; lateness is a mark of quality, never a reason to drop a reading.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from enum import StrEnum

from stability.planning.calendar import Due

__all__ = ["CheckState", "check_state", "closes_at", "match", "opens_at", "window"]

MISSED_AFTER = timedelta(days=30)
MORNING = timedelta(hours=6)
WEEKLY_GAP = timedelta(days=14)


class CheckState(StrEnum):
    """Where a planned check stands."""

    PLANNED = "planned"
    DUE = "due"
    LATE = "late"
    MISSED = "missed"
    DONE = "done"
    CANCELLED = "cancelled"


def window(age_days: float, *, gap: timedelta | None = None) -> timedelta:
    """Return how far a reading may lie from its due time.

    The age decides; checks that follow each other within 14 days (`gap`) stay weekly ones, ± 1 d, at any age.
    """
    if age_days <= 7:
        return timedelta(hours=6)
    if age_days < 28 or (gap is not None and gap < WEEKLY_GAP):
        return timedelta(days=1)
    return timedelta(days=3) if age_days < 90 else timedelta(days=5)


def opens_at(due: Due, *, next_due_at: datetime | None) -> datetime:
    """Return when a check becomes due: its window, or the morning of its take-out where that is earlier."""
    early = due.due_at - _window_of(due, next_due_at)
    return early if due.take_out_at is None else min(early, due.take_out_at - MORNING)


def closes_at(due: Due, *, next_due_at: datetime | None) -> datetime:
    """Return the last instant at which a reading is on time."""
    return due.due_at + _window_of(due, next_due_at)


def check_state(
    due: Due,
    *,
    next_due_at: datetime | None,
    done_at: datetime | None,
    ended_at: datetime | None,
    now: datetime,
) -> CheckState:
    """Return the state of one check; `next_due_at` is the same sample's next planned check.

    An ending cancels what was not yet late; a check that was late when its sample ended was missed.
    """
    last_on_time = closes_at(due, next_due_at=next_due_at)
    if done_at is not None:
        return CheckState.DONE
    if ended_at is not None:
        return CheckState.CANCELLED if ended_at <= last_on_time else CheckState.MISSED
    if now <= last_on_time:
        opened = now >= opens_at(due, next_due_at=next_due_at)
        return CheckState.DUE if opened else CheckState.PLANNED
    overtaken = next_due_at is not None and now >= next_due_at
    return CheckState.MISSED if overtaken or now >= due.due_at + MISSED_AFTER else CheckState.LATE


def match(dues: Sequence[Due], taken_ats: Sequence[datetime]) -> Mapping[int, int]:
    """Return which reading served which check, by their places in the two sequences.

    Each serves at most one. Readings inside a window are given away first, nearest first; then a reading
    that comes after its window serves the check it is late for, until the next one falls due; what is left
    over may serve a coming check from half the gap before it. So the late reading of day 28, taken on day
    33, is not mistaken for an early one of day 35.
    """
    order = sorted(range(len(dues)), key=lambda place: dues[place].due_at)
    served: dict[int, int] = {}
    for reach in (_on_time, _late, _early):
        pairs = sorted(
            (abs(taken_at - dues[place].due_at), place, index)
            for rank, place in enumerate(order)
            for index, taken_at in enumerate(taken_ats)
            if place not in served and index not in served.values() and reach(dues, order, rank, taken_at)
        )
        taken = set(served.values())
        for _, place, index in pairs:
            if place not in served and index not in taken:
                served[place] = index
                taken.add(index)
    return dict(sorted(served.items()))


def _window_of(due: Due, next_due_at: datetime | None) -> timedelta:
    gap = None if next_due_at is None else next_due_at - due.due_at
    return window(due.age_days, gap=gap)


def _next_due_at(dues: Sequence[Due], order: Sequence[int], rank: int) -> datetime | None:
    return dues[order[rank + 1]].due_at if rank + 1 < len(order) else None


def _on_time(dues: Sequence[Due], order: Sequence[int], rank: int, taken_at: datetime) -> bool:
    due = dues[order[rank]]
    # the last check of a weekly plan is a weekly one: its gap is the one before it
    last = len(order) - 1
    place = min(rank, max(last - 1, 0))
    gap = dues[order[place + 1]].due_at - dues[order[place]].due_at if last else None
    return abs(taken_at - due.due_at) <= window(due.age_days, gap=gap)


def _late(dues: Sequence[Due], order: Sequence[int], rank: int, taken_at: datetime) -> bool:
    due = dues[order[rank]]
    last = due.due_at + MISSED_AFTER
    next_due_at = _next_due_at(dues, order, rank)
    return due.due_at < taken_at < (last if next_due_at is None else min(last, next_due_at))


def _early(dues: Sequence[Due], order: Sequence[int], rank: int, taken_at: datetime) -> bool:
    if rank == 0:
        return False
    due, before = dues[order[rank]], dues[order[rank - 1]]
    return due.due_at - (due.due_at - before.due_at) / 2 < taken_at < due.due_at
