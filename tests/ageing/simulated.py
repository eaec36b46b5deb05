"""Simulated storage studies with a known life, of the shapes that are met and of truths outside the law.

All is invented. Viscosity 300 mPa·s at day 0, life to doubling, storage at 23 °C, ages [d], rates relative to
23 °C. Each study has its own draws; a seed gives the same studies again.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from stability.ageing.arrays import BlendReadings, Kind
from stability.ageing.dose import inverse_temperature
from stability.ageing.law import log_growth

STORAGE_C = 23.0
LN_LIMIT = math.log(2.0)
LN_GELLED = math.log(100.0)
SHAPES = {
    "exponential": (0.0, 0.0),
    "straight line": (-1.0, 0.0),
    "diverging": (1.0, 0.0),
    "autocatalytic": (0.6, 2.5),
    "lag": (-1.0, 3.0),
    "levelling": (0.0, -1.5),
}
"""(m, b) of the six shapes."""
THREE = (23.0, 40.0, 50.0)
FOUR = (23.0, 40.0, 50.0, 60.0)


@dataclass(frozen=True, kw_only=True)
class Study:
    """What is stored and how; the truth in it."""

    shape: tuple[float, float] = (0.0, 0.0)
    temperatures_c: tuple[float, ...] = FOUR
    tins: int = 2
    life_weeks: float = 78.0
    tin_spread: float = 0.06
    noise: float = 0.015
    pulls: int = 8
    energy: float = 75.0
    past_the_limit: float = 1.3
    """Share of life at which the heated tins end."""
    heavy_tails: bool = False
    day_bias: float = 0.0
    hot_oven_c: float = 0.0
    """How much warmer than its label the hottest store is; its log is known."""
    take_outs: bool = False
    """Tins stand at 23 °C for 20 h before every reading but the first, and the record knows it."""
    one_tin_a_pull: bool = False
    first_fall: float = 0.0
    step: float = 0.0
    """All readings after the middle day are off by this, in ln η; the day is on record."""
    second_path: float = 0.0
    """Share of the rate at 23 °C that runs at half the energy."""
    own_lag: float = 0.0
    """Share of life at 23 °C that passes before growth, at 50 kJ/mol instead."""

    @property
    def life_days(self) -> float:
        """True time to doubling at 23 °C."""
        if not self.first_fall:
            return 7.0 * self.life_weeks
        # the limit is twice the day-0 value, and the fall has to be made up first
        share = np.linspace(1.0, 2.0, 2001)
        return (
            7.0
            * self.life_weeks
            * float(np.interp(LN_LIMIT + self.first_fall, log_growth(share, *self.shape, LN_LIMIT), share))
        )

    def rate(self, temperature_c: float) -> float:
        """How much faster than at 23 °C."""
        x = float(inverse_temperature(temperature_c, STORAGE_C))
        main = math.exp(-self.energy * x)
        return main + self.second_path * (math.exp(-0.5 * self.energy * x) - main)

    def share_used(self, temperature_c: float, days: np.ndarray) -> np.ndarray:
        """Share of the nominal life used after so many days at one temperature, as growth goes."""
        life = 7.0 * self.life_weeks
        if not self.own_lag:
            return np.asarray(days * self.rate(temperature_c) / life)
        x = float(inverse_temperature(temperature_c, STORAGE_C))
        lag = self.own_lag * life * math.exp(50.0 * x)
        return np.asarray(
            np.maximum(days - lag, 0.0) * self.rate(temperature_c) / (life * (1.0 - self.own_lag))
        )


def ages_of(study: Study, temperature_c: float) -> np.ndarray:
    """Days of the pulls of one store: weekly where there is time, none twice."""
    life = 7.0 * study.life_weeks
    heated = temperature_c > STORAGE_C + 1.0
    span = min(study.past_the_limit * life / study.rate(temperature_c) if heated else 0.6 * life, 365.0)
    if heated and study.own_lag:
        span = min(1.3 * span, 365.0)
    grid = 7.0 if span > 7.0 * study.pulls else 1.0
    return np.unique(np.round(np.linspace(0.0, max(span, study.pulls - 1.0), study.pulls) / grid) * grid)


def simulate(study: Study, generator: np.random.Generator) -> BlendReadings:
    """Return one study's readings."""
    parts: list[dict[str, np.ndarray]] = []
    bias = study.day_bias * generator.normal(size=400)
    middle = float(np.median(ages_of(study, max(study.temperatures_c))))
    for store, label in enumerate(study.temperatures_c):
        true = label + (study.hot_oven_c if label == max(study.temperatures_c) else 0.0)
        for tin in range(1 if study.one_tin_a_pull else study.tins):
            ages = ages_of(study, label)
            parts.append(_one_tin(study, store, true, ages, generator))
            parts[-1]["tin"] = np.full(ages.size, tin)
    tins: list[dict[str, np.ndarray]] = []
    for part in parts:
        if study.one_tin_a_pull:
            tins += [{k: v[j : j + 1] for k, v in part.items()} for j in range(part["age"].size)]
        else:
            tins.append(_until_gelled(part))
    joined = {k: np.concatenate([t[k] for t in tins]) for k in tins[0]}
    gelled = joined["growth"] > LN_GELLED
    noise = (
        generator.standard_t(4, size=gelled.size) / math.sqrt(2.0)
        if study.heavy_tails
        else (generator.normal(size=gelled.size))
    )
    y = math.log(300.0) + joined["growth"] + study.noise * noise + bias[joined["age"].astype(int)]
    after = (joined["age"] > middle).astype(float)
    y = np.where(gelled, math.log(300.0) + LN_GELLED, y + study.step * after)
    days, index = np.unique(joined["age"].astype(int), return_inverse=True)
    return BlendReadings(
        samples=tuple(f"T{k}" for k in range(len(tins))),
        stores=tuple(f"S{t:g}" for t in study.temperatures_c),
        store_temperature_c=np.array(study.temperatures_c),
        storage_c=STORAGE_C,
        tin=np.repeat(np.arange(len(tins)), [t["age"].size for t in tins]),
        store=joined["store"].astype(np.intp),
        kind=np.where(gelled, Kind.RIGHT_CENSORED, Kind.MEASURED).astype(np.int8),
        ln_viscosity=y,
        ln_upper=np.full(y.size, np.inf),
        days=np.column_stack((joined["days"], joined["out"]))[:, : 1 + study.take_outs],
        x=np.column_stack((joined["x"], np.zeros(y.size)))[:, : 1 + study.take_outs],
        age_days=joined["age"],
        session=np.asarray(index, dtype=np.intp),
        session_days=days.astype(np.int64),
        steps=after[:, np.newaxis] if study.step else np.zeros((y.size, 0)),
    )


