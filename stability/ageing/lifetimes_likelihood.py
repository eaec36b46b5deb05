"""The likelihood of lives seen exactly, in an interval, or not yet: normal and smallest-extreme-value.

z is the standardised ln(life), [–]: ln t = location + scale·z with z normal (lognormal lives) or of the
smallest extreme value (Weibull lives). All arrays (problems, lives); one that is padded has weight 0.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr, ndtr, ndtri

__all__ = ["Family", "Seen", "Terms", "fraction_below", "standard_quantile", "terms"]

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

LN_ROOT_TWO_PI = 0.5 * math.log(2.0 * math.pi)
_FURTHEST = 300.0
"""Beyond so many scales a smallest-extreme-value term would overflow; no fit ends there."""


class Family(StrEnum):
    """How lives scatter about their middle."""

    LOGNORMAL = "lognormal"
    WEIBULL = "weibull"


@dataclass(frozen=True, slots=True)
class Seen:
    """What is known of each life, (problems, lives) each; neither end: nothing."""

    exact: Mask
    """The life itself; it stands in the low end."""
    low: Mask
    """It is longer than the low end."""
    high: Mask
    """It is at most the high end."""

    def take(self, rows: npt.NDArray[np.intp]) -> Seen:
        """Return some of the problems."""
        return Seen(self.exact[rows], self.low[rows], self.high[rows])


@dataclass(frozen=True, slots=True)
class Terms:
    """ln of the probability of what was seen, and its derivatives by the two ends z."""

    value: Array
    by_low: Array
    by_high: Array
    low_low: Array
    low_high: Array
    high_high: Array


def standard_quantile(family: Family, share: npt.ArrayLike) -> Array:
    """Return z below which a share of lives ends, [–].

    >>> float(standard_quantile(Family.WEIBULL, 0.5).round(6))
    -0.366513
    """
    p = np.asarray(share, dtype=np.float64)
    return np.asarray(ndtri(p) if family is Family.LOGNORMAL else np.log(-np.log1p(-p)))


def fraction_below(family: Family, z: npt.ArrayLike) -> Array:
    """Return the share of lives that end below z, [–].

    >>> float(fraction_below(Family.WEIBULL, 0.0).round(6))
    0.632121
    """
    at = np.asarray(z, dtype=np.float64)
    if family is Family.LOGNORMAL:
        return np.asarray(ndtr(at))
    return np.asarray(-np.expm1(-np.exp(np.minimum(at, _FURTHEST))))


def terms(family: Family, seen: Seen, z_low: Array, z_high: Array) -> Terms:
    """Return the log-likelihood of each life and its derivatives; a missing end's z is not looked at.

    An exact life gives ln f(z); the −ln(scale) and −ln(t) that make it a density of t are the caller's.
    The rest is ln(F(z_high) − F(z_low)), taken from the tail that keeps its digits.
    """
    low = np.where(seen.low | seen.exact, z_low, 0.0)
    high = np.where(seen.high, z_high, low + 1.0)
    of = _normal if family is Family.LOGNORMAL else _extreme
    return of(seen, low, high)


def _assembled(
    seen: Seen, log_p: Array, densities: tuple[Array, Array], slopes: tuple[Array, Array]
) -> Terms:
    """Return the terms of intervals from ln P, ln f and f′/f at both ends; exact ones are put in after."""
    a = np.where(seen.high, np.exp(np.minimum(densities[1] - log_p, 50.0)), 0.0)
    b = np.where(seen.low, np.exp(np.minimum(densities[0] - log_p, 50.0)), 0.0)
    return Terms(
        value=log_p,
        by_low=-b,
        by_high=a,
        low_low=-slopes[0] * b - b * b,
        low_high=a * b,
        high_high=slopes[1] * a - a * a,
    )


def _with_exact(seen: Seen, t: Terms, value: Array, first: Array, second: Array) -> Terms:
    if not seen.exact.any():
        return t
    zero = np.zeros_like(value)
    return Terms(
        value=np.where(seen.exact, value, t.value),
        by_low=np.where(seen.exact, first, t.by_low),
        by_high=np.where(seen.exact, zero, t.by_high),
        low_low=np.where(seen.exact, second, t.low_low),
        low_high=np.where(seen.exact, zero, t.low_high),
        high_high=np.where(seen.exact, zero, t.high_high),
    )


def _normal(seen: Seen, low: Array, high: Array) -> Terms:
    between = seen.low & seen.high
    # mirrored into the lower tail, where ln Φ keeps its digits
    mirror = between & (low > 0.0)
    left, right = np.where(mirror, -high, low), np.where(mirror, -low, high)
    ln_right, ln_left = log_ndtr(right), log_ndtr(left)
    gap = np.where(between, np.minimum(ln_left - ln_right, -1e-15), -1.0)
    log_p = np.where(between, ln_right + np.log(-np.expm1(gap)), 0.0)
    log_p = np.where(seen.high & ~seen.low, ln_right, log_p)
    log_p = np.where(seen.low & ~seen.high & ~seen.exact, log_ndtr(-low), log_p)
    ln_f_low, ln_f_high = -0.5 * low**2 - LN_ROOT_TWO_PI, -0.5 * high**2 - LN_ROOT_TWO_PI
    found = _assembled(seen, log_p, (ln_f_low, ln_f_high), (-low, -high))
    return _with_exact(seen, found, ln_f_low, -low, np.full_like(low, -1.0))


def _extreme(seen: Seen, low: Array, high: Array) -> Terms:
    low, high = np.clip(low, -_FURTHEST, _FURTHEST), np.clip(high, -_FURTHEST, _FURTHEST)
    hazard_low, hazard_high = np.exp(low), np.exp(high)
    survived = np.where(seen.low, -hazard_low, 0.0)
    step = np.where(seen.low, hazard_low * np.expm1(np.maximum(high - low, 1e-15)), hazard_high)
    log_p = survived + np.where(seen.high, np.log(-np.expm1(-np.maximum(step, 1e-300))), 0.0)
    found = _assembled(
        seen, log_p, (low - hazard_low, high - hazard_high), (1.0 - hazard_low, 1.0 - hazard_high)
    )
    return _with_exact(seen, found, low - hazard_low, 1.0 - hazard_low, -hazard_low)
