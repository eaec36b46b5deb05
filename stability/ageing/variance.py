"""REML or ML of the two spreads in the linearised mixed model, from the statistics of many fits.

With V_i = σ²(I + ρ·z_i z_i′) per tin, S(ρ) = X′X − Σ κ_i c_i c_i′, κ = ρ/(1 + ρ z′z), c = X′z, and the
penalties P of the parameters, M = S/σ² + P is Henderson's matrix and

    −2 l = N ln σ² + Σ ln(1 + ρ z_i′z_i) + ln|M| + quadratic

(REML; for ML ln|M| runs over the random store effects only). The derivatives by ln σ² and ln ρ are closed
forms; the Hessian is taken from differences of them. Leading axis: problems (P).
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from stability.ageing.normal_equations import Penalties, Solution, Spreads

__all__ = ["LinearMixed", "covariance", "estimate_spreads", "linear_mixed", "log_likelihood"]

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

SMALLEST_LN_VARIANCE = 2.0 * np.log(1e-4)
"""σ never falls below 0.01 %: four digits of a viscometer carry no less."""
LARGEST_LN_VARIANCE = 2.0 * np.log(5.0)
_LARGEST_LN_TIN_VARIANCE = 2.0 * np.log(3.0)
_RATIO_GRID = np.array([1e-9, 0.03, 0.3, 3.0, 30.0, 1e3, 1e5])
_NEWTON_STEPS = 30
_DIFFERENCE = 1e-4


@dataclass(frozen=True, slots=True)
class LinearMixed:
    """Linearised mixed models; rows and columns of parameters that are held are zero."""

    cross: Array
    """X′X, (P, p, p)."""
    group_cross: Array
    """c, (P, K, p)."""
    group_square: Array
    """z′z, (P, K)."""
    right: Array
    """X′w with w = r + zβ, (P, p)."""
    group_right: Array
    """z′w, (P, K)."""
    square: Array
    """w′w, (P,)."""
    precision: Array
    """Penalties, (P, p)."""
    offset: Array
    """μ − θ, (P, p)."""
    free: Mask
    """(P, p)."""
    integrated: Mask
    """Parameters that ln|M| runs over: the free ones for REML, the random ones of them for ML, (P, p)."""
    count: Array
    """(P,)."""
    all_integrated: bool
    """REML: every free parameter is integrated over."""

    def rows(self, rows: npt.NDArray[np.intp]) -> LinearMixed:
        """Return some problems."""
        own = {f.name: getattr(self, f.name)[rows] for f in fields(self)[:-1]}
        return replace(self, **own)

    @property
    def typical(self) -> Array:
        """Mean z′z of the tins that have readings: the scale of 1/ρ, (P,)."""
        used = (self.group_square > 0.0).sum(axis=1)
        return np.asarray(np.maximum(self.group_square.sum(axis=1) / np.maximum(used, 1), 1e-12))


def linear_mixed(at: Solution, penalties: Penalties, free: Mask, *, random: Mask, reml: bool) -> LinearMixed:
    """Return the linearised models at a solution, restricted to their `free` parameters (P, p)."""
    st, effects = at.statistics, at.effects
    # every quantity is re-expressed for w = r + zβ, so that β starts from zero
    right = st.gradient + (effects[:, np.newaxis, :] @ st.group_cross)[:, 0]
    inside = effects * (2.0 * st.group_gradient + effects * st.group_square)
    shape = at.theta.shape
    return LinearMixed(
        cross=np.where(free[:, :, np.newaxis] & free[:, np.newaxis, :], st.cross, 0.0),
        group_cross=np.where(free[:, np.newaxis, :], st.group_cross, 0.0),
        group_square=st.group_square,
        right=np.where(free, right, 0.0),
        group_right=st.group_gradient + st.group_square * effects,
        square=st.square + inside.sum(axis=1),
        precision=np.where(free, np.broadcast_to(penalties.precision, shape), 0.0),
        offset=np.where(free, penalties.mean - at.theta, 0.0),
        free=free,
        integrated=free if reml else free & random,
        count=st.count,
        all_integrated=reml,
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


def _henderson(lin: LinearMixed, variance: Array, ratio: Array) -> tuple[Array, Array, Array, Array]:
    """Return κ (P, K), S (P, p, p), M⁻¹ scaled to a unit diagonal with 1 for held ones, and the scale."""
    kappa = ratio[:, np.newaxis] / (1.0 + ratio[:, np.newaxis] * lin.group_square)
    c = lin.group_cross
    s = lin.cross - np.swapaxes(c * kappa[..., np.newaxis], -1, -2) @ c
    m = s / variance[:, np.newaxis, np.newaxis]
    # a parameter that no reading informs yet has a zero row: the floor keeps its inverse finite
    diagonal = np.diagonal(m, axis1=-2, axis2=-1) + lin.precision
    scale = np.where(lin.free, 1.0 / np.sqrt(np.maximum(diagonal, 1e-24)), 1.0)
    unit = m * scale[..., np.newaxis] * scale[..., np.newaxis, :]
    extra = np.where(lin.free, 1e-13 + lin.precision * scale**2, 1.0)
    return kappa, s, unit + np.eye(m.shape[-1]) * extra[:, np.newaxis, :], scale


def _criterion(lin: LinearMixed, ln_variance: Array, ratio: Array) -> _Criterion:
    """Evaluate −2 l (without constants) and its derivatives, all (P,)."""
    variance = np.exp(ln_variance)
    kappa, s, unit, scale = _henderson(lin, variance, ratio)
    grown = 1.0 + ratio[:, np.newaxis] * lin.group_square
    inverse = np.linalg.inv(unit) * scale[..., np.newaxis] * scale[..., np.newaxis, :]
    c = lin.group_cross
    data_right = lin.right - ((kappa * lin.group_right)[:, np.newaxis, :] @ c)[:, 0]
    v = data_right / variance[:, np.newaxis] + lin.precision * lin.offset
    b = np.where(lin.free, (inverse @ v[..., np.newaxis])[..., 0], 0.0)
    left = lin.square - (kappa * lin.group_right**2).sum(-1)
    misfit = left - 2.0 * (b * data_right).sum(-1) + (b * (s @ b[..., np.newaxis])[..., 0]).sum(-1)
    misfit = np.maximum(misfit, 0.0)
    quadratic = misfit / variance + (lin.precision * (lin.offset - b) ** 2).sum(-1)
    if lin.all_integrated:
        trace_inverse, ln_det = inverse, _ln_det(unit) - 2.0 * np.log(scale).sum(-1)
    else:
        trace_inverse, ln_det = _partial(unit, scale, lin.integrated)
    spent = (trace_inverse * s).sum(axis=(-1, -2)) / variance
    cb = (c @ b[..., np.newaxis])[..., 0]
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


def _ln_det(unit: Array) -> Array:
    return np.asarray(np.linalg.slogdet(unit)[1])


def _partial(unit: Array, scale: Array, integrated: Mask) -> tuple[Array, Array]:
    """Inverse (padded with zeros) and ln|·| of the block of M that ML integrates over."""
    both = integrated[..., np.newaxis] & integrated[..., np.newaxis, :]
    block = np.where(both, unit, np.eye(unit.shape[-1]))
    inverse = np.where(both, np.linalg.inv(block), 0.0) * scale[..., np.newaxis] * scale[..., np.newaxis, :]
    return inverse, _ln_det(block) - 2.0 * np.where(integrated, np.log(scale), 0.0).sum(-1)


def _floor(variance: Array) -> Array:
    return np.asarray(np.clip(variance, np.exp(SMALLEST_LN_VARIANCE), np.exp(LARGEST_LN_VARIANCE)))


def _from_grid(lin: LinearMixed, ln_variance: Array) -> tuple[Array, Array]:
    """Best of a grid in ρ with σ² at its own optimum for each: a start that needs no luck."""
    best_value = np.full(ln_variance.shape, np.inf)
    best_variance, best_ratio = ln_variance, 1.0 / lin.typical
    for point in _RATIO_GRID:
        ratio = point / lin.typical
        variance = np.exp(ln_variance)
        for _ in range(2):
            found = _criterion(lin, np.log(variance), ratio)
            variance = _floor(found.next_variance)
        value = _criterion(lin, np.log(variance), ratio).value
        allowed = np.log(ratio * variance) < _LARGEST_LN_TIN_VARIANCE
        better = allowed & (value < best_value)
        best_value = np.where(better, value, best_value)
        best_variance = np.where(better, np.log(variance), best_variance)
        best_ratio = np.where(better, ratio, best_ratio)
    return best_variance, np.log(best_ratio)


def _newton_step(lin: LinearMixed, ln_variance: Array, ln_ratio: Array) -> tuple[Array, Array]:
    h = _DIFFERENCE
    ratio = np.exp(ln_ratio)
    at = _criterion(lin, ln_variance, ratio)
    along_v = _criterion(lin, ln_variance + h, ratio)
    along_r = _criterion(lin, ln_variance, np.exp(ln_ratio + h))
    h11 = (along_v.by_variance - at.by_variance) / h
    h22 = (along_r.by_ratio - at.by_ratio) / h
    h12 = 0.5 * ((along_r.by_variance - at.by_variance) + (along_v.by_ratio - at.by_ratio)) / h
    bowl = (h11 > 0.0) & (h22 > 0.0) & (h11 * h22 > 1.0001 * h12 * h12)
    # outside the bowl: downhill along each axis on its own
    h11 = np.where(bowl, h11, np.maximum(np.abs(h11), 0.1))
    h22 = np.where(bowl, h22, np.maximum(np.abs(h22), 0.1))
    h12 = np.where(bowl, h12, 0.0)
    det = h11 * h22 - h12 * h12
    step_v = -(h22 * at.by_variance - h12 * at.by_ratio) / det
    step_r = -(h11 * at.by_ratio - h12 * at.by_variance) / det
    longest = np.maximum(np.maximum(np.abs(step_v), np.abs(step_r)), 1e-300)
    shorten = np.minimum(1.0, 2.0 / longest)
    return step_v * shorten, step_r * shorten


def _newton(lin: LinearMixed, ln_variance: Array, ln_ratio: Array, steps: int) -> tuple[Array, Array]:
    """Refine both; ln ρ is −∞ where tins show no spread of their own."""
    ln_variance, ln_ratio = ln_variance.copy(), ln_ratio.copy()
    live = np.flatnonzero(np.isfinite(ln_ratio))
    smallest = np.log(1e-7 / lin.typical)
    for _ in range(steps):
        if live.size == 0:
            break
        step_v, step_r = _newton_step(
            lin if live.size == ln_variance.size else lin.rows(live), ln_variance[live], ln_ratio[live]
        )
        v = np.clip(ln_variance[live] + step_v, SMALLEST_LN_VARIANCE, LARGEST_LN_VARIANCE)
        r = np.minimum(ln_ratio[live] + step_r, _LARGEST_LN_TIN_VARIANCE - v)
        none = r < smallest[live]
        ln_variance[live], ln_ratio[live] = v, np.where(none, -np.inf, r)
        live = live[~none & (np.maximum(np.abs(step_v), np.abs(step_r)) >= 1e-9)]
    return ln_variance, ln_ratio


def estimate_spreads(
    lin: LinearMixed, spreads: Spreads, *, search: bool, steps: int = _NEWTON_STEPS
) -> Spreads:
    """Return σ² and ρ that maximise the (restricted) likelihood of the linearised models.

    Parameters
    ----------
    lin : LinearMixed
        From `linear_mixed`.
    spreads : Spreads
        Where to start.
    search : bool
        Look over a grid of ρ first; without it the start is refined.
    steps : int
        Most Newton steps.
    """
    ln_variance = np.log(spreads.variance)
    with np.errstate(divide="ignore"):
        ln_ratio = np.log(spreads.ratio)
    grouped = lin.group_square.any(axis=1)
    again = np.flatnonzero(grouped & (search | ~np.isfinite(ln_ratio)))
    if again.size:
        ln_variance[again], ln_ratio[again] = _from_grid(lin.rows(again), ln_variance[again])
    ln_ratio = np.where(grouped, ln_ratio, -np.inf)
    ln_variance, ln_ratio = _newton(lin, ln_variance, ln_ratio, steps)
    alone = np.flatnonzero(~np.isfinite(ln_ratio))
    if alone.size:
        ln_variance[alone] = _without_groups(lin.rows(alone), ln_variance[alone])
    return Spreads(np.exp(ln_variance), np.where(np.isfinite(ln_ratio), np.exp(ln_ratio), 0.0))


def _without_groups(lin: LinearMixed, ln_variance: Array) -> Array:
    """Ln σ² when tins do not differ."""
    ln_variance = ln_variance.copy()
    live = np.arange(ln_variance.size)
    for _ in range(40):
        if live.size == 0:
            break
        found = _criterion(lin.rows(live), ln_variance[live], np.zeros(live.size))
        new = np.log(_floor(found.next_variance))
        settled = np.abs(new - ln_variance[live]) < 1e-12
        ln_variance[live] = new
        live = live[~settled]
    return ln_variance


def covariance(lin: LinearMixed, spreads: Spreads) -> Array:
    """Return M⁻¹: the covariance of the free parameters at given spreads, (P, p, p); zero for held ones."""
    _, _, unit, scale = _henderson(lin, spreads.variance, spreads.ratio)
    both = lin.free[..., np.newaxis] & lin.free[..., np.newaxis, :]
    inverse = np.linalg.inv(unit) * scale[..., np.newaxis] * scale[..., np.newaxis, :]
    return np.where(both, inverse, 0.0)


def log_likelihood(lin: LinearMixed, spreads: Spreads) -> Array:
    """Return the (restricted) log-likelihood with all constants, as mixed-model programs print it, (P,)."""
    value = _criterion(lin, np.log(spreads.variance), spreads.ratio).value
    random = lin.integrated & (lin.precision > 0.0)
    flat = (lin.integrated & ~random).sum(axis=1)
    value = value + (lin.count - flat) * float(np.log(2.0 * np.pi))
    return np.asarray(
        -0.5 * (value - np.where(random, np.log(np.where(random, lin.precision, 1.0)), 0.0).sum(axis=1))
    )
