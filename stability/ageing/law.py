"""The growth law: ln(η/η0) as a function of the share of life used, with two shape numbers.

    φ(s)        = (e^{b s} − 1)/(e^{b} − 1)                 b = 0: φ = s
    ln(η/η0)    = −(1/m)·ln(1 − (1 − L^{−m})·φ(s))          m = 0: ln(L)·φ(s)

`s` is dose ÷ life, so that s = 1 is the limit L. Everything here is dimensionless and elementwise: the
arguments broadcast, which is what lets one call serve many readings, many starts or many blends.

All removable singularities sit in a few quotients of exponentials (`exponentials`), which are exact to
rounding on both sides of zero.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stability.ageing.exponentials import e1, e1_slope, excess, k, over_or_one

__all__ = ["Growth", "gel_life_used", "life_used_at", "log_growth", "log_growth_and_gradients"]

Array = npt.NDArray[np.float64]

LINEAR_FROM = math.log(1e4)
"""ln(η/η0) from which the curve continues linearly in s."""

_LINEAR_FROM = np.asarray(LINEAR_FROM)

SMALLEST_LN_LIMIT = 1e-9
_TINY = 1e-30
_SMALL_SHAPE = 0.02


@dataclass(frozen=True, slots=True)
class Growth:
    """ln(η/η0) and its first derivatives, all of one broadcast shape."""

    value: Array
    by_life_used: Array
    by_m: Array
    by_b: Array
    by_ln_limit: Array


def _as_arrays(*values: npt.ArrayLike) -> list[Array]:
    return [np.asarray(v, dtype=np.float64) for v in values]


def _phi_at(growth_ln: Array, m: Array, ln_limit: Array) -> Array:
    """φ at which ln(η/η0) reaches `growth_ln`: (1 − e^{−m·g})/(1 − L^{−m}), and g/ln L at m = 0."""
    return growth_ln * e1(-m * growth_ln) / (ln_limit * e1(-m * ln_limit))


def _life_used_at_phi(phi: Array, b: Array) -> Array:
    """Invert φ(s); infinite where a levelling curve (b < 0) never gets there."""
    z = np.expm1(b) * phi
    never = z <= -1.0
    inside = np.where(never, 0.0, z)
    # ln(1 + z)/b written as φ·(ln(1 + z)/z)·e₁(b), which has no hole at b = 0
    reached = phi * over_or_one(np.log1p(inside), inside) * e1(b)
    return np.where(never, np.inf, reached)


def life_used_at(
    growth_ln: npt.ArrayLike, m: npt.ArrayLike, b: npt.ArrayLike, ln_limit: npt.ArrayLike
) -> Array:
    """Return the share of life used at which ln(η/η0) reaches `growth_ln` [–]; infinity when it never does.

    Parameters
    ----------
    growth_ln : array
        ln(η/η0) asked for, ≥ 0, [–].
    m, b : array
        Shape numbers, [–].
    ln_limit : array
        ln L of the limit that s = 1 stands for, > 0, [–].

    Examples
    --------
    The straight line in η (m = −1) with life to doubling needs a tenth of it for +10 %:

    >>> float(life_used_at(math.log(1.1), -1.0, 0.0, math.log(2.0)).round(12))
    0.1
    """
    g, m_, b_, ln_l = _as_arrays(growth_ln, m, b, ln_limit)
    return _life_used_at_phi(_phi_at(g, m_, np.maximum(ln_l, SMALLEST_LN_LIMIT)), b_)


def gel_life_used(m: npt.ArrayLike, b: npt.ArrayLike, ln_limit: npt.ArrayLike) -> Array:
    """Return the share of life used at which the curve diverges (the gel point), [–].

    Finite only if m > 0 and b > −m·ln L: s_gel = ln(1 + (e^b − 1)/(1 − L^{−m}))/b.

    >>> float(gel_life_used(1.0, 0.0, math.log(2.0)))
    2.0
    """
    m_, b_, ln_l = _as_arrays(m, b, ln_limit)
    m_, b_, ln_l = np.broadcast_arrays(m_, b_, ln_l)
    diverges = (m_ > 0.0) & (b_ > -m_ * ln_l)
    c = np.where(diverges, -np.expm1(-m_ * ln_l), 1.0)
    # a shape number of 1e-320 has a gel point beyond any double
    phi = np.where(c > 1e-300, 1.0 / np.maximum(c, 1e-300), np.inf)
    finite = diverges & np.isfinite(phi)
    s = _life_used_at_phi(np.where(finite, phi, 1.0), np.where(finite, b_, 0.0))
    return np.where(finite, s, np.inf)


def log_growth(
    life_used: npt.ArrayLike, m: npt.ArrayLike, b: npt.ArrayLike, ln_limit: npt.ArrayLike
) -> Array:
    """Return ln(η/η0) at a share of life used, [–].

    Parameters
    ----------
    life_used : array
        s = dose ÷ life to the limit, ≥ 0, [–].
    m, b : array
        Shape numbers, −3 ≤ m ≤ 3, −3 ≤ b ≤ 8, [–].
    ln_limit : array
        ln L, > 0, [–].

    Notes
    -----
    From η/η0 = 10⁴ on the curve continues linearly in s with matching value and first derivatives, so
    that a trial step of a fit beyond the gel point gives a number, never NaN.

    Examples
    --------
    Exponential growth is at √2 of its start after half its life to doubling:

    >>> float(np.exp(log_growth(0.5, 0.0, 0.0, math.log(2.0))).round(12))
    1.414213562373
    """
    s, m_, b_, ln_l = _as_arrays(life_used, m, b, ln_limit)
    ln_l = np.maximum(ln_l, SMALLEST_LN_LIMIT)
    end = _life_used_at_phi(_phi_at(_LINEAR_FROM, m_, ln_l), b_)
    inside = np.minimum(s, end)
    scale = ln_l * e1(-m_ * ln_l)
    grown = scale * inside * e1(b_ * inside) / e1(b_)
    value = grown * k(m_ * grown)
    slope = _slope_at_end(m_, b_, scale)
    return np.asarray(value + slope * (s - inside))


def _slope_at_end(m: Array, b: Array, scale: Array) -> Array:
    """dg/ds where η/η0 = 10⁴: e^{mG}·(b·G·e₁(−mG) + ln L·e₁(−m ln L)/e₁(b)); 0 where never reached."""
    g = LINEAR_FROM
    slope = np.exp(m * g) * (b * g * e1(-m * g) + scale / e1(b))
    return np.maximum(slope, 0.0)


def _off_zero(x: Array) -> Array:
    """Move a shape number off 0 by less than rounding shows, so that no quotient below has a hole."""
    return np.where(np.abs(x) < _TINY, _TINY, x)


def log_growth_and_gradients(
    life_used: npt.ArrayLike, m: npt.ArrayLike, b: npt.ArrayLike, ln_limit: npt.ArrayLike
) -> Growth:
    """Return ln(η/η0) and its derivatives by s, m, b and ln L; arguments as in `log_growth`.

    Notes
    -----
    With c = 1 − L^{−m}, T = (c/m)·φ/(1 − cφ) and h(x) = 1 + 1/(eˣ − 1) − 1/x

        ∂g/∂s = (c/m)·φ′/(1 − cφ)       ∂g/∂b = T·(s·h(bs) − h(b))
        ∂g/∂ln L = L^{−m}·φ/(1 − cφ)    ∂g/∂m = T·(g·h(−mg) − ln L·h(−m ln L))

    Away from b = 0 and m = 0 the last column is taken in a form that needs no h. On the linear
    continuation the derivatives are those of the continued function, not frozen ones.
    """
    s, m_, b_, ln_l = _as_arrays(life_used, m, b, ln_limit)
    ln_l = np.maximum(ln_l, SMALLEST_LN_LIMIT)
    m_, b_ = _off_zero(m_), _off_zero(b_)
    end = _life_used_at_phi(_phi_at(_LINEAR_FROM, m_, ln_l), b_)
    inside = np.minimum(s, end)
    grown_b, c = np.expm1(b_), -np.expm1(-m_ * ln_l)
    lift = np.expm1(b_ * inside)
    phi = lift / grown_b
    lift += 1.0
    w = c * phi
    value = np.log1p(-w) / -m_
    steep = 1.0 / (1.0 - w)
    share = phi * steep
    per_m = c / m_
    by_b = (inside * lift / grown_b - phi * (1.0 + 1.0 / grown_b)) * (per_m * steep)
    limit_lift = np.exp(-m_ * ln_l)
    by_m = (share * (ln_l * limit_lift) - value) / m_
    growth = Growth(
        value=value,
        by_life_used=lift * steep * (per_m * b_ / grown_b),
        by_m=_mended(by_m, m_, (per_m, share, value, ln_l), _by_m_near_zero),
        by_b=_mended(by_b, b_, (per_m, share, inside), _by_b_near_zero),
        by_ln_limit=share * limit_lift,
    )
    beyond = s - inside
    if not beyond.any():
        return growth
    return _continued(growth, beyond, (m_, b_, ln_l))


def _by_m_near_zero(m: Array, per_m: Array, share: Array, value: Array, ln_l: Array) -> Array:
    return per_m * share * (value * excess(-m * value) - ln_l * excess(-m * ln_l))


def _by_b_near_zero(b: Array, per_m: Array, share: Array, inside: Array) -> Array:
    return per_m * share * (inside * excess(b * inside) - excess(b))


def _mended(far: Array, shape: Array, given: tuple[Array, ...], near: Callable[..., Array]) -> Array:
    """Take the form without cancellation where a shape number is small."""
    small = np.abs(shape) < _SMALL_SHAPE
    if not small.any():
        return far
    if far.ndim == 2 and all(v.ndim == 2 and v.shape[0] == far.shape[0] for v in (shape, *given)):
        # one shape number per row, as in a fit: only such rows are worked out again
        rows = np.flatnonzero(small.any(axis=1))
        far[rows] = np.where(small[rows], near(shape[rows], *(v[rows] for v in given)), far[rows])
        return far
    return np.asarray(np.where(small, near(shape, *given), far))


def _continued(
    at_end: Growth,
    beyond: Array,
    shape: tuple[Array, Array, Array],
) -> Growth:
    """Add the linear piece: slope·(s − s_end), and the change of that slope with m, b and ln L."""
    m, b, ln_l = shape
    e1_limit = e1(-m * ln_l)
    scale = ln_l * e1_limit
    scale_m = -(ln_l**2) * e1_slope(-m * ln_l, e1_limit)
    e1_b = e1(b)
    e1_b_slope = e1_slope(b, e1_b)
    g = LINEAR_FROM
    lift = np.exp(m * g)
    e1_g = e1(-m * g)
    slope = _slope_at_end(m, b, scale)
    slope_m = g * slope + lift * (-b * g**2 * e1_slope(-m * g, e1_g) + scale_m / e1_b)
    slope_b = lift * (g * e1_g - scale * e1_b_slope / e1_b**2)
    slope_ln_l = lift * np.exp(-m * ln_l) / e1_b
    return Growth(
        value=at_end.value + slope * beyond,
        by_life_used=at_end.by_life_used,
        by_m=at_end.by_m + slope_m * beyond,
        by_b=at_end.by_b + slope_b * beyond,
        by_ln_limit=at_end.by_ln_limit + slope_ln_l * beyond,
    )
