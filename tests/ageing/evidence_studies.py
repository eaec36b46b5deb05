"""Simulated studies with a cause built in, for the size and the power of the evidence checks."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from stability.ageing.arrays import BlendReadings, TinHistory, assemble
from stability.ageing.dose import inverse_temperature
from stability.ageing.law import gel_life_used, log_growth

STORAGE_C = 23.0
LN_2 = math.log(2.0)
SHAPES = {
    "exponential": (0.0, 0.0),
    "linear": (-1.0, 0.0),
    "diverging": (0.7, 0.0),
    "autocatalytic": (0.5, 3.0),
    "lag": (-1.0, 4.0),
    "levelling": (0.0, -1.0),
}
AGES = {
    23.0: (0, 14, 28, 56, 84, 112, 168, 224),
    40.0: (0, 7, 14, 28, 42, 56, 84, 112),
    50.0: (0, 3, 7, 14, 21, 28, 42, 56),
    60.0: (0, 2, 4, 7, 10, 14, 21, 28),
}


@dataclass(frozen=True, kw_only=True)
class Study:
    """What is true of a simulated study; the defaults have nothing wrong with them."""

    temperatures: Sequence[float] = (23.0, 40.0, 50.0, 60.0)
    tins: int = 2
    life_days: float = 300.0
    shape: str = "exponential"
    sigma_tin: float = 0.06
    noise: float = 0.015
    energy: float = 75.0
    second_share: float = 0.0
    """Part of the rate at 23 °C that runs by a second path of half the energy."""
    lag_energy: float | None = None
    """Energy of the lag's own clock; the growth itself keeps the other one."""
    hot_shape: tuple[float, float] | None = None
    """Another shape above 55 °C."""
    step: float = 0.0
    """Added to ln η of all readings from a day on."""
    step_day: int = 40
    step_recorded: bool = False
    leak: float = 0.0
    """Added to the log rate of one tin."""
    day_bias: float = 0.0
    out_share: float = 0.0
    """Part of their time that some tins of the heated stores spend at the storage temperature."""
    calendar: bool = False
    """The tins age by the calendar, whatever their take-outs say."""
    stagger_days: int = 3
    """Between the days on which tins of one store were placed."""
    ages: Mapping[float, Sequence[float]] = field(default_factory=lambda: AGES)


def _clock(truth: Study, days: np.ndarray, x: np.ndarray, energy: float) -> np.ndarray:
    rate = np.exp(-energy * x)
    if truth.second_share:
        rate = (1.0 - truth.second_share) * rate + truth.second_share * np.exp(-0.5 * energy * x)
    return (days * rate).sum(axis=1) / truth.life_days


def _growth(truth: Study, temperature: float, days: np.ndarray, x: np.ndarray, rate: float) -> np.ndarray:
    m, b = SHAPES[truth.shape]
    s = _clock(truth, days, x, truth.energy) * math.exp(rate)
    if truth.hot_shape is not None and temperature > 55.0:
        m, b = truth.hot_shape
    if truth.lag_energy is not None:
        # an inhibitor is used up by a clock of its own and growth at full pace comes after it
        used = _clock(truth, days, x, truth.lag_energy) * math.exp(rate)
        s = s - 0.4 * s / np.maximum(used, 1e-9) * (1.0 - np.exp(-used / 0.4))
    gel = float(gel_life_used(m, b, LN_2))
    return np.asarray(np.where(s < gel, log_growth(np.minimum(s, 50.0), m, b, LN_2), 99.0))


def study(rng: np.random.Generator, truth: Study) -> BlendReadings:
    """Return the readings of one simulated study; what has grown beyond 12 × is not measured."""
    bias = truth.day_bias * rng.standard_normal(2000)
    rows = [(t, k) for t in truth.temperatures for k in range(truth.tins)]
    leaking = int(rng.integers(len(rows))) if truth.leak else -1
    out = []
    for number, (temperature, k) in enumerate(rows):
        ages = np.asarray(truth.ages[temperature], dtype=float)
        hot = float(inverse_temperature(temperature, STORAGE_C))
        share = truth.out_share if k % 2 and temperature > STORAGE_C else 0.0
        days = np.stack((ages * (1.0 - share), ages * share), axis=1)
        x = np.broadcast_to([hot, 0.0], days.shape)
        rate = truth.sigma_tin * rng.standard_normal() + (truth.leak if number == leaking else 0.0)
        lived = np.stack((ages, 0.0 * ages), axis=1) if truth.calendar else days
        growth = _growth(truth, temperature, lived, x, rate)
        session = (ages + truth.stagger_days * k).astype(int)
        late = session >= truth.step_day
        y = growth + truth.noise * rng.standard_normal(ages.size) + bias[session] + truth.step * late
        seen = growth < math.log(12.0)
        out.append(
            TinHistory(
                sample=f"{temperature:g}-{k}",
                store=f"S{temperature:g}",
                temperature_c=temperature,
                ages_days=ages[seen].tolist(),
                viscosities_mpas=(350.0 * np.exp(y[seen])).tolist(),
                days=days[seen],
                x=x[seen],
                sessions=session[seen].tolist(),
                steps=late[seen, np.newaxis].astype(float).tolist() if truth.step_recorded else None,
            )
        )
    return assemble(out, STORAGE_C)


def fleet(truth: Study, count: int, seed: int) -> list[BlendReadings]:
    """Return some studies of one truth."""
    rng = np.random.default_rng(seed)
    return [study(rng, truth) for _ in range(count)]
