"""Damped Gauss–Newton for penalised least squares with one random effect per group, eliminated exactly.

Minimises, for every problem of a batch on its own,

    Σ w·r²/σ² (or the likelihood of censored readings) + Σ β²/(ρσ²) + Σ P·(θ − μ)²

over θ (inside a box) and β. The model is a function that returns residuals and derivatives; nothing here
knows what it models. Leading axis: problems (P); then readings (n), parameters (p), groups (K).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import TypeVar

import numpy as np
import numpy.typing as npt

__all__ = [
    "Linearised",
    "Penalties",
    "Solution",
    "Spreads",
    "Statistics",
    "minimise",
    "reduced",
    "rows_of",
    "start",
]

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Linearised:
    """A model at one (θ, β): residuals y − f, weights, and derivatives of f."""

    residual: Array
    """(P, n); pseudo-residuals of censored readings included."""
    weight: Array
    """(P, n); 1 for a measured reading, 0 for padding."""
    jacobian: Array
    """∂f/∂θ, (P, n, p)."""
    by_effect: Array
    """∂f/∂β of the reading's own group, (P, n)."""
    sum_squares: Array
    """Σ r² over measured readings, (P,)."""
    censored_loss: Array
    """−2 ln P of the censored readings, (P,)."""
    count: Array
    """Readings that speak of σ: measured + Σ(λ²/δ − Λ) over censored, (P,)."""


@dataclass(frozen=True, slots=True)
class Statistics:
    """All that a step or a variance estimate needs of a linearised model: no axis of readings."""

    cross: Array
    """X′WX, (P, p, p)."""
    group_cross: Array
    """z′WX of each group, (P, K, p)."""
    group_square: Array
    """z′Wz, (P, K)."""
    gradient: Array
    """X′Wr, (P, p)."""
    group_gradient: Array
    """z′Wr, (P, K)."""
    square: Array
    """r′Wr, (P,)."""
    sum_squares: Array
    censored_loss: Array
    count: Array


@dataclass(frozen=True, slots=True)
class Spreads:
    """Variance of a reading σ² and the variance ratio ρ = σ_group²/σ², (P,) both."""

    variance: Array
    ratio: Array


@dataclass(frozen=True, slots=True)
class Penalties:
    """Gaussian penalties, box and free parameters, all (P, p) or broadcastable."""

    mean: Array
    precision: Array
    lower: Array
    upper: Array
    free: Mask


@dataclass(frozen=True, slots=True)
class Solution:
    """Where the search of each problem stands."""

    theta: Array
    effects: Array
    objective: Array
    statistics: Statistics
    converged: Mask
    damping: Array


Model = Callable[[Array, Array], Linearised]
_T = TypeVar("_T", Statistics, Solution)


def reduced(model: Linearised, groups: Array) -> Statistics:
    """Sum a linearised model over readings; `groups` is the (P or 1, K, n) 0/1 membership."""
    weighted = model.jacobian * model.weight[..., np.newaxis]
    effect = model.weight * model.by_effect
    weighted_residual = model.weight * model.residual
    transposed = np.swapaxes(weighted, -1, -2)
    per_reading = np.stack((effect * model.by_effect, effect * model.residual), axis=-1)
    per_group = groups @ per_reading
    return Statistics(
        cross=transposed @ model.jacobian,
        group_cross=groups @ (effect[..., np.newaxis] * model.jacobian),
        group_square=per_group[..., 0],
        gradient=(transposed @ model.residual[..., np.newaxis])[..., 0],
        group_gradient=per_group[..., 1],
        square=(weighted_residual * model.residual).sum(axis=-1),
        sum_squares=model.sum_squares,
        censored_loss=model.censored_loss,
        count=model.count,
    )


def objective(
    statistics: Statistics, theta: Array, effects: Array, spreads: Spreads, penalties: Penalties
) -> Array:
    """Return the penalised deviance of each problem, (P,), in units of σ²."""
    # σ_tin = 0 leaves no room for an effect: β is 0 there and costs nothing
    inverse_ratio = np.where(spreads.ratio > 0.0, 1.0 / np.maximum(spreads.ratio, 1e-300), 0.0)
    inside = statistics.sum_squares + inverse_ratio * (effects**2).sum(axis=-1)
    penalty = (penalties.precision * (theta - penalties.mean) ** 2).sum(axis=-1)
    return np.asarray(inside / spreads.variance + statistics.censored_loss + penalty)


