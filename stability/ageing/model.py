"""The statistical model: readings of a blend as a function of its parameters, with all first derivatives.

    ln η = a + growth(s; m, b) + openings·δ,   s = dose(E)·exp(−u + β_tin + γ_store − γ_storage)

θ = (a, u, E, m, b, γ of each store but the storage one's …, δ …). `u` = ln(life in days) is the life *of the
storage temperature's own store*: the store effects enter as differences to it, so the life asked for is a
parameter. Leading axis: problems (P), which share one blend's arrays or bring their own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from stability.ageing.arrays import BlendReadings, Kind
from stability.ageing.censored import pseudo_readings
from stability.ageing.dose import dose_and_slope
from stability.ageing.law import log_growth, log_growth_and_gradients
from stability.ageing.solver import Linearised, Model

__all__ = ["ENERGY", "INITIAL", "LIFE", "NAMES", "ORDER", "SELF", "AgeingModel", "Limit", "ageing_model"]

Array = npt.NDArray[np.float64]

NAMES = ("a", "u", "E", "m", "b")
INITIAL, LIFE, ENERGY, ORDER, SELF = range(5)
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
    """One blend's arrays, ready for evaluation at many (θ, β) at once.

    Every array has a leading axis of 1 (shared by all problems) or P.
    """

    y: Array
    """(1, n)."""
    upper: Array
    measured: Array
    """1 for a measured reading, 0 for a censored one, (1, n)."""
    active: Array
    """0 leaves a reading out, (1, n)."""
    days: Array
    """(1, n, bins)."""
    x: Array
    tins: Array
    """Membership, (1, K, n)."""
    stores: Array
    """Store effects' design: +1 own store, −1 storage store, (1, n, q)."""
    added: Array
    """What adds to ln η by itself: openings before the reading, (1, n, r); r is 0 where they tell nothing."""
    ln_limit: float
    """ln L, or ln V of an absolute limit."""
    absolute: bool
    any_censored: bool

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
            return np.full((theta.shape[0], 1), self.ln_limit)
        return np.maximum(self.ln_limit - theta[:, INITIAL : INITIAL + 1], _SMALLEST_LN_LIMIT)

    def life_used(self, theta: Array, effects: Array) -> tuple[Array, Array]:
        """Return s and ∂s/∂E at every reading, (P, n) both."""
        amount, slope = dose_and_slope(self.days, self.x, theta[:, ENERGY : ENERGY + 1])
        rate = (effects[:, np.newaxis, :] @ self.tins)[:, 0, :] - theta[:, LIFE : LIFE + 1]
        if self.stores.shape[-1]:
            gamma = theta[:, len(NAMES) : len(NAMES) + self.rates, np.newaxis]
            rate = rate + (self.stores @ gamma)[..., 0]
        factor = np.exp(np.clip(rate, -_LARGEST_EXPONENT, _LARGEST_EXPONENT))
        return amount * factor, slope * factor

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

    def measured_only(self) -> AgeingModel:
        """Return the same model without its censored readings."""
        return replace(self, active=self.active * self.measured, any_censored=False)

    def linearised(self, theta: Array, effects: Array, sigma: Array) -> Linearised:
        """Return residuals and derivatives at (θ, β); `sigma` (P,) matters to censored readings only."""
        s, by_energy = self.life_used(theta, effects)
        shape = theta[:, ORDER : ORDER + 1], theta[:, SELF : SELF + 1]
        g = log_growth_and_gradients(s, *shape, self.limit_at(theta))
        by_rate = s * g.by_life_used
        by_initial = 1.0 - g.by_ln_limit if self.absolute else np.ones_like(s)
        columns = (by_initial, -by_rate, by_energy * g.by_life_used, g.by_m, g.by_b)
        jacobian = np.stack(columns, axis=-1)
        if self.stores.shape[-1]:
            jacobian = np.concatenate((jacobian, by_rate[..., np.newaxis] * self.stores), axis=-1)
        if self.added.shape[-1]:
            own = np.broadcast_to(self.added, (*jacobian.shape[:-1], self.added.shape[-1]))
            jacobian = np.concatenate((jacobian, own), axis=-1)
        fitted = self._start(theta) + g.value
        residual = (self.y - fitted) * self.active
        weight = np.broadcast_to(self.active, residual.shape)
        sum_squares = (residual**2 * self.measured).sum(axis=-1)
        count = np.broadcast_to((self.active * self.measured).sum(axis=-1), sum_squares.shape)
        loss = np.zeros_like(sum_squares)
        if self.any_censored:
            pseudo = pseudo_readings(fitted, sigma[:, np.newaxis], self.y, self.upper)
            said = (1.0 - self.measured) * self.active
            residual = np.where(said > 0.0, pseudo.residual, residual)
            weight = np.where(said > 0.0, pseudo.weight, weight)
            loss = (said * pseudo.loss).sum(axis=-1)
            share = pseudo.weight * (pseudo.residual / sigma[:, np.newaxis]) ** 2 - pseudo.sigma_score
            count = count + (said * share).sum(axis=-1)
        return Linearised(residual, weight, jacobian, by_rate, sum_squares, loss, count)


def ageing_model(
    data: BlendReadings, limit: Limit, *, store_effects: bool, opening_effect: bool = False
) -> AgeingModel:
    """Return the model of one blend.

    `store_effects` adds γ for every store but the storage one's, `opening_effect` a δ per opening.
    """
    n, k = data.tin.size, len(data.samples)
    tins = np.zeros((1, k, n))
    tins[0, data.tin, np.arange(n)] = 1.0
    home = data.storage_store
    columns = np.zeros((1, n, 0))
    if store_effects:
        columns = np.zeros((1, n, len(data.stores)))
        columns[0, np.arange(n), data.store] = 1.0
        if home is not None:
            # u is the life of the storage store: all others differ from it by γ_k − γ_storage
            columns[0, data.store != home, home] = -1.0
            columns[0, data.store == home, home] = 0.0
    measured = data.measured
    return AgeingModel(
        y=data.ln_viscosity[np.newaxis],
        upper=data.ln_upper[np.newaxis],
        measured=measured[np.newaxis].astype(np.float64),
        active=np.ones((1, n)),
        days=data.days[np.newaxis],
        x=data.x[np.newaxis],
        tins=tins,
        stores=columns,
        added=data.openings[np.newaxis, :, np.newaxis] if opening_effect else np.zeros((1, n, 0)),
        ln_limit=limit.ln_ratio(0.0),
        absolute=limit.viscosity_mpas is not None,
        any_censored=bool((data.kind != Kind.MEASURED).any()),
    )
