"""Damped Gauss–Newton for penalised least squares with one random effect per group, eliminated exactly.

Minimises, for every problem of a batch on its own,

    Σ w·r²/σ² (or the likelihood of censored readings) + Σ β²/(ρσ²) + Σ P·(θ − μ)²

over θ (inside a box) and β. The model is a function that returns residuals and derivatives; nothing here
knows what it models. Leading axis: problems (P); then readings (n), parameters (p), groups (K). Problems
share nothing but the call: each takes the same steps alone as among thousands.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from stability.ageing.grouping import Groups
from stability.ageing.normal_equations import (
    Linearised,
    Model,
    Penalties,
    Solution,
    Spreads,
    Statistics,
    damped_step,
    objective,
    reduced,
)

__all__ = [
    "Linearised",
    "Model",
    "Penalties",
    "Solution",
    "Spreads",
    "Statistics",
    "joined",
    "minimise",
    "reduced",
    "rows_of",
    "scattered",
    "start",
]

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]


_T = TypeVar("_T", Statistics, Solution)


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


def rows_of(at: Solution, rows: npt.NDArray[np.intp]) -> Solution:
    """Return some problems of a batch, in the order of `rows`, as a batch."""
    st = Statistics(**{f.name: getattr(at.statistics, f.name)[rows] for f in fields(Statistics)})
    own = {f.name: getattr(at, f.name)[rows] for f in fields(Solution) if f.name != "statistics"}
    return Solution(statistics=st, **own)


def scattered(into: Solution, rows: npt.NDArray[np.intp], part: Solution) -> Solution:
    """Return `into` with its problems `rows` replaced by those of `part`."""
    st, own = {}, {}
    for f in fields(Statistics):
        st[f.name] = getattr(into.statistics, f.name).copy()
        st[f.name][rows] = getattr(part.statistics, f.name)
    for f in fields(Solution):
        if f.name != "statistics":
            own[f.name] = getattr(into, f.name).copy()
            own[f.name][rows] = getattr(part, f.name)
    return Solution(statistics=Statistics(**st), **own)


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
    model: Model, groups: Groups, theta: Array, effects: Array, spreads: Spreads, *, penalties: Penalties
) -> Solution:
    """Evaluate the model at a start."""
    statistics = reduced(model(theta, effects), groups)
    value = objective(statistics, theta, effects, spreads, penalties)
    n = theta.shape[0]
    return Solution(theta, effects, value, statistics, np.zeros(n, dtype=bool), np.full(n, 1e-3))


@dataclass(frozen=True, slots=True)
class _Setting:
    """What is given to a search, of all its problems or of those still searched."""

    model: Model
    groups: Groups
    spreads: Spreads
    penalties: Penalties

    def rows(self, rows: npt.NDArray[np.intp], narrow: Callable[[npt.NDArray[np.intp]], Model]) -> _Setting:
        return _Setting(
            narrow(rows), self.groups.rows(rows), self.spreads.rows(rows), self.penalties.rows(rows)
        )


def minimise(  # noqa: PLR0913 - a problem, where it stands, and three knobs
    model: Model,
    groups: Groups,
    at: Solution,
    spreads: Spreads,
    penalties: Penalties,
    *,
    steps: int = 50,
    tolerance: float = 3e-6,
    narrow: Callable[[npt.NDArray[np.intp]], Model] | None = None,
) -> Solution:
    """Take damped Gauss–Newton steps until every problem has converged or `steps` are done.

    Parameters
    ----------
    model : callable
        (θ (P, p), β (P, K)) → Linearised.
    groups : Groups
        Membership of readings in groups.
    at : Solution
        A start, from `start` or an earlier call.
    spreads, penalties
        Held during the search.
    steps : int
        Most steps.
    tolerance : float
        A problem has converged when the next step promises less than the square of this off the
        objective: no combination of parameters is then off by more than this share of its standard error.
    narrow : callable, optional
        Rows → the model of these problems only; with it, finished problems leave the working set.

    Returns
    -------
    Solution
        Its `converged` tells which problems are done; nothing is raised.
    """
    at = replace(at, objective=objective(at.statistics, at.theta, at.effects, spreads, penalties))
    at = replace(at, converged=np.zeros_like(at.converged))
    given = now = _Setting(model, groups, spreads, penalties)
    live, here = np.arange(at.objective.size), at
    memory = _Memory(np.zeros_like(at.theta), np.full(at.objective.shape, 2.0))
    for _ in range(steps):
        here, memory = _one_step(now, here, memory, tolerance)
        open_ = ~here.converged
        if not open_.any():
            break
        if narrow is not None and open_.sum() < 0.75 * live.size:
            at = scattered(at, live, here)
            keep = np.flatnonzero(open_)
            live, here = live[keep], rows_of(here, keep)
            memory = _Memory(memory.floor[keep], memory.growth[keep])
            now = given.rows(live, narrow)
    return here if live.size == at.objective.size else scattered(at, live, here)


@dataclass(frozen=True, slots=True)
class _Memory:
    """What a problem remembers from step to step."""

    floor: Array
    """Largest recent diagonal of X′WX, (P, p)."""
    growth: Array
    """By how much the damping grows at the next failure, (P,)."""


def _one_step(given: _Setting, at: Solution, memory: _Memory, tolerance: float) -> tuple[Solution, _Memory]:
    """Try one step of every open problem; a problem marked converged stands still."""
    floor = np.maximum(0.5 * memory.floor, np.diagonal(at.statistics.cross, axis1=-2, axis2=-1))
    step, effect_step, promised = damped_step(at, given.spreads, given.penalties, floor)
    small = promised < tolerance**2
    done = at.converged | (small & (at.damping < 0.1)) | (at.damping > 1e12)
    at = replace(at, converged=done)
    if done.all():
        return at, memory
    theta, effects = at.theta + step, np.clip(at.effects + effect_step, -20.0, 20.0)
    statistics = reduced(given.model(theta, effects), given.groups)
    value = objective(statistics, theta, effects, given.spreads, given.penalties)
    gain = np.clip((at.objective - value) / np.maximum(promised, 1e-30), -10.0, 10.0)
    # rounding decides below 1e-13 of the value: a step that small is taken
    better = ((value <= at.objective * (1.0 + 1e-13)) & np.isfinite(value)) & ~done
    worse = ~better & ~done
    eased = at.damping * np.clip(1.0 - (2.0 * gain - 1.0) ** 3, 0.05, 2.0)
    damping = np.where(better, np.maximum(eased, 1e-12), at.damping)
    # from rounding size: along a narrow curved valley the useful damping lies far below 1e-6
    damping = np.where(worse, np.maximum(at.damping, 1e-9) * memory.growth, damping)
    growth = np.where(worse, memory.growth * 1.5, np.where(done, memory.growth, 2.0))
    trial = Solution(theta, effects, value, statistics, at.converged, damping)
    at = trial if better.all() else replace(_merge(better, trial, at), damping=damping)
    return at, _Memory(floor, growth)
