"""REML or ML of the two spreads in the linearised mixed model, from a fit's statistics.

With V_i = σ²(I + ρ·z_i z_i′) per tin, S(ρ) = X′X − Σ κ_i c_i c_i′, κ = ρ/(1 + ρ z′z), c = X′z, and the
penalties P of the parameters, M = S/σ² + P is Henderson's matrix and

    −2 l = N ln σ² + Σ ln(1 + ρ z_i′z_i) + ln|M| + quadratic

(REML; for ML ln|M| runs over the random store effects only). The derivatives by ln σ² and ln ρ are closed
forms; the Hessian is taken from differences of them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stability.ageing.solver import Penalties, Solution, Spreads

__all__ = ["LinearMixed", "covariance", "estimate_spreads", "linear_mixed", "log_likelihood"]

Array = npt.NDArray[np.float64]

SMALLEST_LN_VARIANCE = 2.0 * np.log(1e-4)
"""σ never falls below 0.01 %: four digits of a viscometer carry no less."""
LARGEST_LN_VARIANCE = 2.0 * np.log(5.0)
_LARGEST_LN_TIN_VARIANCE = 2.0 * np.log(3.0)
_RATIO_GRID = np.concatenate(([1e-9], np.logspace(-3.0, 5.0, 25)))


@dataclass(frozen=True, slots=True)
class LinearMixed:
    """The linearised mixed model of one blend, in its free parameters."""

    cross: Array
    """X′X, (p, p)."""
    group_cross: Array
    """c, (K, p)."""
    group_square: Array
    """z′z, (K,)."""
    right: Array
    """X′w with w = r + zβ, (p,)."""
    group_right: Array
    """z′w, (K,)."""
    square: float
    """w′w."""
    precision: Array
    """Penalties, (p,)."""
    offset: Array
    """μ − θ, (p,)."""
    integrated: npt.NDArray[np.bool_]
    """Parameters that ln|M| runs over: all for REML, the random ones for ML, (p,)."""
    count: float


def linear_mixed(
    at: Solution, penalties: Penalties, row: int, free: npt.NDArray[np.bool_], *, random: Array, reml: bool
) -> LinearMixed:
    """Return the linearised model of problem `row` at a solution, restricted to its `free` parameters."""
    st, effects, theta = at.statistics, at.effects[row], at.theta[row]
    t = st.group_gradient[row] + st.group_square[row] * effects
    right = st.gradient[row] + effects @ st.group_cross[row]
    # every quantity is re-expressed for w = r + zβ, so that β starts from zero
    square = st.square[row] + 2.0 * effects @ st.group_gradient[row] + effects**2 @ st.group_square[row]
    mean = np.broadcast_to(penalties.mean, at.theta.shape)[row]
    precision = np.broadcast_to(penalties.precision, at.theta.shape)[row]
    return LinearMixed(
        cross=st.cross[row][np.ix_(free, free)],
        group_cross=st.group_cross[row][:, free],
        group_square=st.group_square[row],
        right=right[free],
        group_right=t,
        square=float(square),
        precision=precision[free],
        offset=(mean - theta)[free],
        integrated=np.ones(int(free.sum()), dtype=bool) if reml else random[free].astype(bool),
        count=float(st.count[row]),
    )


@dataclass(frozen=True, slots=True)
class _Criterion:
    value: Array
    by_variance: Array
    """Derivative by ln σ²."""
    by_ratio: Array
    """Derivative by ln ρ."""
    next_variance: Array
    """σ² that would make the first derivative zero with all else held: a fixed-point map."""


def _criterion(lin: LinearMixed, ln_variance: Array, ratio: Array) -> _Criterion:
    """Evaluate −2 l (without constants) and its derivatives at Q points, all (Q,)."""
    variance = np.exp(ln_variance)
    grown = 1.0 + ratio[:, np.newaxis] * lin.group_square
    kappa = ratio[:, np.newaxis] / grown
    c = lin.group_cross
    s = lin.cross - np.swapaxes(c * kappa[..., np.newaxis], -1, -2) @ c
    m = s / variance[:, np.newaxis, np.newaxis] + np.diag(lin.precision)
    data_right = lin.right - (kappa * lin.group_right) @ c
    v = data_right / variance[:, np.newaxis] + lin.precision * lin.offset
    # a parameter that no reading informs yet has a zero row: the floor keeps its inverse finite
    scale = 1.0 / np.sqrt(np.maximum(np.diagonal(m, axis1=-2, axis2=-1), 1e-24))
    unit = m * scale[..., np.newaxis] * scale[..., np.newaxis, :] + 1e-13 * np.eye(m.shape[-1])
    inverse = np.linalg.inv(unit) * scale[..., np.newaxis] * scale[..., np.newaxis, :]
    b = (inverse @ v[..., np.newaxis])[..., 0]
    left = lin.square - kappa @ lin.group_right**2
    misfit = left - 2.0 * (b * data_right).sum(-1) + (b * (s @ b[..., np.newaxis])[..., 0]).sum(-1)
    misfit = np.maximum(misfit, 0.0)
    quadratic = misfit / variance + (lin.precision * (lin.offset - b) ** 2).sum(-1)
    if lin.integrated.all():
        trace_inverse, ln_det = inverse, np.linalg.slogdet(unit)[1] - 2.0 * np.log(scale).sum(-1)
    else:
        trace_inverse, ln_det = _partial(m, lin.integrated)
    spent = (trace_inverse * s).sum(axis=(-1, -2)) / variance
    cb = b @ c.T
    slope = ratio[:, np.newaxis] / grown**2
    leverage = ((c @ trace_inverse) * c).sum(-1)
    by_ratio = (1.0 - 1.0 / grown).sum(-1) - (
        (slope * leverage).sum(-1) + (slope * (lin.group_right - cb) ** 2).sum(-1)
    ) / variance
    return _Criterion(
        value=lin.count * ln_variance + np.log(grown).sum(-1) + ln_det + quadratic,
        by_variance=lin.count - spent - misfit / variance,
        by_ratio=by_ratio,
        next_variance=misfit / np.maximum(lin.count - spent, 0.5),
    )


def _partial(m: Array, integrated: npt.NDArray[np.bool_]) -> tuple[Array, Array]:
    """Inverse (padded with zeros) and ln|·| of the block of M that ML integrates over."""
    out = np.zeros_like(m)
    if not integrated.any():
        return out, np.zeros(m.shape[0])
    block = m[:, integrated][:, :, integrated]
    index = np.flatnonzero(integrated)
    out[:, index[:, np.newaxis], index] = np.linalg.inv(block)
    return out, np.linalg.slogdet(block)[1]


def _floor(variance: Array) -> Array:
    return np.asarray(np.clip(variance, np.exp(SMALLEST_LN_VARIANCE), np.exp(LARGEST_LN_VARIANCE)))


def _from_grid(lin: LinearMixed, ln_variance: float) -> tuple[float, float]:
    """Best of a grid in ρ with σ² at its own optimum for each: a start that needs no luck."""
    typical = max(float(lin.group_square.mean()), 1e-12)
    ratio = _RATIO_GRID / typical
    variance = np.full(ratio.shape, np.exp(ln_variance))
    for _ in range(6):
        variance = _floor(_criterion(lin, np.log(variance), ratio).next_variance)
    value = _criterion(lin, np.log(variance), ratio).value
    value = np.where(np.log(ratio * variance) < _LARGEST_LN_TIN_VARIANCE, value, np.inf)
    best = int(np.argmin(value))
    return float(np.log(variance[best])), float(ratio[best])


def _newton(lin: LinearMixed, ln_variance: float, ln_ratio: float) -> tuple[float, float]:
    h = 1e-4
    smallest = np.log(1e-7 / max(float(lin.group_square.mean()), 1e-12))
    for _ in range(30):
        at_l = np.array([ln_variance, ln_variance + h, ln_variance])
        at_r = np.array([ln_ratio, ln_ratio, ln_ratio + h])
        c = _criterion(lin, at_l, np.exp(at_r))
        gradient = np.array([c.by_variance[0], c.by_ratio[0]])
        h11 = (c.by_variance[1] - c.by_variance[0]) / h
        h22 = (c.by_ratio[2] - c.by_ratio[0]) / h
        h12 = 0.5 * ((c.by_variance[2] - c.by_variance[0]) + (c.by_ratio[1] - c.by_ratio[0])) / h
        if not (h11 > 0.0 and h22 > 0.0 and h11 * h22 > 1.0001 * h12 * h12):
            # outside the bowl: downhill along each axis on its own
            h11, h22, h12 = max(abs(h11), 0.1), max(abs(h22), 0.1), 0.0
        det = h11 * h22 - h12 * h12
        step = -np.array([h22 * gradient[0] - h12 * gradient[1], h11 * gradient[1] - h12 * gradient[0]]) / det
        step *= min(1.0, 2.0 / max(float(np.abs(step).max()), 1e-300))
        ln_variance = min(max(ln_variance + float(step[0]), SMALLEST_LN_VARIANCE), LARGEST_LN_VARIANCE)
        ln_ratio = min(ln_ratio + float(step[1]), _LARGEST_LN_TIN_VARIANCE - ln_variance)
        if ln_ratio < smallest:
            return ln_variance, -np.inf
        if np.abs(step).max() < 1e-9:
            break
    return ln_variance, ln_ratio


def estimate_spreads(lin: LinearMixed, spreads: Spreads, row: int, *, search: bool) -> tuple[float, float]:
    """Return σ² and ρ that maximise the (restricted) likelihood of the linearised model.

    Parameters
    ----------
    lin : LinearMixed
        From `linear_mixed`.
    spreads : Spreads
        Where to start.
    search : bool
        Look over a grid of ρ first; without it the start is refined.
    """
    ln_variance, ratio = float(np.log(spreads.variance[row])), float(spreads.ratio[row])
    if not lin.group_square.any():
        return _without_groups(lin, ln_variance), 0.0
    if search or ratio <= 0.0:
        ln_variance, ratio = _from_grid(lin, ln_variance)
    ln_variance, ln_ratio = _newton(lin, ln_variance, float(np.log(ratio)))
    if np.isfinite(ln_ratio):
        return float(np.exp(ln_variance)), float(np.exp(ln_ratio))
    return _without_groups(lin, ln_variance), 0.0


def _without_groups(lin: LinearMixed, ln_variance: float) -> float:
    """σ² when tins do not differ."""
    variance = np.array([np.exp(ln_variance)])
    for _ in range(40):
        new = _floor(_criterion(lin, np.log(variance), np.zeros(1)).next_variance)
        settled = bool(np.abs(new / variance - 1.0).max() < 1e-12)
        variance = new
        if settled:
            break
    return float(variance[0])


def covariance(lin: LinearMixed, variance: float, ratio: float) -> Array:
    """Return M⁻¹: the covariance of the free parameters at given spreads, (p, p)."""
    kappa = ratio / (1.0 + ratio * lin.group_square)
    s = lin.cross - (lin.group_cross * kappa[:, np.newaxis]).T @ lin.group_cross
    m = s / variance + np.diag(lin.precision)
    scale = 1.0 / np.sqrt(np.maximum(np.diagonal(m), 1e-24))
    unit = m * np.outer(scale, scale) + 1e-13 * np.eye(m.shape[0])
    return np.asarray(np.linalg.inv(unit) * np.outer(scale, scale))


def log_likelihood(lin: LinearMixed, variance: float, ratio: float) -> float:
    """Return the (restricted) log-likelihood with all constants, as mixed-model programs print it."""
    value = float(_criterion(lin, np.log(np.array([variance])), np.array([ratio])).value[0])
    random = lin.precision > 0.0
    flat = int((lin.integrated & ~random).sum())
    value += (lin.count - flat) * float(np.log(2.0 * np.pi))
    return -0.5 * (value - float(np.log(lin.precision[lin.integrated & random]).sum()))