def _one_tin(
    study: Study, store: int, true_c: float, ages: np.ndarray, generator: np.random.Generator
) -> dict[str, np.ndarray]:
    out = np.zeros(ages.size)
    if study.take_outs and true_c > STORAGE_C + 1.0:
        out = np.minimum(np.arange(ages.size) * 20.0 / 24.0, ages)
    inside = ages - out
    s = study.share_used(true_c, inside) + study.share_used(STORAGE_C, out)
    tins = ages.size if study.one_tin_a_pull else 1
    s = s * np.exp(study.tin_spread * generator.normal(size=tins))
    growth = log_growth(s, *study.shape, LN_LIMIT) - study.first_fall * (1.0 - np.exp(-s * 100.0))
    x = float(inverse_temperature(true_c, STORAGE_C))
    return {
        "age": ages,
        "days": inside,
        "out": out,
        "x": np.full(ages.size, x),
        "store": np.full(ages.size, store),
        "growth": growth,
    }


def _until_gelled(part: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    gelled = np.flatnonzero(part["growth"] > LN_GELLED)
    last = gelled[0] + 1 if gelled.size else part["age"].size
    return {k: v[:last] for k, v in part.items()}


def fleet(study: Study, count: int, seed: int) -> list[BlendReadings]:
    """Return many studies of one kind."""
    generator = np.random.default_rng(seed)
    return [simulate(study, generator) for _ in range(count)]


PLAIN = Study()
OUTSIDE_THE_LAW: dict[str, Callable[[], Study]] = {
    "two energies": lambda: replace(PLAIN, second_path=0.25, tins=3),
    "lag with its own energy": lambda: replace(PLAIN, own_lag=0.3, tins=3),
    "day bias 1 %": lambda: replace(PLAIN, day_bias=0.01, tins=3),
    "heavy tails": lambda: replace(PLAIN, heavy_tails=True, tins=3),
    "oven 1.5 °C hot, logged": lambda: replace(PLAIN, hot_oven_c=1.5, tins=3),
    "take-outs of 20 h": lambda: replace(PLAIN, take_outs=True, tins=3),
    "one tin a pull": lambda: replace(PLAIN, one_tin_a_pull=True),
    "gels": lambda: replace(PLAIN, shape=SHAPES["autocatalytic"], past_the_limit=2.0, tins=3),
    "first fall 3 %": lambda: replace(PLAIN, first_fall=0.03, tins=3),
    "recorded step": lambda: replace(PLAIN, step=0.05, tins=3),
}
"""Truths that the law does not hold, or only with what the record says."""
