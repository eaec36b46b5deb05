"""The round: what is taken out and what is measured, in walking order, and how long it takes.

Minutes are planning figures (common practice, no source): one person, gloves on, cell cleaned between tins.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType

from stability.planning.windows import CheckState

__all__ = ["MINUTES_PER_CHECK", "RoundLine", "minutes_for", "minutes_needed", "walking_order"]

MINUTES_PER_CHECK: Mapping[str, float] = MappingProxyType(
    {"viscosity": 6.0, "gel": 2.0, "appearance": 1.0, "mass": 1.0, "cure": 15.0}
)
MINUTES_OTHER_CHECK = 5.0
MINUTES_TAKE_OUT = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundLine:
    """One tin on the round sheet; `take_out` lines only move it to the bench for tomorrow."""

    sample: str
    words: str
    store: str
    store_temperature_c: float
    checks: tuple[str, ...]
    due_at: datetime
    state: CheckState
    take_out: bool = False
    age_days: float = 0.0
    moved: bool = False
    viscosity_mpas: float | None = None
    sentinel: bool = False
    minutes: float = 0.0
    cautions: tuple[str, ...] = ()


def minutes_for(checks: Collection[str], *, take_out: bool = False) -> float:
    """Return the minutes planned for one tin."""
    if take_out:
        return MINUTES_TAKE_OUT
    return sum(MINUTES_PER_CHECK.get(check, MINUTES_OTHER_CHECK) for check in checks)


def minutes_needed(lines: Iterable[RoundLine]) -> float:
    """Return the minutes of a whole round."""
    return sum(line.minutes for line in lines)


def walking_order(lines: Iterable[RoundLine]) -> tuple[RoundLine, ...]:
    """Return the round as it is walked.

    Cold stores come before hot ones, in each the sentinel first and then from low to high viscosity (a tin
    not yet measured comes last); take-outs follow the readings.
    """
    return tuple(sorted(lines, key=_place))


def _place(line: RoundLine) -> tuple[object, ...]:
    viscosity = math.inf if line.viscosity_mpas is None else line.viscosity_mpas
    return (
        line.take_out,
        line.store_temperature_c,
        line.store,
        not line.sentinel,
        viscosity,
        _natural(line.sample),
        line.due_at,
    )


def _natural(code: str) -> tuple[tuple[int, int, str], ...]:
    """Return a key that puts T-9 before T-10."""
    parts = re.findall(r"[0-9]+|[^0-9]+", code)
    return tuple(
        (0, int(part), part) if part.isascii() and part.isdigit() else (1, 0, part) for part in parts
    )
