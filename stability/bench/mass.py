"""Weighing a tin at every pull: what it lost since it was weighed last, and whether that is too much.

Masses are g, gross (tin, lid and content), shares % of that gross mass: the tare is seldom on record.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

__all__ = ["MassChange", "Weighing", "loss_words", "mass_change", "thickened_by"]

LOSS_PCT = 0.5
"""A closed tin that lost more than this share since it was put away leaks (common practice, no source)."""
LOSS_AT_PULLS_PCT = 1.0
GAIN_PCT = 0.1
_ORDINARY_G = 0.1
_TIMES_THE_LARGEST = 3.0
LN_PER_LOST_PCT = 0.12
"""How much ln η rises per 1 % of thinner lost; a planning figure of the trade."""


@dataclass(frozen=True, slots=True)
class Weighing:
    """One pull: gross mass before opening, and when it was weighed again, after closing."""

    before_g: float
    after_g: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MassChange:
    """What a tin lost (negative: gained) since it was weighed last.

    `in_store` says that the last mass was taken after closing, so that only evaporation lies between.
    """

    lost_g: float
    share_pct: float
    in_store: bool
    unusual: bool


def mass_change(earlier: Sequence[Weighing], now_g: float) -> MassChange | None:
    """Return the change against the earlier weighings, oldest first; None without any.

    Where only one mass is taken per pull, what was poured out lies between too: then a loss is unusual only
    beside the tin's own earlier ones. A tin that has gained is always odd: another tin, or another lid.
    """
    if not earlier or not (math.isfinite(now_g) and now_g > 0):
        return None
    last = earlier[-1]
    in_store = last.after_g is not None
    against = last.before_g if last.after_g is None else last.after_g
    lost = against - now_g
    share = 100 * lost / against
    return MassChange(
        lost_g=lost, share_pct=share, in_store=in_store, unusual=_unusual(earlier, lost, share, in_store)
    )


def _unusual(earlier: Sequence[Weighing], lost_g: float, share_pct: float, in_store: bool) -> bool:
    if -share_pct > GAIN_PCT:
        return True
    if in_store:
        return share_pct > LOSS_PCT
    drops = [one.before_g - other.before_g for one, other in pairwise(earlier)]
    if not drops:
        return False
    ordinary = max(_ORDINARY_G, *drops)
    return share_pct > LOSS_AT_PULLS_PCT and lost_g > _TIMES_THE_LARGEST * ordinary


def thickened_by(share_pct: float) -> float:
    """Return the factor on viscosity that the loss of so much thinner explains, at least.

    >>> round(thickened_by(2.3), 2)
    1.32
    """
    return math.exp(LN_PER_LOST_PCT * min(max(share_pct, 0.0), 100.0))


def loss_words(change: MassChange) -> str:
    """Return the change in words.

    >>> loss_words(MassChange(lost_g=4.1, share_pct=1.81, in_store=False, unusual=True))
    '4.10 g lighter than at its last weighing (1.8 %)'
    """
    way = "lighter" if change.lost_g >= 0 else "heavier"
    since = "than when it was put away" if change.in_store else "than at its last weighing"
    return f"{abs(change.lost_g):.2f} g {way} {since} ({abs(change.share_pct):.1f} %)"
