"""One damped Gauss–Newton step: a linearised model summed to normal equations, and their solution.

Leading axis: problems (P); then readings (n), parameters (p), groups (K). Group effects are eliminated
exactly: their block of the normal equations is diagonal.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from stability.ageing.grouping import Groups

__all__ = [
    "Linearised",
    "Model",
    "Penalties",
    "Solution",
    "Spreads",
    "Statistics",
    "damped_step",
    "objective",
    "reduced",
]

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
Index = npt.NDArray[np.intp]


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

    def rows(self, rows: Index) -> Spreads:
        """Return those of some problems, in the order of `rows`."""
        return Spreads(self.variance[rows], self.ratio[rows])


@dataclass(frozen=True, slots=True)
class Penalties:
    """Gaussian penalties, box and free parameters, all (P, p) or broadcastable."""

    mean: Array
    precision: Array
    lower: Array
    upper: Array
    free: Mask

    def rows(self, rows: Index) -> Penalties:
        """Return those of some problems; what all share stays shared."""
        own = (getattr(self, f.name) for f in fields(self))
        return Penalties(*(value[rows] if value.shape[0] > 1 else value for value in own))

    def open_at(self, theta: Array) -> Mask:
        """Return which parameters are free and not on the box, (P, p)."""
        return np.asarray(self.free & (theta > self.lower) & (theta < self.upper))


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


def reduced(model: Linearised, groups: Groups) -> Statistics:
    """Sum a linearised model over readings."""
    by_parameter = np.swapaxes(model.jacobian, -1, -2)
    weighted = by_parameter * model.weight[:, np.newaxis, :]
    if groups.count:
        effect = model.weight * model.by_effect
        columns = [effect * by_parameter[:, k, :] for k in range(by_parameter.shape[1])]
        per_group = groups.sums(*columns, effect * model.by_effect, effect * model.residual)
    else:
        per_group = np.zeros((by_parameter.shape[0], 0, by_parameter.shape[1] + 2))
    return Statistics(
        cross=weighted @ model.jacobian,
        group_cross=per_group[..., :-2],
        group_square=per_group[..., -2],
        gradient=(weighted @ model.residual[..., np.newaxis])[..., 0],
        group_gradient=per_group[..., -1],
        square=(model.weight * model.residual**2).sum(axis=-1),
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


def damped_step(
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
