"""Damped Newton on the log-likelihood of many life problems at once, with analytic second derivatives.

θ = (β, ln scale); a life ends at z = r(β)/scale + z_p with r = y − x′β for a design matrix, or
r = ln dose(E) − u for an exposure history. With z_p the standard quantile of a share p, x′β is ln of the
p-quantile of the lives, so that its standard error needs no further step.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from stability.ageing.lifetimes_ends import Ends, Residuals
from stability.ageing.lifetimes_likelihood import Family, Seen, Terms, terms

__all__ = ["Box", "Problem", "Slopes", "Solved", "inverse", "solve"]

Array = npt.NDArray[np.float64]
Index = npt.NDArray[np.intp]

MOST_STEPS = 200
ENOUGH = 1e-11
"""A step that promises less in ln L than this is the last one; Newton's next would be far below it."""
LONGEST_STEP, LARGEST_SCALING = 8.0, 1.0
"""Largest change in one step of any life's z, and of ln(scale)."""
HALVINGS = 40
FLATTEST = 1e-9
NOTHING_LEFT = 1e-6
"""A step that cannot rise but promises less than this stands on the top as far as rounding lets it."""
ROUNDING = 1e-15


@dataclass(frozen=True, slots=True)
class Box:
    """Where θ may be, and weak beliefs about it, (problems, p + 1) each."""

    least: Array
    most: Array
    believed: Array
    precision: Array
    """1/variance of the belief; 0: none."""
    lost: Array
    """Degrees of freedom that β cost, (problems,): so many times ln(scale) is added to ln L, which for exact
    lives is what restricted maximum likelihood (REML) does."""

    @classmethod
    def wide(cls, problems: int, width: int, *, scale: tuple[float, float]) -> Box:
        """Return a box that holds nothing but the scale, and believes nothing."""
        shape = (problems, width + 1)
        least, most = np.full(shape, -np.inf), np.full(shape, np.inf)
        least[:, -1], most[:, -1] = np.log(scale[0]), np.log(scale[1])
        return cls(least, most, np.zeros(shape), np.zeros(shape), np.zeros(problems))

    def take(self, rows: Index) -> Box:
        """Return some of the problems."""
        return Box(*(getattr(self, name)[rows] for name in self.__slots__))


@dataclass(frozen=True, slots=True)
class Slopes:
    """Derivatives of ln L by θ, and those of every z, (problems, 2·lives, p + 1)."""

    gradient: Array
    hessian: Array
    z_by_theta: Array


