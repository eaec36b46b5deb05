"""The last digits of a finished search: Gauss–Newton steps by orthogonal factors instead of normal equations.

A search on normal equations stops where their rounding decides, at about half the digits of a badly
conditioned problem, and so do standard errors from them. From there a few undamped steps on the readings
themselves reach what doubles can hold. Leading axis: problems (P); then readings (n), parameters (p),
groups (K). Units are the model's.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from stability.ageing.grouping import Groups
from stability.ageing.least_squares import least_squares
from stability.ageing.solver import Model, Penalties, Solution, Spreads, start

__all__ = ["Polished", "polish"]

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

NEAR = 0.1
"""Undamped steps are taken only from where they are shorter than this many standard errors."""
_SHRINKING = 0.9
"""Rounding is reached when a step is no shorter than this share of the shortest so far."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Polished:
    """A solution to its last digits, and what the tangent there says of how well it is known."""

    solution: Solution
    root: Array
    """U with Cov(θ) = U U′ at the spreads given, random effects and penalties included, (P, p, p + K)."""
    determined: Mask
    """Free, not held by its box, and spoken of by readings or a penalty, (P, p)."""
    left: Array
    """Length of the step that would be next, in standard errors, (P,)."""

    @property
    def standard_errors(self) -> Array:
        """Of θ, (P, p); infinite where a parameter is held or nothing speaks of it."""
        return np.where(self.determined, np.sqrt((self.root**2).sum(axis=-1)), np.inf)


@dataclass(frozen=True, slots=True)
class _Tangent:
    step: Array
    effect_step: Array
    length: Array
    root: Array
    determined: Mask


def polish(
    model: Model,
    groups: Groups,
    at: Solution,
    spreads: Spreads,
    penalties: Penalties,
    *,
    steps: int = 30,
) -> Polished:
    """Take undamped steps for as long as they shrink.

    Parameters
    ----------
    model, groups, spreads, penalties
        As for `minimise`.
    at : Solution
        Where a search has ended.
    steps : int
        Most steps; where the left-over is large and curved each one gains few digits.

    Returns
    -------
    Polished
        A problem that is not near its end, or whose steps do not shrink, keeps the point with the
        shortest step seen: the end of its search at worst.
    """
    theta, effects = at.theta, at.effects
    tangent = _tangent(model, groups, at, spreads, penalties)
    best_theta, best_effects, left = theta, effects, tangent.length
    going = left < NEAR
    for _ in range(steps):
        if not going.any():
            break
        moved = np.clip(theta + tangent.step, penalties.lower, penalties.upper)
        theta = np.where(going[:, np.newaxis], moved, theta)
        effects = np.where(going[:, np.newaxis], effects + tangent.effect_step, effects)
        tangent = _tangent(model, groups, replace(at, theta=theta, effects=effects), spreads, penalties)
        shorter = going & (tangent.length < left)
        going = going & (tangent.length < _SHRINKING * left)
        best_theta = np.where(shorter[:, np.newaxis], theta, best_theta)
        best_effects = np.where(shorter[:, np.newaxis], effects, best_effects)
        left = np.where(shorter, tangent.length, left)
    end = start(model, groups, best_theta, best_effects, spreads, penalties=penalties)
    end = replace(end, converged=at.converged, damping=at.damping)
    last = _tangent(model, groups, end, spreads, penalties)
    return Polished(solution=end, root=last.root, determined=last.determined, left=last.length)


def _tangent(model: Model, groups: Groups, at: Solution, spreads: Spreads, penalties: Penalties) -> _Tangent:
    """Solve the linearised problem: one row a reading, one a group, one a parameter."""
    lin = model(at.theta, at.effects)
    p, k = at.theta.shape[-1], at.effects.shape[-1]
    per_reading = lin.weight / spreads.variance[:, np.newaxis]
    member = groups.index[..., np.newaxis] == np.arange(groups.count)
    own = member * lin.by_effect[..., np.newaxis]
    precision = np.broadcast_to(penalties.precision, at.theta.shape)
    # σ_group = 0 leaves no room for an effect: its columns are empty and it stays where it is
    room = (spreads.ratio > 0.0)[:, np.newaxis]
    per_group = np.where(room, 1.0 / np.maximum(spreads.ratio * spreads.variance, 1e-300)[:, np.newaxis], 0.0)
    offset = np.broadcast_to(penalties.mean, at.theta.shape) - at.theta
    downhill = ((per_reading * lin.residual)[..., np.newaxis, :] @ lin.jacobian)[
        ..., 0, :
    ] + precision * offset
    held = ~penalties.free | ((at.theta <= penalties.lower) & (downhill < 0.0))
    held = held | ((at.theta >= penalties.upper) & (downhill > 0.0))
    jacobian = np.concatenate((lin.jacobian, np.where(room[..., np.newaxis], own, 0.0)), axis=-1)
    own_rows = np.broadcast_to(np.eye(p + k), (*at.theta.shape[:-1], p + k, p + k))
    design = np.concatenate((jacobian, own_rows), axis=-2)
    closed = np.concatenate((held, np.broadcast_to(~room, at.effects.shape)), axis=-1)
    design = np.where(closed[..., np.newaxis, :], 0.0, design)
    target = np.concatenate((lin.residual, offset, -at.effects), axis=-1)
    shares = np.broadcast_to(per_group, at.effects.shape)
    weight = np.concatenate((per_reading, precision, shares), axis=-1)
    found = least_squares(design, target, weight)
    steps = found.coefficients
    along = (weight * (design @ steps[..., np.newaxis])[..., 0] ** 2).sum(axis=-1)
    return _Tangent(steps[:, :p], steps[:, p:], np.sqrt(along), found.root[:, :p, :], found.determined[:, :p])