def _merge(take: Mask, new: _T, old: _T) -> _T:
    """Take the problems marked in `take` from `new`, the others from `old`."""
    merged = {}
    for field in fields(new):
        a, b = getattr(new, field.name), getattr(old, field.name)
        if isinstance(a, Statistics):
            merged[field.name] = _merge(take, a, b)
        else:
            merged[field.name] = np.where(take.reshape(take.shape + (1,) * (a.ndim - 1)), a, b)
    return type(new)(**merged)


def _solve(matrix: Array, vector: Array) -> Array:
    """Solve symmetric systems after scaling to unit diagonal, with a ridge of rounding size."""
    diagonal = np.diagonal(matrix, axis1=-2, axis2=-1)
    scale = 1.0 / np.sqrt(np.maximum(diagonal, 1e-300))
    scaled = matrix * scale[..., np.newaxis] * scale[..., np.newaxis, :]
    scaled = scaled + 1e-13 * np.eye(matrix.shape[-1])
    return np.asarray(np.linalg.solve(scaled, (scale * vector)[..., np.newaxis])[..., 0] * scale)


def _boxed_step(matrix: Array, vector: Array, theta: Array, penalties: Penalties) -> Array:
    """Solve for the step; what would leave the box goes to its edge and the rest is solved anew."""
    low, high = penalties.lower - theta, penalties.upper - theta
    pinned = ~penalties.free | ((low >= 0.0) & (vector < 0.0)) | ((high <= 0.0) & (vector > 0.0))
    step = np.zeros_like(vector)
    identity = np.eye(matrix.shape[-1])
    for _ in range(3):
        open_ = ~pinned
        both = open_[..., np.newaxis] & open_[..., np.newaxis, :]
        rest = vector - (matrix @ (step * pinned)[..., np.newaxis])[..., 0]
        solved = _solve(np.where(both, matrix, identity), np.where(open_, rest, 0.0))
        step = np.where(open_, solved, step)
        out = open_ & ((step < low) | (step > high))
        step = np.clip(step, np.minimum(low, 0.0), np.maximum(high, 0.0))
        if not out.any():
            break
        pinned = pinned | out
    return np.asarray(step)


def _step(
    at: Solution, spreads: Spreads, penalties: Penalties, diagonal_floor: Array
) -> tuple[Array, Array, Array]:
    """Return the damped step in θ and β and the decrease it promises."""
    st, damping = at.statistics, at.damping[:, np.newaxis]
    variance, ratio = spreads.variance[:, np.newaxis], spreads.ratio[:, np.newaxis]
    shrink = 1.0 / ((1.0 + ratio * st.group_square) * (1.0 + damping))
    pull = shrink * (ratio * st.group_gradient - at.effects)
    crossed = np.swapaxes(st.group_cross, -1, -2)
    damped = np.maximum(np.diagonal(st.cross, axis1=-2, axis2=-1), diagonal_floor) / variance
    damped = damping * (damped + penalties.precision)
    matrix = (st.cross - crossed @ ((ratio * shrink)[..., np.newaxis] * st.group_cross)) / variance[
        ..., np.newaxis
    ]
    identity = np.eye(matrix.shape[-1])
    matrix = matrix + identity * (penalties.precision + damped)[..., np.newaxis, :]
    towards_mean = penalties.precision * (penalties.mean - at.theta)
    vector = (st.gradient - (crossed @ pull[..., np.newaxis])[..., 0]) / variance + towards_mean
    step = _boxed_step(matrix, vector, at.theta, penalties)
    along = (st.group_cross @ step[..., np.newaxis])[..., 0]
    effect_step = pull - ratio * shrink * along
    promised = (step * vector + damped * step**2).sum(axis=-1)
    inverse_ratio = np.where(ratio > 0.0, 1.0 / np.maximum(ratio, 1e-300), 0.0)
    own = (pull**2 * (st.group_square + inverse_ratio)).sum(axis=-1) / spreads.variance
    promised = promised + own * (1.0 + at.damping)
    return step, effect_step, promised