@dataclass(frozen=True, slots=True)
class Problem:
    """Many life problems of one family."""

    family: Family
    seen: Seen
    weight: Array
    ends: Ends
    box: Box
    z_at: float = 0.0

    def take(self, rows: Index) -> Problem:
        """Return some of the problems."""
        return replace(
            self,
            seen=self.seen.take(rows),
            weight=self.weight[rows],
            ends=self.ends.take(rows),
            box=self.box.take(rows),
        )

    def value(self, theta: Array, rows: Index) -> Array:
        """Return ln L (less any penalty) of some problems."""
        return self._sums(theta, rows)[0]

    def derivatives(self, theta: Array, rows: Index) -> Slopes:
        """Return gradient and Hessian of ln L by θ."""
        _, r, t, z_low, z_high = self._sums(theta, rows)
        w, rate = self.weight[rows], np.exp(-theta[:, -1])[:, np.newaxis, np.newaxis]
        # z by θ: (d r/dβ, z_p − z) at each end
        g_low = np.concatenate((r.d_low * rate, (self.z_at - z_low)[..., np.newaxis]), axis=-1)
        g_high = np.concatenate((r.d_high * rate, (self.z_at - z_high)[..., np.newaxis]), axis=-1)
        gradient = ((w * t.by_low)[..., np.newaxis] * g_low + (w * t.by_high)[..., np.newaxis] * g_high).sum(
            1
        )
        exact = (w * self.seen.exact[rows]).sum(axis=1)
        gradient[:, -1] += self.box.lost[rows] - exact
        lows, highs = (w * t.low_low)[..., np.newaxis] * g_low, (w * t.high_high)[..., np.newaxis] * g_high
        cross = np.swapaxes((w * t.low_high)[..., np.newaxis] * g_low, 1, 2) @ g_high
        hessian = np.swapaxes(lows, 1, 2) @ g_low + np.swapaxes(highs, 1, 2) @ g_high
        hessian += cross + np.swapaxes(cross, 1, 2)
        # z's own second derivatives: −(dz/dβ) by β and ln scale, z − z_p by ln scale twice
        bent = -((w * t.by_low)[..., np.newaxis] * g_low + (w * t.by_high)[..., np.newaxis] * g_high).sum(1)
        hessian[:, -1, :] += bent
        hessian[:, :-1, -1] += bent[:, :-1]
        if r.bend_low is not None and r.bend_high is not None:
            bends = (w * (t.by_low * r.bend_low + t.by_high * r.bend_high)).sum(axis=1)
            hessian[:, -2, -2] += bends * rate[:, 0, 0]
        off, precision = theta - self.box.believed[rows], self.box.precision[rows]
        gradient -= precision * off
        hessian[:, np.arange(theta.shape[1]), np.arange(theta.shape[1])] -= precision
        counts = (w > 0.0)[..., np.newaxis]
        either = np.concatenate((np.where(counts, g_low, 0.0), np.where(counts, g_high, 0.0)), axis=1)
        return Slopes(gradient, hessian, either)

    def _sums(self, theta: Array, rows: Index) -> tuple[Array, Residuals, Terms, Array, Array]:
        r = self.ends.at(theta[:, :-1], rows)
        seen = self.seen.take(rows)
        rate = np.exp(-theta[:, -1])[:, np.newaxis]
        z_low = np.where(seen.low | seen.exact, r.low * rate + self.z_at, 0.0)
        z_high = np.where(seen.high, r.high * rate + self.z_at, 0.0)
        t = terms(self.family, seen, z_low, z_high)
        w = self.weight[rows]
        value = (w * t.value).sum(axis=1) + (self.box.lost[rows] - (w * seen.exact).sum(axis=1)) * theta[
            :, -1
        ]
        off = theta - self.box.believed[rows]
        return value - 0.5 * (self.box.precision[rows] * off**2).sum(axis=1), r, t, z_low, z_high


@dataclass(frozen=True, slots=True)
class Solved:
    """Where the search ended, per problem."""

    theta: Array
    value: Array
    hessian: Array
    """Of −ln L: the observed information, (problems, p + 1, p + 1)."""
    gradient: Array
    """Of ln L; what is left of it in a parameter that is held or at an edge says what holding costs."""
    free: npt.NDArray[np.bool_]
    """Which parameters were neither held nor at an edge, (problems, p + 1)."""
    converged: npt.NDArray[np.bool_]


def solve(problem: Problem, start: Array, *, held: npt.NDArray[np.bool_] | None = None) -> Solved:
    """Return the largest ln L of every problem within its box.

    Parameters
    ----------
    problem : Problem
        Of P problems.
    start : array (P, p + 1)
        Where each search begins; put into the box first.
    held : array (P, p + 1) of bool, optional
        Parameters that stay as they start.

    Notes
    -----
    Newton with the eigenvalues of the information made positive, a step limit in scales, and halving until
    ln L does not fall: with a design matrix ln L has one top only (Burridge 1981), so that it is found
    from anywhere. A problem leaves the working set when it is done; one never stops the others.
    """
    theta = np.clip(np.asarray(start, dtype=np.float64), problem.box.least, problem.box.most)
    every = np.arange(theta.shape[0])
    may = np.ones(theta.shape, dtype=bool) if held is None else ~held
    may = may & (problem.box.most > problem.box.least)
    value = problem.value(theta, every)
    converged = np.zeros(every.size, dtype=bool)
    active = every
    for _ in range(MOST_STEPS):
        if not active.size:
            break
        slopes = problem.derivatives(theta[active], active)
        free = _free(problem.box, theta, slopes.gradient, may, active)
        step, promised = _step(slopes, free)
        theta[active], value[active], rose = _climbed(problem, theta[active], step, value[active], active)
        converged[active] = promised < np.where(rose, ENOUGH, NOTHING_LEFT)
        active = active[rose & (promised >= ENOUGH)]
    slopes = problem.derivatives(theta, every)
    free = _free(problem.box, theta, slopes.gradient, may, every)
    return Solved(theta, value, -slopes.hessian, slopes.gradient, free, converged)


