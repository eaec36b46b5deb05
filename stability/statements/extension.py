"""How far a claim may reach beyond the real time covered: practice borrowed from pharmaceutical guidance.

Times are months. Source: ICH Q1E (2003) 2.4, as summarised by a member of its working group; the factor 1.5
of cases c and d is from memory.
"""

from __future__ import annotations

import math
from enum import StrEnum

from stability.errors import InputError

__all__ = ["ExtensionCase", "longest_claim_months"]


class ExtensionCase(StrEnum):
    """The six cases of the guidance, by what the accelerated stores and the statistics say."""

    LITTLE_CHANGE = "a"
    STATISTICS = "b"
    NO_STATISTICS = "c"
    ACCELERATED_CHANGE = "d"
    ACCELERATED_CHANGE_NO_STATISTICS = "e"
    INTERMEDIATE_CHANGE = "f"


# factor on the real time, months beyond it; the smaller of both binds
_REACH = {
    ExtensionCase.LITTLE_CHANGE: (2.0, 12.0),
    ExtensionCase.STATISTICS: (2.0, 12.0),
    ExtensionCase.NO_STATISTICS: (1.5, 6.0),
    ExtensionCase.ACCELERATED_CHANGE: (1.5, 6.0),
    ExtensionCase.ACCELERATED_CHANGE_NO_STATISTICS: (math.inf, 3.0),
    ExtensionCase.INTERMEDIATE_CHANGE: (1.0, 0.0),
}


def longest_claim_months(real_time_months: float, case: ExtensionCase) -> float:
    """Return the longest claim that so much real time carries in a case, [months].

    >>> longest_claim_months(12, ExtensionCase.STATISTICS)
    24.0
    """
    if not (math.isfinite(real_time_months) and real_time_months >= 0):
        raise InputError(f"real time is a number of months from 0 on, got {real_time_months!r}")
    factor, beyond = _REACH[case]
    within = real_time_months + beyond
    return within if math.isinf(factor) else min(factor * real_time_months, within)
