"""Where the search of a blend begins: three shapes, each from its best life on a grid, best kept."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stability.ageing.model import ENERGY, INITIAL, LIFE, ORDER, SELF, AgeingModel
from stability.ageing.solver import Penalties, Solution, Spreads, minimise, row_of, start

__all__ = ["best_start"]

Array = npt.NDArray[np.float64]

SHAPES = ((0.0, 0.0), (0.5, 2.0), (-1.0, 3.0))
"""(m, b): the straight line in ln η, one that runs away, one that lags."""
_LN_LIVES = np.linspace(-3.0, 4.0, 15)
"""ln(life ÷ longest dose) tried."""
_SIGMA, _SIGMA_TIN = 0.03, 0.05


def _grid(model: AgeingModel, penalties: Penalties) -> Array:
    """Return one start per shape, (3, p): the best life and level of a grid, at the energy believed in."""
    theta = np.repeat(penalties.mean, len(SHAPES) * _LN_LIVES.size, axis=0)
    held = ~penalties.free[0]
    energy = penalties.mean[0, ENERGY]
    # a dose at the energy's mean; where all exposure is cold the calendar serves as well
    dose = (model.days * np.exp(-energy * model.x)).sum(axis=-1)
    longest = max(float((dose * model.measured).max()), 1e-6)
    said = (model.active * model.measured)[0]
    fresh = (dose[0] <= np.quantile(dose[0][said > 0.0], 0.1)) & (said > 0.0)
    shapes = np.repeat(np.array(SHAPES), _LN_LIVES.size, axis=0)
    if not held[INITIAL]:
        theta[:, INITIAL] = float(np.median(model.y[0][fresh]))
    if not held[LIFE]:
        theta[:, LIFE] = np.tile(_LN_LIVES, len(SHAPES)) + np.log(longest)
    for column, k in ((ORDER, 0), (SELF, 1)):
        if not held[column]:
            theta[:, column] = shapes[:, k]
    theta = np.clip(theta, penalties.lower, penalties.upper)
    gap = (model.y - model.fitted(theta, np.zeros((theta.shape[0], model.tins.shape[1])))) * said
    level = gap.sum(axis=-1) / said.sum()
    if model.absolute or held[INITIAL]:
        level = np.zeros_like(level)
    misfit = (((gap - level[:, np.newaxis]) * said) ** 2).sum(axis=-1)
    best = misfit.reshape(len(SHAPES), -1).argmin(axis=1) + np.arange(len(SHAPES)) * _LN_LIVES.size
    theta[:, INITIAL] += level
    return np.asarray(theta[best])


def best_start(model: AgeingModel, penalties: Penalties) -> tuple[Solution, Spreads]:
    """Return the best of the shaped starts after a short search without the censored readings."""
    numbers = model.measured_only() if model.any_censored else model
    theta = _grid(model, penalties)
    rows = theta.shape[0]
    spreads = Spreads(np.full(rows, _SIGMA**2), np.full(rows, (_SIGMA_TIN / _SIGMA) ** 2))
    evaluate = numbers.at_sigma(np.sqrt(spreads.variance))
    effects = np.zeros((rows, model.tins.shape[1]))
    at = start(evaluate, model.tins, theta, effects, spreads, penalties)
    at = minimise(evaluate, model.tins, at, spreads, penalties, steps=12, tolerance=1e-3)
    best = row_of(at, int(np.argmin(at.objective)))
    one = Spreads(spreads.variance[:1], spreads.ratio[:1])
    return best, one
