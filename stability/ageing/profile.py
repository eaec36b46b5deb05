"""The profile of the life: how much worse the fit gets when the life is held at other values.

For every held u the other parameters and the tin effects are fitted anew, at the fit's own σ and ρ. The
signed root of the deviance is nearly a straight line in u where Wald's bound would do, and stays true
where it would not: a life that the data bound from below only. Lives are ln(days).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from stability.ageing.fit import Fit, Workings
from stability.ageing.model import LIFE
from stability.ageing.solver import Penalties, Solution, Spreads, minimise, start

__all__ = ["LN_LONGEST_LIFE", "Profile", "profile_life"]

Array = npt.NDArray[np.float64]

LN_LONGEST_LIFE = float(np.log(200 * 365.25))
"""Where the search for an upper end stops: 200 years."""
_OFFSETS = np.array([-1.8, -1.3, -1.0, -0.6, 0.6, 1.0, 1.4])
"""Where to look first, in multiples of the distance that a standard error would give."""
_WIDE_FROM_SE = 0.3
_REFINEMENTS = 3
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


def _search(work: Workings, ln_life: Array, theta: Array, effects: Array, *, steps: int) -> Solution:
    """Fit all that is free at each held life, from the given starts."""
    penalties, spreads = _held(work, ln_life)
    theta = np.clip(theta, penalties.lower, penalties.upper)
    theta[:, LIFE] = ln_life
    model = work.model.at_sigma(np.sqrt(spreads.variance))
    at = start(model, work.model.tins, theta, effects, spreads, penalties)
    return minimise(model, work.model.tins, at, spreads, penalties, steps=steps, tolerance=_TOLERANCE)


def _from_neighbours(work: Workings, ln_life: Array, at: Solution) -> Solution:
    """Try each neighbour's solution as a start, so that one stuck search does not fake a bound."""
    penalties, spreads = _held(work, ln_life)
    model = work.model.at_sigma(np.sqrt(spreads.variance))
    best = at
    for shift in (1, -1):
        index = np.clip(np.arange(ln_life.size) + shift, 0, ln_life.size - 1)
        theta = at.theta[index].copy()
        theta[:, LIFE] = ln_life
        other = start(model, work.model.tins, theta, at.effects[index], spreads, penalties)
        better = other.objective < best.objective - 1e-3
        if better.any():
            pick = better[:, np.newaxis]
            best = replace(
                best,
                theta=np.where(pick, other.theta, best.theta),
                effects=np.where(pick, other.effects, best.effects),
                objective=np.where(better, other.objective, best.objective),
            )
    if best is at:
        return at
    return _search(work, ln_life, best.theta, best.effects, steps=_STEPS)


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
    at = work.solution
    variance_u = float(fit.covariance[LIFE, LIFE])
    scale = float(np.clip(np.sqrt(variance_u), 0.02, 0.6)) if variance_u > 0.0 else 0.5
    centre = min(fit.u, LN_LONGEST_LIFE)
    lowest = float(work.penalties.lower[0, LIFE]) + 0.1
    points = np.concatenate((fit.u + _OFFSETS * scale * root, also))
    if scale > _WIDE_FROM_SE:
        points = np.concatenate((points, np.linspace(centre - 5.0, LN_LONGEST_LIFE, 10)))
    points = np.unique(np.clip(points, lowest, LN_LONGEST_LIFE))
    along = fit.covariance[:, LIFE] / variance_u if variance_u > 0.0 else np.zeros_like(at.theta[0])
    reach = np.clip(points - fit.u, -1.0, 1.0)
    theta = at.theta + reach[:, np.newaxis] * along
    effects = np.repeat(at.effects, points.size, axis=0)
    found = _from_neighbours(work, points, _search(work, points, theta, effects, steps=_STEPS))
    ln_life, objective = points, found.objective
    thetas, all_effects = found.theta, found.effects
    for _ in range(_REFINEMENTS):
        profile = _signed(fit.u, ln_life, objective, float(at.objective[0]))
        wanted = [profile.life_at(-root), profile.life_at(root), *also]
        new = np.array([w for w in wanted if w is not None and np.abs(ln_life - w).min() > 2e-3])
        if new.size == 0:
            break
        near = np.abs(ln_life[np.newaxis, :] - new[:, np.newaxis]).argmin(axis=1)
        more = _search(work, new, thetas[near].copy(), all_effects[near], steps=_STEPS)
        ln_life = np.concatenate((ln_life, new))
        order = np.argsort(ln_life)
        ln_life, objective = ln_life[order], np.concatenate((objective, more.objective))[order]
        thetas = np.concatenate((thetas, more.theta))[order]
        all_effects = np.concatenate((all_effects, more.effects))[order]
    return _signed(fit.u, ln_life, objective, float(at.objective[0]))


def _signed(centre: float, ln_life: Array, objective: Array, least: float) -> Profile:
    least = min(least, float(objective.min()))
    root = np.sign(ln_life - centre) * np.sqrt(np.maximum(objective - least, 0.0))
    if ln_life[0] < centre < ln_life[-1]:
        where = int(np.searchsorted(ln_life, centre))
        ln_life, root = np.insert(ln_life, where, centre), np.insert(root, where, 0.0)
    # a valley beside the estimate flattens the profile: never let it turn back
    return Profile(
        ln_life, np.where(root < 0.0, np.maximum.accumulate(root), -np.maximum.accumulate(-root[::-1])[::-1])
    )
