"""Which tins there are and when each is read: the plan, and what happened to it.

Ages and study days are whole days counted from 10:00 local on day 0. The second lots count from their own
start. Everything here is invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from functools import cache

from stability.demo.arms import ARMS, Arm
from stability.demo.codes import label
from stability.demo.stage import NOW_DAY, instant

__all__ = [
    "CURE_DAYS",
    "LATE_DAY",
    "PLANNED_DAYS",
    "SEALED_DAYS",
    "Pull",
    "Tin",
    "Why",
    "outings",
    "placed_at",
    "pulls",
    "taken_at",
    "tins",
]

PLANNED_DAYS: dict[str, tuple[int, ...]] = {
    "FRG-5": (0, 28, 84, 168),
    "ROOM-23": (0, 7, 14, 28, 56, 84, 112, 140, 168),
    "OVN-40": (0, 7, 14, 28, 42, 56, 70, 84, 112, 140, 168),
    "OVN-50": (0, 3, 7, 14, 21, 28, 35, 42, 49, 56),
    "OVN-60": (0, 1, 3, 7, 10, 14, 21, 28),
}
SEALED_DAYS = {"ROOM-23": 168, "OVN-40": 168, "OVN-50": 56}
CURE_DAYS: dict[str, tuple[int, ...]] = {"ROOM-23": (0, 28, 56, 112, 168), "OVN-50": (0, 28, 56)}

LATE_DAY = 33
"""The study day, a Sunday, on which the stand-in reads what was missed on day 28."""

_OUT_BEFORE = timedelta(hours=20)
_BACK_AFTER = timedelta(hours=1)
_MINUTES_PER_TIN = 2


class Why(StrEnum):
    """Why a pull stands where it stands."""

    PLANNED = "planned"
    LATE = "late"
    MOVED = "moved"
    EXTRA = "extra"
    REPEAT = "repeat"


@dataclass(frozen=True, slots=True)
class Tin:
    """One tin: replicate 1 or 2 is re-used, 0 is the never-opened twin; `rank` is its place in a round."""

    arm: Arm
    store: str
    replicate: int
    rank: int
    code: str

    @property
    def sealed(self) -> bool:
        """Whether it is never opened before its one reading."""
        return self.replicate == 0

    @property
    def cell(self) -> tuple[str, str, int]:
        """Blend key, store and replicate: what the script calls this tin."""
        return (self.arm.key, self.store, self.replicate)


@dataclass(frozen=True, slots=True)
class Pull:
    """One reading: the planned age, the study day on which it is really taken, and why then."""

    age_day: int
    day: int
    why: Why


def _walking_order(arm: Arm) -> tuple[bool, float]:
    """Sentinel first, then from thin to thick."""
    return (arm.key != "A2", arm.initial_mpas)


@cache
def tins() -> tuple[Tin, ...]:
    """Return all tins in the order of a round: store by store, the never-opened twins last."""
    cells: list[tuple[Arm, str, int]] = []
    for store in PLANNED_DAYS:
        replicates = (1,) if store == "OVN-60" else (1, 2)
        arms = sorted((one for one in ARMS if store in one.stores), key=_walking_order)
        cells += [(arm, store, replicate) for arm in arms for replicate in replicates]
    cells += [(arm, store, 0) for store in SEALED_DAYS for arm in ARMS if store in arm.stores]
    return tuple(
        Tin(arm, store, replicate, rank, label(rank)) for rank, (arm, store, replicate) in enumerate(cells)
    )


def placed_at(tin: Tin) -> datetime:
    """Return when the tin was filled and set down."""
    return instant(tin.arm.start_day)


def taken_at(tin: Tin, day: int) -> datetime:
    """Return when the tin is read on a study day: each tin has its own minute in every round."""
    return instant(day, minute=_MINUTES_PER_TIN * tin.rank)


def _pull(tin: Tin, age_day: int) -> Pull:
    day = age_day + tin.arm.start_day
    if tin.store == "OVN-50" and day == 28 and tin.arm.key in ("A3", "A9"):
        return Pull(age_day, LATE_DAY, Why.LATE)
    if tin.store == "OVN-50" and day == 49:
        return Pull(age_day, 50, Why.MOVED)  # its take-out would fall on a closed day
    return Pull(age_day, day, Why.PLANNED)


def pulls(tin: Tin) -> tuple[Pull, ...]:
    """Return a tin's readings up to now, as they happened, if nothing ends the tin before."""
    ages = (SEALED_DAYS[tin.store],) if tin.sealed else PLANNED_DAYS[tin.store]
    found = [_pull(tin, age_day) for age_day in ages]
    if tin.arm.key == "A7" and tin.store == "OVN-40" and not tin.sealed:
        found += [Pull(day, day, Why.EXTRA) for day in (49, 63)]
    if tin.cell == ("A5", "OVN-50", 2):
        found.append(Pull(15, 15, Why.REPEAT))
    return tuple(sorted((pull for pull in found if pull.day < NOW_DAY), key=lambda pull: pull.day))


def outings(tin: Tin) -> tuple[tuple[datetime, datetime], ...]:
    """Return when the tin was out at 23 °C: 20 h before each reading until 1 h after it."""
    if tin.store == "ROOM-23":
        return ()
    found: list[tuple[datetime, datetime]] = []
    for pull in pulls(tin):
        read_at = taken_at(tin, pull.day)
        out_at = max(read_at - _OUT_BEFORE, placed_at(tin))
        if pull.why is Why.REPEAT:
            out_at = found.pop()[0]  # it stayed on the bench overnight for the repeat
        found.append((out_at, read_at + _BACK_AFTER))
    return tuple(found)
