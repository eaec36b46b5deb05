"""Thinners against each other: ratios of lives, with intervals that hold for all of them at once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import stdtr, stdtrit

from stability.ageing.bounds import LifeOutcome, life
from stability.ageing.result import Fit
from stability.units import significant

__all__ = ["LifeRatio", "LogLife", "ratios", "ratios_of_lives"]

FAMILY_CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeRatio:
    """Life of a blend ÷ life of the reference, [–]; None where one of them cannot be given."""

    ratio: float | None
    lower: float | None
    upper: float | None
    p: float | None
    """Adjusted for the number of comparisons (Šidák)."""
    says: str


def _unknown(says: str) -> LifeRatio:
    return LifeRatio(ratio=None, lower=None, upper=None, p=None, says=says)


def _words(ratio: float, lower: float, upper: float) -> str:
    span = f"{significant(ratio)} times the reference ({significant(lower)}–{significant(upper)})"
    if lower > 1.0:
        return f"lasts longer: {span}"
    if upper < 1.0:
        return f"lasts less long: {span}"
    return f"no difference shown: {span}"


@dataclass(frozen=True, slots=True)
class LogLife:
    """A life as a fit knows it: ln(days), its standard error and degrees of freedom."""

    u: float
    se: float
    df: float


def _log_life(fit: Fit) -> LogLife:
    return LogLife(fit.u, fit.se_u, fit.df)


def _one(reference: LogLife, other: LogLife, comparisons: int) -> LifeRatio:
    variance_r, variance_o = reference.se**2, other.se**2
    variance = variance_r + variance_o
    # Welch–Satterthwaite: two independent fits, each with degrees of freedom of its own
    df = variance**2 / (variance_r**2 / max(reference.df, 1.0) + variance_o**2 / max(other.df, 1.0))
    difference, se = other.u - reference.u, math.sqrt(variance)
    level = FAMILY_CONFIDENCE ** (1.0 / comparisons)
    half = float(stdtrit(df, 0.5 + level / 2.0)) * se
    single = 2.0 * float(stdtr(df, -abs(difference) / se))
    ratio, lower, upper = (
        math.exp(min(v, 700.0)) for v in (difference, difference - half, difference + half)
    )
    return LifeRatio(
        ratio=ratio,
        lower=lower,
        upper=upper,
        p=1.0 - (1.0 - single) ** comparisons,
        says=_words(ratio, lower, upper),
    )


def ratios(reference: Fit, others: Sequence[Fit]) -> tuple[LifeRatio, ...]:
    """Return the life of each blend against a reference blend.

    Parameters
    ----------
    reference : Fit
        The blend compared with.
    others : sequence of Fit
        The blends to compare, fitted independently, to the same limit and storage temperature.

    Returns
    -------
    tuple of LifeRatio
        In the order of `others`; 95 % intervals of all ratios together, by Šidák's level
        0.95^(1/k) for each of the k ratios that can be given (Šidák 1967).
    """
    known = [life(f).outcome is LifeOutcome.ESTIMATED for f in others]
    if life(reference).outcome is not LifeOutcome.ESTIMATED:
        return tuple(_unknown("the reference has no life to compare with yet") for _ in others)
    comparisons = max(sum(known), 1)
    return tuple(
        _one(_log_life(reference), _log_life(other), comparisons)
        if given
        else _unknown("no life to compare yet")
        for other, given in zip(others, known, strict=True)
    )


def ratios_of_lives(reference: LogLife, others: Sequence[LogLife]) -> tuple[LifeRatio, ...]:
    """Return the same as `ratios` for lives that were kept without their fits; each must be an estimate."""
    return tuple(_one(reference, other, max(len(others), 1)) for other in others)
