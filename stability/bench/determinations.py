"""Repeated determinations of one reading: two, a third where they differ, the median kept with all of them.

Viscosities are mPa·s. Two fresh fillings that differ by more than 5 % ask for a third (common practice, no
source; with a known spread s of the method it is 2.8 s, the usual repeatability limit).
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from stability.errors import InputError

__all__ = ["Determined", "determined", "shear_ratio"]

DIFFER_BY = 0.05
REPEATABILITY_FACTOR = 2.8
NEAR_GEL_RATIO = 1.1


@dataclass(frozen=True, slots=True)
class Determined:
    """The value of a reading with everything it came from; `another` asks for one more determination."""

    viscosity_mpas: float
    values_mpas: tuple[float, ...]
    another: bool


def determined(values_mpas: Sequence[float], *, spread: float | None = None) -> Determined:
    """Return the median of the determinations (of two their mean) and whether a third is wanted.

    `spread` is the method's own relative standard deviation within a run.
    """
    if not values_mpas or any(not (math.isfinite(value) and value > 0) for value in values_mpas):
        raise InputError(f"determinations are positive numbers of mPa·s, got {list(values_mpas)}")
    limit = DIFFER_BY if spread is None else REPEATABILITY_FACTOR * spread
    # 420/400 − 1 is 0.05000000000000004: exactly at the limit is not beyond it
    apart = max(values_mpas) / min(values_mpas) - 1 > limit + 1e-9
    return Determined(statistics.median(values_mpas), tuple(values_mpas), len(values_mpas) == 2 and apart)


def shear_ratio(slow_mpas: float, fast_mpas: float) -> tuple[float, bool]:
    """Return viscosity at the slow speed ÷ at the fast one, and whether it warns of gel (above 1.1).

    >>> shear_ratio(336.0, 300.0)
    (1.12, True)
    """
    ratio = slow_mpas / fast_mpas
    return ratio, ratio > NEAR_GEL_RATIO
