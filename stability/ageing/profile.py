"""The profile of the life: how much worse the fit gets when the life is held at other values.

For every held u the other parameters and the tin effects are fitted anew, at the fit's own σ and ρ. The
signed root of the deviance is nearly a straight line in u where Wald's bound would do, and stays true
where it would not: a life that the data bound from below only. Lives are ln(days).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stability.ageing.model import ENERGY, LIFE, ORDER, SELF, AgeingModel
from stability.ageing.normal_equations import Penalties, Solution, Spreads
from stability.ageing.result import Fit, Workings
from stability.ageing.solver import joined, minimise, rows_of, start

__all__ = ["LN_LONGEST_LIFE", "Profile", "profile_life"]

Array = npt.NDArray[np.float64]

LN_LONGEST_LIFE = float(np.log(200 * 365.25))
"""Where the search for an upper end stops: 200 years."""
_OFFSETS = np.array([-1.8, -1.3, -1.0, -0.6, 0.6, 1.0, 1.4])
"""Where to look first, in multiples of the distance that a standard error would give."""
_WIDE_FROM_SE = 0.3
_WIDE_POINTS = 14
_ODD = {ENERGY: (10.0, 120.0), ORDER: (1.0, -2.5), SELF: (7.0, -2.5)}
"""What could make up for a life much (shorter, longer) than estimated: heat that hardly matters and a long
toe; heat that matters much and growth that levels off."""
_REFINEMENTS = 4
_PASSES = 4
_WORTH_A_SEARCH = 1e-2
_STEPS = 12
_TOLERANCE = 0.01
"""Of a standard error: the deviance is then right to 1e-4."""


@dataclass(frozen=True, slots=True)
class Profile:
    """Signed roots of the profile deviance, in increasing order of ln(life)."""

    ln_life: Array
    root: Array
    """sign(u − û)·√(deviance/σ²), made non-decreasing."""

    def root_at(self, ln_life: float) -> float:
        """Return the signed root at a life; beyond the ends the last value, which is the cautious one."""
        return float(np.interp(ln_life, self.ln_life, self.root))

    def life_at(self, root: float) -> float | None:
        """Return the ln(life) at which the signed root is reached, None where it never is."""
        if not self.root[0] <= root <= self.root[-1]:
            return None
        k = int(np.searchsorted(self.root, root, side="left"))
        if k == 0:
            return float(self.ln_life[0])
        low, high = self.root[k - 1], self.root[k]
        share = (root - low) / (high - low)
        return float(self.ln_life[k - 1] + share * (self.ln_life[k] - self.ln_life[k - 1]))


def _held(work: Workings, ln_life: Array) -> tuple[Penalties, Spreads]:
    rows = ln_life.size
    p = work.penalties
    free = np.repeat(p.free, rows, axis=0)
    free[:, LIFE] = False
    lower, upper = np.repeat(p.lower, rows, axis=0), np.repeat(p.upper, rows, axis=0)
    penalties = Penalties(
        np.repeat(p.mean, rows, axis=0), np.repeat(p.precision, rows, axis=0), lower, upper, free
    )
    return penalties, Spreads(np.repeat(work.spreads.variance, rows), np.repeat(work.spreads.ratio, rows))


def _repeated(work: Workings, rows: int) -> AgeingModel:
    return work.model.rows(np.zeros(rows, dtype=np.intp))


def _search(work: Workings, ln_life: Array, theta: Array, effects: Array, *, steps: int) -> Solution:
    """Fit all that is free at each held life, from the given starts."""
    penalties, spreads = _held(work, ln_life)
    theta = np.clip(theta, penalties.lower, penalties.upper)
    theta[:, LIFE] = ln_life
    sigma, many = np.sqrt(spreads.variance), _repeated(work, ln_life.size)
    model = many.at_sigma(sigma)
    at = start(model, many.tins, theta, effects, spreads, penalties=penalties)
    return minimise(
        model,
        many.tins,
        at,
        spreads,
        penalties,
        steps=steps,
        tolerance=_TOLERANCE,
        narrow=many.narrowed(sigma),
    )


def _from_neighbours(work: Workings, ln_life: Array, at: Solution) -> Solution:
    """Try each neighbour's solution as a start, so that one stuck search does not fake a bound."""
    penalties, spreads = _held(work, ln_life)
    n = ln_life.size
    many = _repeated(work, n)
    model = many.at_sigma(np.sqrt(spreads.variance))
    for _ in range(_PASSES):
        worse = np.zeros(n, dtype=bool)
        best = at
        for shift in (1, -1):
            theta = at.theta[np.clip(np.arange(n) + shift, 0, n - 1)].copy()
            effects = at.effects[np.clip(np.arange(n) + shift, 0, n - 1)]
            theta[:, LIFE] = ln_life
            other = start(model, many.tins, theta, effects, spreads, penalties=penalties)
            better = other.objective < best.objective - _WORTH_A_SEARCH
            best = rows_of(joined(best, other), np.where(better, np.arange(n) + n, np.arange(n)))
            worse |= better
        if not worse.any():
            return at
        again = np.flatnonzero(worse)
        more = _search(work, ln_life[again], best.theta[again], best.effects[again], steps=_STEPS)
        index = np.arange(n)
        index[again] = n + np.arange(again.size)
        at = rows_of(joined(at, more), index)
    return at


