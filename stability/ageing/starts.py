"""Where the searches begin: three shapes, each from its best life on a grid, best kept."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stability.ageing.dose import dose
from stability.ageing.law import log_growth
from stability.ageing.model import ENERGY, INITIAL, LIFE, ORDER, SELF, AgeingModel
from stability.ageing.normal_equations import Penalties, Solution, Spreads
from stability.ageing.solver import minimise, rows_of, start

__all__ = ["best_start", "shaped_starts"]

Array = npt.NDArray[np.float64]
Pairs = tuple[tuple[float, float], ...]

SHAPES: Pairs = ((0.0, 0.0), (0.5, 2.0), (-1.0, 3.0))
"""(m, b): the straight line in ln η, one that runs away, one that lags."""
SUDDEN = (1.0, 7.0)
"""Tried besides where tins have gelled: nothing for long, then everything at once."""
_LN_LIVES = np.linspace(-3.0, 4.0, 8)
"""ln(life ÷ longest dose) tried."""
_SIGMA, _SIGMA_TIN = 0.03, 0.05
_FRESHEST = 0.1


def _first_level(model: AgeingModel, amount: Array, numbers: Array) -> Array:
    """Mean ln η of the tenth of the measured readings with the least dose, (P,)."""
    ranked = np.sort(np.where(numbers > 0.0, amount, np.inf), axis=1)
    last = np.floor(_FRESHEST * np.maximum(numbers.sum(axis=1) - 1.0, 0.0)).astype(np.intp)
    fresh = numbers * (amount <= np.take_along_axis(ranked, last[:, np.newaxis], axis=1))
    return np.asarray((fresh * model.y).sum(axis=1) / np.maximum(fresh.sum(axis=1), 1.0))


def shaped_starts(model: AgeingModel, penalties: Penalties, pairs: Pairs) -> Array:
    """Return one start per shape, (shapes, P, p): best life and level of a grid, at the believed energy."""
    problems = model.y.shape[0]
    numbers = model.active * model.measured
    total = np.maximum(numbers.sum(axis=1), 1.0)
    amount = dose(model.days, model.x, penalties.mean[:, ENERGY : ENERGY + 1])
    first = _first_level(model, amount, numbers)
    longest = np.log(np.maximum((amount * model.active).max(axis=1), 1e-6))
    level_free = np.full(problems, not model.absolute) & penalties.free[:, INITIAL]
    out = np.repeat(penalties.mean[np.newaxis], len(pairs), axis=0)
    for k, pair in enumerate(pairs):
        theta = penalties.mean.copy()
        theta[:, INITIAL] = first
        theta[:, [ORDER, SELF]] = pair
        theta = np.where(penalties.free, np.clip(theta, penalties.lower, penalties.upper), penalties.mean)
        ln_limit = model.limit_at(theta)
        least = np.full(problems, np.inf)
        for offset in _LN_LIVES:
            life = np.clip(longest + offset, penalties.lower[:, LIFE], penalties.upper[:, LIFE])
            life = np.where(penalties.free[:, LIFE], life, penalties.mean[:, LIFE])
            shape = theta[:, ORDER : ORDER + 1], theta[:, SELF : SELF + 1]
            grown = log_growth(amount * np.exp(-life)[:, np.newaxis], *shape, ln_limit)
            gap = model.y - theta[:, INITIAL : INITIAL + 1] - grown
            level = np.where(level_free, (gap * numbers).sum(axis=1) / total, 0.0)
            gap = gap - level[:, np.newaxis]
            # a gelled reading only counts against a curve that lies below it
            gap = np.where(model.measured > 0.0, gap, np.maximum(gap, 0.0))
            misfit = (model.active * gap**2).sum(axis=1)
            better = misfit < least
            least = np.where(better, misfit, least)
            best = theta.copy()
            best[:, INITIAL] += level
            best[:, LIFE] = life
            out[k] = np.where(better[:, np.newaxis], best, out[k])
    return out


def _best_of(at: Solution, problems: int) -> Solution:
    """Return the best of the starts of each problem; starts are in blocks of all problems."""
    pick = at.objective.reshape(-1, problems).argmin(axis=0)
    return rows_of(at, pick * problems + np.arange(problems))


def _believed(problems: int) -> Spreads:
    """Spreads to begin with."""
    return Spreads(np.full(problems, _SIGMA**2), np.full(problems, (_SIGMA_TIN / _SIGMA) ** 2))


def _searched(model: AgeingModel, penalties: Penalties, theta: Array, effects: Array) -> Solution:
    """Search from all starts, (starts, P, p), of all problems; one after the other in the rows."""
    starts, problems = theta.shape[:2]
    rows = np.tile(np.arange(problems), starts)
    many, held = model.rows(rows), penalties.rows(rows)
    spreads = _believed(rows.size)
    sigma = np.sqrt(spreads.variance)
    evaluate = many.at_sigma(sigma)
    at = start(
        evaluate,
        many.tins,
        theta.reshape(rows.size, -1),
        effects.reshape(rows.size, -1),
        spreads,
        penalties=held,
    )
    return minimise(
        evaluate, many.tins, at, spreads, held, steps=12, tolerance=1e-3, narrow=many.narrowed(sigma)
    )


def best_start(model: AgeingModel, penalties: Penalties) -> tuple[Solution, Spreads]:
    """Return the best of the shaped starts of each problem after a short search.

    With censored readings the search without them comes first; it and the shaped starts that mind
    them compete in the full likelihood.
    """
    problems, tins = model.y.shape[0], model.tins.count
    numbers = model.measured_only()
    theta = shaped_starts(numbers, penalties, SHAPES)
    at = _searched(numbers, penalties, theta, np.zeros((len(theta), problems, tins)))
    if model.any_censored:
        shaped = shaped_starts(model, penalties, (*SHAPES, SUDDEN))
        theta = np.concatenate((at.theta.reshape(-1, problems, theta.shape[-1]), shaped))
        effects = np.concatenate(
            (at.effects.reshape(-1, problems, tins), np.zeros((len(shaped), problems, tins)))
        )
        at = _searched(model, penalties, theta, effects)
    return _best_of(at, problems), _believed(problems)