def rows_of(at: Solution, rows: npt.NDArray[np.intp]) -> Solution:
    """Return some problems of a batch, in the order of `rows`, as a batch."""
    st = Statistics(**{f.name: getattr(at.statistics, f.name)[rows] for f in fields(Statistics)})
    own = {f.name: getattr(at, f.name)[rows] for f in fields(Solution) if f.name != "statistics"}
    return Solution(statistics=st, **own)


def joined(first: Solution, second: Solution) -> Solution:
    """Return two batches as one."""
    a, b = first.statistics, second.statistics
    st = {f.name: np.concatenate((getattr(a, f.name), getattr(b, f.name))) for f in fields(Statistics)}
    own = {
        f.name: np.concatenate((getattr(first, f.name), getattr(second, f.name)))
        for f in fields(Solution)
        if f.name != "statistics"
    }
    return Solution(statistics=Statistics(**st), **own)


def start(
    model: Model, groups: Array, theta: Array, effects: Array, spreads: Spreads, *, penalties: Penalties
) -> Solution:
    """Evaluate the model at a start."""
    statistics = reduced(model(theta, effects), groups)
    value = objective(statistics, theta, effects, spreads, penalties)
    n = theta.shape[0]
    return Solution(theta, effects, value, statistics, np.zeros(n, dtype=bool), np.full(n, 1e-3))


def minimise(  # noqa: PLR0913 - a problem, where it stands, and two knobs
    model: Model,
    groups: Array,
    at: Solution,
    spreads: Spreads,
    penalties: Penalties,
    *,
    steps: int = 50,
    tolerance: float = 3e-6,
) -> Solution:
    """Take damped Gauss–Newton steps until every problem has converged or `steps` are done.

    Parameters
    ----------
    model : callable
        (θ (P, p), β (P, K)) → Linearised.
    groups : array (P or 1, K, n)
        Membership of readings in groups, 0 or 1.
    at : Solution
        A start, from `start` or an earlier call.
    spreads, penalties
        Held during the search.
    steps : int
        Most steps.
    tolerance : float
        A problem has converged when the next step promises less than the square of this off the
        objective: no combination of parameters is then off by more than this share of its standard error.

    Returns
    -------
    Solution
        Its `converged` tells which problems are done; nothing is raised.
    """
    at = replace(at, objective=objective(at.statistics, at.theta, at.effects, spreads, penalties))
    at = replace(at, converged=np.zeros_like(at.converged))
    floor = np.zeros_like(at.theta)
    growth = np.full(at.objective.shape, 2.0)
    for _ in range(steps):
        floor = np.maximum(0.5 * floor, np.diagonal(at.statistics.cross, axis1=-2, axis2=-1))
        step, effect_step, promised = _step(at, spreads, penalties, floor)
        small = promised < tolerance**2
        done = at.converged | (small & (at.damping < 0.1)) | (at.damping > 1e12)
        at = replace(at, converged=done)
        if done.all():
            break
        theta, effects = at.theta + step, np.clip(at.effects + effect_step, -20.0, 20.0)
        statistics = reduced(model(theta, effects), groups)
        value = objective(statistics, theta, effects, spreads, penalties)
        gain = np.clip((at.objective - value) / np.maximum(promised, 1e-30), -10.0, 10.0)
        # rounding decides below 1e-13 of the value: a step that small is taken
        better = ((value <= at.objective * (1.0 + 1e-13)) & np.isfinite(value)) & ~done
        worse = ~better & ~done
        eased = at.damping * np.clip(1.0 - (2.0 * gain - 1.0) ** 3, 0.05, 2.0)
        damping = np.where(better, np.maximum(eased, 1e-12), at.damping)
        damping = np.where(worse, np.maximum(at.damping, 1e-6) * growth, damping)
        growth = np.where(worse, growth * 1.5, 2.0)
        trial = Solution(theta, effects, value, statistics, at.converged, damping)
        at = trial if better.all() else replace(_merge(better, trial, at), damping=damping)
    return at