def _points(fit: Fit, scale: float, root: float, also: tuple[float, ...], *, wide: bool) -> Array:
    """Return the ln(life) to begin with: near the estimate, and everywhere where it is badly known."""
    work = fit.workings
    assert work is not None  # noqa: S101 - checked by the caller
    points = np.concatenate((fit.u + _OFFSETS * scale * root, also))
    if wide:
        oldest = float(np.log(max(float(fit.data.days.sum(axis=1).max()), 1e-6)))
        lowest = min(min(fit.u, LN_LONGEST_LIFE) - 3.0, oldest - 1.0)
        points = np.concatenate((points, np.linspace(lowest, LN_LONGEST_LIFE, _WIDE_POINTS)))
    return np.unique(np.clip(points, float(work.penalties.lower[0, LIFE]) + 0.1, LN_LONGEST_LIFE))


def _best_of(work: Workings, points: Array, fit: Fit, along: Array, *, wide: bool) -> Solution:
    """Search from the fit, and far from it also from the shape that could make up for so odd a life."""
    at = work.solution
    reach = np.clip(points - fit.u, -1.0, 1.0)
    theta = at.theta + reach[:, np.newaxis] * along
    effects = np.repeat(at.effects, points.size, axis=0)
    if not wide:
        return _search(work, points, theta, effects, steps=_STEPS)
    odd = theta.copy()
    short = points < fit.u
    for column, (if_short, if_long) in _ODD.items():
        value = np.where(short, if_short, if_long)
        odd[:, column] = np.where(work.penalties.free[0, column], value, odd[:, column])
    both = _search(
        work, np.tile(points, 2), np.concatenate((theta, odd)), np.tile(effects, (2, 1)), steps=_STEPS
    )
    n = points.size
    pick = np.where(both.objective[n:] < both.objective[:n], np.arange(n) + n, np.arange(n))
    return rows_of(both, pick)


def profile_life(fit: Fit, root: float, also: tuple[float, ...] = ()) -> Profile:
    """Return the profile of ln(life) around a fit, dense where ±`root` is crossed and at `also`.

    Parameters
    ----------
    fit : Fit
        A fit with numbers.
    root : float
        The signed root that will be asked for (a quantile), > 0.
    also : tuple of float
        Further ln(life) that will be asked for.
    """
    work = fit.workings
    if work is None:
        raise ValueError("a fit without numbers has no profile")
    variance_u = float(fit.covariance[LIFE, LIFE])
    scale = float(np.clip(np.sqrt(variance_u), 0.02, 0.6)) if variance_u > 0.0 else 0.6
    along = fit.covariance[:, LIFE] / variance_u if variance_u > 0.0 else np.zeros(fit.parameters.size)
    for wide in (False, True):
        if not wide and scale > _WIDE_FROM_SE:
            continue
        points = _points(fit, scale, root, also, wide=wide)
        found = _from_neighbours(work, points, _best_of(work, points, fit, along, wide=wide))
        reached = _signed(fit.u, points, found.objective, float(work.solution.objective[0])).root
        if reached[0] <= -root and reached[-1] >= root:
            break
    least = float(work.solution.objective[0])
    for _ in range(_REFINEMENTS):
        new = _wanted(_signed(fit.u, points, found.objective, least), points, (-root, root))
        if new.size == 0:
            break
        near = np.abs(points[np.newaxis, :] - new[:, np.newaxis]).argmin(axis=1)
        more = _search(work, new, found.theta[near].copy(), found.effects[near], steps=_STEPS)
        points = np.concatenate((points, new))
        order = np.argsort(points)
        points, found = points[order], rows_of(joined(found, more), order)
    return _signed(fit.u, points, found.objective, least)


def _wanted(profile: Profile, known: Array, roots: tuple[float, float]) -> Array:
    """Return where to look next: each crossing as interpolated, and the middle of a wide bracket."""
    new: list[float] = []
    for root in roots:
        crossing = profile.life_at(root)
        if crossing is None:
            continue
        right = int(np.clip(np.searchsorted(known, crossing), 1, known.size - 1))
        if known[right] - known[right - 1] > 0.2:
            new.append(float(known[right - 1] + known[right]) / 2.0)
        if np.abs(known - crossing).min() > 2e-3:
            new.append(crossing)
    return np.unique(np.array(new))


def _signed(centre: float, ln_life: Array, objective: Array, least: float) -> Profile:
    least = min(least, float(objective.min()))
    root = np.sign(ln_life - centre) * np.sqrt(np.maximum(objective - least, 0.0))
    if ln_life[0] < centre < ln_life[-1]:
        where = int(np.searchsorted(ln_life, centre))
        ln_life, root = np.insert(ln_life, where, centre), np.insert(root, where, 0.0)
    # a valley beside the estimate counts up to its far side: the root never turns back
    outwards = -np.maximum.accumulate(-root[::-1])[::-1]
    return Profile(ln_life, np.where(root < 0.0, np.maximum.accumulate(root), outwards))
