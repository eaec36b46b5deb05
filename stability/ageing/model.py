"""The statistical model: readings of a blend as a function of its parameters, with all first derivatives.

    ln η = a + growth(s; m, b) + openings·δ,   s = dose(E)·exp(−u + β_tin + γ_store − γ_storage)

θ = (a, u, E, m, b, γ of each store …, δ of what adds …). `u` = ln(life in days) is the life *of the
storage temperature's own store*: the store effects enter as differences to it, so the life asked for is a
parameter. Leading axis: problems (P), each with arrays of its own.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from stability.ageing.censored import pseudo_readings
from stability.ageing.dose import dose_and_slope
from stability.ageing.grouping import Groups
from stability.ageing.law import log_growth, log_growth_and_gradients
from stability.ageing.normal_equations import Linearised, Model

__all__ = ["ENERGY", "INITIAL", "LIFE", "NAMES", "ORDER", "SELF", "AgeingModel", "Limit"]

Array = npt.NDArray[np.float64]

NAMES = ("a", "u", "E", "m", "b")
INITIAL, LIFE, ENERGY, ORDER, SELF = range(5)
_PER_PROBLEM = ("y", "upper", "measured", "active", "days", "x", "stores", "added", "ln_limit")
_FEW_BINS = 12
_SMALLEST_LN_LIMIT = 1e-3
_LARGEST_EXPONENT = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """What ends a life: a ratio to the day-0 viscosity, or a viscosity [mPa·s]; exactly one of them."""

    ratio: float | None = None
    viscosity_mpas: float | None = None

    def ln_ratio(self, ln_initial: float) -> float:
        """Return ln L for a blend that starts at `ln_initial`; 0 or less when it starts beyond the limit."""
        if self.ratio is not None:
            return float(np.log(self.ratio))
        assert self.viscosity_mpas is not None  # noqa: S101 - one of the two is always given
        return float(np.log(self.viscosity_mpas)) - ln_initial


@dataclass(frozen=True, slots=True)
class AgeingModel:
    """Many blends' arrays, ready for evaluation; one row per problem, readings padded with `active` 0."""

    y: Array
    """(P, n)."""
    upper: Array
    measured: Array
    """1 for a measured reading, 0 for a censored one, (P, n)."""
    active: Array
    """0 leaves a reading out, (P, n)."""
    days: Array
    """(P, n, bins)."""
    x: Array
    tins: Groups
    """Membership of readings in tins."""
    stores: Array
    """Store effects' design: +1 own store, −1 storage store, (P, n, q)."""
    added: Array
    """What adds to ln η by itself: openings, steps, days, (P, n, r); r is 0 where they tell nothing."""
    ln_limit: Array
    """ln L, or ln V of an absolute limit, (P, 1)."""
    absolute: bool
    any_censored: bool

    def rows(self, rows: npt.NDArray[np.intp]) -> AgeingModel:
        """Return some problems, in the order of `rows`."""
        own = {name: getattr(self, name)[rows] for name in _PER_PROBLEM}
        return replace(self, tins=self.tins.rows(rows), **own)

    @property
    def parameters(self) -> int:
        """Length of θ."""
        return len(NAMES) + self.rates + int(self.added.shape[-1])

    @property
    def rates(self) -> int:
        """How many store effects θ holds."""
        return int(self.stores.shape[-1])

    def limit_at(self, theta: Array) -> Array:
        """Return ln L at θ, (P, 1)."""
        if not self.absolute:
            return self.ln_limit
        return np.maximum(self.ln_limit - theta[:, INITIAL : INITIAL + 1], _SMALLEST_LN_LIMIT)

    def life_used(self, theta: Array, effects: Array) -> tuple[Array, Array]:
        """Return s and ∂s/∂E at every reading, (P, n) both."""
        amount, slope = self._dose(theta[:, ENERGY : ENERGY + 1])
        rate = self.tins.at_readings(effects) - theta[:, LIFE : LIFE + 1]
        if self.stores.shape[-1]:
            gamma = theta[:, len(NAMES) : len(NAMES) + self.rates, np.newaxis]
            rate = rate + (self.stores @ gamma)[..., 0]
        factor = np.exp(np.clip(rate, -_LARGEST_EXPONENT, _LARGEST_EXPONENT))
        return amount * factor, slope * factor

    def _dose(self, energy: Array) -> tuple[Array, Array]:
        """Return dose and slope by E; few bins are added one by one, which is several times faster."""
        if self.days.shape[-1] > _FEW_BINS:
            return dose_and_slope(self.days, self.x, energy)
        amount = self.days[..., 0] * np.exp(-energy * self.x[..., 0])
        slope = -amount * self.x[..., 0]
        for k in range(1, self.days.shape[-1]):
            term = self.days[..., k] * np.exp(-energy * self.x[..., k])
            amount += term
            slope -= term * self.x[..., k]
        return amount, slope

    def fitted(self, theta: Array, effects: Array) -> Array:
        """Return ln η of the curve at every reading, (P, n)."""
        s, _ = self.life_used(theta, effects)
        shape = theta[:, ORDER : ORDER + 1], theta[:, SELF : SELF + 1]
        return self._start(theta) + log_growth(s, *shape, self.limit_at(theta))

    def _start(self, theta: Array) -> Array:
        """Return a, and what openings added to it, at every reading."""
        start = theta[:, INITIAL : INITIAL + 1]
        if not self.added.shape[-1]:
            return start
        return start + (self.added @ theta[:, len(NAMES) + self.rates :, np.newaxis])[..., 0]

    def at_sigma(self, sigma: Array) -> Model:
        """Return the model as the solver wants it: a function of (θ, β) alone."""
        return lambda theta, effects: self.linearised(theta, effects, sigma)

    def narrowed(self, sigma: Array) -> Callable[[npt.NDArray[np.intp]], Model]:
        """Return what makes such a function for some of the problems."""
        return lambda rows: self.rows(rows).at_sigma(sigma[rows])

    def measured_only(self) -> AgeingModel:
        """Return the same model without its censored readings."""
        return replace(self, active=self.active * self.measured, any_censored=False)

    def linearised(self, theta: Array, effects: Array, sigma: Array) -> Linearised:
        """Return residuals and derivatives at (θ, β); `sigma` (P,) matters to censored readings only."""
        s, by_energy = self.life_used(theta, effects)
        shape = theta[:, ORDER : ORDER + 1], theta[:, SELF : SELF + 1]
        g = log_growth_and_gradients(s, *shape, self.limit_at(theta))
        by_rate = s * g.by_life_used
        jacobian = np.empty((s.shape[0], self.parameters, s.shape[1]))
        jacobian[:, INITIAL] = 1.0 - g.by_ln_limit if self.absolute else 1.0
        jacobian[:, LIFE] = -by_rate
        jacobian[:, ENERGY] = by_energy * g.by_life_used
        jacobian[:, ORDER], jacobian[:, SELF] = g.by_m, g.by_b
        added = len(NAMES) + self.rates
        jacobian[:, len(NAMES) : added] = by_rate[:, np.newaxis] * np.swapaxes(self.stores, 1, 2)
        jacobian[:, added:] = np.swapaxes(self.added, 1, 2)
        fitted = self._start(theta) + g.value
        residual = (self.y - fitted) * self.active
        weight = self.active
        sum_squares = (residual**2 * self.measured).sum(axis=-1)
        count = (self.active * self.measured).sum(axis=-1)
        loss = np.zeros_like(sum_squares)
        if self.any_censored:
            pseudo = pseudo_readings(fitted, sigma[:, np.newaxis], self.y, self.upper)
            said = (1.0 - self.measured) * self.active
            residual = np.where(said > 0.0, pseudo.residual, residual)
            weight = np.where(said > 0.0, pseudo.weight, weight)
            loss = (said * pseudo.loss).sum(axis=-1)
            share = pseudo.weight * (pseudo.residual / sigma[:, np.newaxis]) ** 2 - pseudo.sigma_score
            count = count + (said * share).sum(axis=-1)
        return Linearised(residual, weight, np.swapaxes(jacobian, 1, 2), by_rate, sum_squares, loss, count)
