"""Where the search of a blend begins: three shapes, each from its best life on a grid, best kept."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stability.ageing.model import ENERGY, INITIAL, LIFE, ORDER, SELF, AgeingModel
from stability.ageing.solver import Penalties, Solution, Spreads, minimise, rows_of, start

__all__ = ["best_start"]

Array = npt.NDArray[np.float64]

SHAPES = ((0.0, 0.0), (0.5, 2.0), (-1.0, 3.0))
"""(m, b): the straight line in ln η, one that runs away, one that lags."""
SUDDEN = (1.0, 7.0)
"""Tried besides where tins have gelled: nothing for long, then everything at once."""
_LN_LIVES = np.linspace(-3.0, 4.0, 15)
"""ln(life ÷ longest dose) tried."""
_SIGMA, _SIGMA_TIN = 0.03, 0.05


def _grid(model: AgeingModel, penalties: Penalties, pairs: tuple[tuple[float, float], ...]) -> Array:
    """Return one start per shape, (shapes, p): best life and level of a grid, at the energy believed in."""
    theta = np.repeat(penalties.mean, len(pairs) * _LN_LIVES.size, axis=0)
    held = ~penalties.free[0]
    dose = (model.days * np.exp(-penalties.mean[0, ENERGY] * model.x)).sum(axis=-1)[0]
    numbers = (model.active * model.measured)[0]
    fresh = (dose <= np.quantile(dose[numbers > 0.0], 0.1)) & (numbers > 0.0)
    shapes = np.repeat(np.array(pairs), _LN_LIVES.size, axis=0)
    theta[:, INITIAL] = float(np.median(model.y[0][fresh]))
    theta[:, LIFE] = np.tile(_LN_LIVES, len(pairs)) + np.log(max(float(dose.max()), 1e-6))
    theta[:, [ORDER, SELF]] = shapes
    theta = np.where(held, penalties.mean, np.clip(theta, penalties.lower, penalties.upper))
    gap = model.y - model.fitted(theta, np.zeros((theta.shape[0], model.tins.shape[1])))
    level = np.zeros(theta.shape[0])
    if not (model.absolute or held[INITIAL]):
        level = (gap * numbers).sum(axis=-1) / numbers.sum()
    gap = gap - level[:, np.newaxis]
    # a gelled reading only counts against a curve that lies below it
    misfit = (model.active * np.where(model.measured > 0.0, gap, np.maximum(gap, 0.0)) ** 2).sum(axis=-1)
    best = misfit.reshape(len(pairs), -1).argmin(axis=1) + np.arange(len(pairs)) * _LN_LIVES.size
    theta[:, INITIAL] += level
    return np.asarray(theta[best])


def _searched(model: AgeingModel, penalties: Penalties, theta: Array, effects: Array) -> Solution:
    spreads = Spreads(np.full(theta.shape[0], _SIGMA**2), np.full(theta.shape[0], (_SIGMA_TIN / _SIGMA) ** 2))
    evaluate = model.at_sigma(np.sqrt(spreads.variance))
    at = start(evaluate, model.tins, theta, effects, spreads, penalties=penalties)
    return minimise(evaluate, model.tins, at, spreads, penalties, steps=12, tolerance=1e-3)


def best_start(model: AgeingModel, penalties: Penalties) -> tuple[Solution, Spreads]:
    """Return the best of the shaped starts after a short search.

    With censored readings the search without them comes first; it and the shaped starts that mind
    them compete in the full likelihood.
    """
    tins = model.tins.shape[1]
    numbers = model.measured_only()
    theta = _grid(numbers, penalties, SHAPES)
    at = _searched(numbers, penalties, theta, np.zeros((len(theta), tins)))
    if model.any_censored:
        shaped = _grid(model, penalties, (*SHAPES, SUDDEN))
        theta = np.concatenate((at.theta, shaped))
        effects = np.concatenate((at.effects, np.zeros((len(shaped), tins))))
        at = _searched(model, penalties, theta, effects)
    spreads = Spreads(np.full(1, _SIGMA**2), np.full(1, (_SIGMA_TIN / _SIGMA) ** 2))
    return rows_of(at, np.array([np.argmin(at.objective)])), spreads
