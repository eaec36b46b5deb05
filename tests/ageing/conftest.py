"""Invented blends for the tests of the ageing room; every one is seeded by its caller."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np
import pytest

from stability.ageing.arrays import BlendReadings, Kind, TinHistory, assemble
from stability.ageing.dose import inverse_temperature
from stability.ageing.law import gel_life_used, log_growth

Plan = Mapping[float, tuple[int, Sequence[float]]]

PLAN: Plan = {
    23.0: (3, (0, 14, 28, 56, 84, 112, 168)),
    40.0: (3, (0, 7, 14, 28, 42, 56, 84)),
    50.0: (3, (0, 3, 7, 14, 21, 28, 42)),
    60.0: (2, (0, 2, 4, 7, 10, 14, 21)),
}
STORAGE_C = 23.0


def tin_of(
    name: str,
    temperature_c: float,
    ages: Sequence[float],
    viscosities: Sequence[float],
    kinds: Sequence[Kind] | None = None,
    uppers: Sequence[float] | None = None,
) -> TinHistory:
    """One tin at a constant temperature."""
    days = np.asarray(ages, dtype=float)[:, np.newaxis]
    return TinHistory(
        sample=name,
        store=f"S-{temperature_c:g}",
        temperature_c=temperature_c,
        ages_days=list(ages),
        viscosities_mpas=list(viscosities),
        days=days,
        x=np.full_like(days, float(inverse_temperature(temperature_c, STORAGE_C))),
        kinds=kinds,
        uppers_mpas=uppers,
    )


def blend_of(
    rng: np.random.Generator,
    *,
    life_days: float = 300.0,
    m: float = 0.0,
    b: float = 0.0,
    energy: float = 75.0,
    sigma: float = 0.02,
    sigma_tin: float = 0.05,
    plan: Plan = PLAN,
    gel_ratio: float = 100.0,
    cold_rate: float = 1.0,
) -> BlendReadings:
    """A blend of the law to 2×; `cold_rate` speeds the storage store against the Arrhenius line."""
    tins = []
    for temperature, (count, ages) in plan.items():
        x = float(inverse_temperature(temperature, STORAGE_C))
        own = cold_rate if temperature == STORAGE_C else 1.0
        for k in range(count):
            s = (
                np.asarray(ages, dtype=float)
                * own
                * np.exp(-energy * x + rng.normal(0, sigma_tin))
                / life_days
            )
            gel = float(gel_life_used(m, b, math.log(2.0)))
            growth = np.where(s < gel, log_growth(s, m, b, math.log(2.0)), 99.0)
            measured = growth < math.log(gel_ratio)
            noisy = 350.0 * np.exp(np.minimum(growth, 20.0) + rng.normal(0, sigma, s.size))
            values = np.where(measured, noisy, 350.0 * gel_ratio)
            kinds = [Kind.MEASURED if ok else Kind.RIGHT_CENSORED for ok in measured]
            tins.append(tin_of(f"{temperature:g}-{k}", temperature, ages, values.tolist(), kinds))
    return assemble(tins, STORAGE_C)


@pytest.fixture
def tin() -> Callable[..., TinHistory]:
    """A maker of single tins."""
    return tin_of


@pytest.fixture
def blend() -> Callable[..., BlendReadings]:
    """A maker of invented blends."""
    return blend_of
