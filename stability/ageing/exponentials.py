"""Quotients of exponentials whose holes at zero are removable, exact to rounding on both sides of zero.

    e₁(x) = (eˣ − 1)/x        k(w) = −ln(1 − w)/w        h(x) = 1 + 1/(eˣ − 1) − 1/x

Everything is dimensionless and elementwise.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

__all__ = ["e1", "e1_slope", "excess", "k", "over_or_one"]

Array = npt.NDArray[np.float64]

_SERIES_BELOW = 0.125
_TERMS = 18
_E1_SLOPE = np.array([(j + 1) / math.factorial(j + 2) for j in range(_TERMS)])
_BERNOULLI = np.array([1 / 12, -1 / 720, 1 / 30240, -1 / 1209600, 1 / 47900160, -691 / 1307674368000])
"""Of h(x) = ½ + Σ B₂ₖ·x^{2k−1}/(2k)!, in powers of x²."""


def over_or_one(numerator: Array, x: Array) -> Array:
    """numerator/x where x is not zero, 1 where it is: both functions used here tend to 1."""
    zero = x == 0.0
    return np.where(zero, 1.0, numerator / np.where(zero, 1.0, x))


def e1(x: Array) -> Array:
    """e₁(x) = (eˣ − 1)/x."""
    return over_or_one(np.expm1(x), x)


def _series(coefficients: Array, x: Array) -> Array:
    total = np.full_like(x, coefficients[-1])
    for c in coefficients[-2::-1]:
        total = total * x + c
    return total


def _slope_near_zero(coefficients: Array, far: Array, x: Array) -> Array:
    """Take the power series where the closed form would cancel."""
    near = np.abs(x) < _SERIES_BELOW
    if not near.any():
        return far
    out = np.array(far)
    out[near] = _series(coefficients, x[near])
    return out


def e1_slope(x: Array, e1: Array) -> Array:
    """e₁′(x) = (eˣ − e₁(x))/x."""
    far = (np.exp(x) - e1) / np.where(x == 0.0, 1.0, x)
    return _slope_near_zero(_E1_SLOPE, far, x)


def k(w: Array) -> Array:
    """k(w) = −ln(1 − w)/w for w < 1."""
    return over_or_one(-np.log1p(-w), w)


def excess(x: Array) -> Array:
    """h(x) = 1 + 1/(eˣ − 1) − 1/x: what d ln(eˣ − 1)/dx has beyond 1/x; ½ at 0."""
    near = np.abs(x) < _SERIES_BELOW
    far = np.where(near, 1.0, x)
    return np.where(near, 0.5 + x * _series(_BERNOULLI, x * x), 1.0 + 1.0 / np.expm1(far) - 1.0 / far)