def _free(
    box: Box, theta: Array, gradient: Array, may: npt.NDArray[np.bool_], rows: Index
) -> npt.NDArray[np.bool_]:
    """Say which parameters may move: not held, and not pressed against an edge."""
    here = theta[rows]
    pressed = ((here <= box.least[rows]) & (gradient <= 0.0)) | ((here >= box.most[rows]) & (gradient >= 0.0))
    return np.asarray(may[rows] & ~pressed)


def _step(slopes: Slopes, free: npt.NDArray[np.bool_]) -> tuple[Array, Array]:
    """Return Newton's step in the free parameters, shortened, and twice the gain that a full one promises."""
    diagonal = np.arange(free.shape[1])
    both = free[:, :, np.newaxis] & free[:, np.newaxis, :]
    matrix = np.where(both, -slopes.hessian, np.eye(free.shape[1]))
    pull = np.where(free, slopes.gradient, 0.0)
    # to unit diagonal, so that an eigenvalue tells flatness and not units
    size = np.sqrt(np.maximum(np.abs(matrix[:, diagonal, diagonal]), 1e-12))
    values, vectors = np.linalg.eigh(matrix / (size[:, :, np.newaxis] * size[:, np.newaxis, :]))
    along = (np.swapaxes(vectors, 1, 2) @ (pull / size)[..., np.newaxis])[..., 0]
    along = along / np.maximum(np.abs(values), FLATTEST)
    step = (vectors @ along[..., np.newaxis])[..., 0] / size
    promised = (step * pull).sum(axis=1)
    moves = np.abs(slopes.z_by_theta @ step[..., np.newaxis])[..., 0].max(axis=1) / LONGEST_STEP
    moves = np.maximum(moves, np.abs(step[:, -1]) / LARGEST_SCALING)
    return step / np.maximum(moves, 1.0)[:, np.newaxis], promised


def _climbed(
    problem: Problem, theta: Array, step: Array, value: Array, rows: Index
) -> tuple[Array, Array, npt.NDArray[np.bool_]]:
    """Return where each step leads without falling, ln L there, and whether it rose at all."""
    least, most = problem.box.least[rows], problem.box.most[rows]
    best, high = theta.copy(), value.copy()
    share = 1.0
    left = np.arange(rows.size)
    for _ in range(HALVINGS):
        trial = np.clip(theta[left] + share * step[left], least[left], most[left])
        there = problem.value(trial, rows[left])
        # the last step changes ln L by less than rounding does
        better = there >= value[left] - ROUNDING * np.abs(value[left])
        best[left[better]], high[left[better]] = trial[better], there[better]
        left = left[~better]
        if not left.size:
            break
        share /= 2.0
    rose = np.ones(rows.size, dtype=bool)
    rose[left] = False
    return best, high, rose


def inverse(information: Array) -> tuple[Array, npt.NDArray[np.bool_]]:
    """Return the inverses of symmetric matrices, and which of them were positive definite."""
    diagonal = np.arange(information.shape[1])
    size = np.sqrt(np.maximum(np.abs(information[:, diagonal, diagonal]), 1e-24))
    values, vectors = np.linalg.eigh(information / (size[:, :, np.newaxis] * size[:, np.newaxis, :]))
    definite = values[:, 0] > 1e-13
    values = np.maximum(values, 1e-13)
    found = (vectors / values[:, np.newaxis, :]) @ np.swapaxes(vectors, 1, 2)
    return found / (size[:, :, np.newaxis] * size[:, np.newaxis, :]), definite
