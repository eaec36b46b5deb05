"""What is true in the invented study without any noise: anchors, lives, gel days, lives by season.

Ages and lives in days, temperatures °C, viscosities mPa·s at 23 °C. The generator is tested against the
printed numbers of the scenario through this module; nothing here was measured.
"""

from __future__ import annotations

from calendar import monthrange

import numpy as np

from stability.demo.arms import arm
from stability.demo.history import path, true_hours
from stability.demo.kinetics import Autocatalytic, Floats, Growth, Kinetics, Lagged, Path, State, Term, age
from stability.demo.schedule import PLANNED_DAYS

__all__ = [
    "WAREHOUSE_C",
    "annual_kinetic_mean_c",
    "fault_cost_days",
    "gel_days",
    "noise_free",
    "noise_free_viscosity",
    "season_life_days",
    "true_life_days",
]

WAREHOUSE_C = (20.0, 22.0, 25.0, 29.0, 33.0, 36.0, 38.0, 37.0, 33.0, 29.0, 24.0, 21.0)
"""Monthly means of the invented customer's warehouse, January to December."""

_OUT_BEFORE, _BACK_AFTER = 20 / 24, 1 / 24
_FAULT_HOURS, _FAULT_C = 38.0, 63.0


def noise_free(key: str, store: str, day: float) -> State:
    """Return the state of an ordinary tin: planned take-outs, the oven fault, the drift, and no more."""
    out = [] if store == "ROOM-23" else [(d - _OUT_BEFORE, d + _BACK_AFTER) for d in PLANNED_DAYS[store]]
    lived = path(true_hours(store, quiet=True), 0.0, day + 1.0, out)
    return age(arm(key).kinetics, lived, np.array([float(day)]))


def noise_free_viscosity(key: str, store: str, day: float) -> float:
    """Return the 23 °C viscosity of such a tin, [mPa·s]; infinite once it is a gel."""
    return arm(key).initial_mpas * float(np.exp(noise_free(key, store, day).ln_ratio[0]))


def _at(term: Term, temperature_c: float) -> float:
    return float(term.rate(np.array([temperature_c]))[0])


def true_life_days(key: str, temperature_c: float, ratio: float = 2.0) -> float:
    """Return the days an unopened tin needs at one temperature to reach a viscosity ratio.

    >>> round(true_life_days("A5", 23.0))
    365
    """
    kinetics = arm(key).kinetics
    if isinstance(kinetics, Growth) and not kinetics.fall:
        return float(np.log(ratio)) / sum(_at(term, temperature_c) for term in kinetics.terms)
    if isinstance(kinetics, Lagged):
        lag_days = 1.0 / _at(kinetics.lag, temperature_c)
        return lag_days + float(np.log(ratio)) / _at(kinetics.growth, temperature_c)
    if isinstance(kinetics, Autocatalytic):
        x = -np.expm1(-np.log(ratio) / kinetics.s)
        share = float(np.log1p(x * np.expm1(kinetics.b)) / kinetics.b)
        return share / _at(kinetics.to_gel, temperature_c)
    days = np.arange(0.0, 40_000.0)
    return _crossing(kinetics, Path(days, np.full(days.size - 1, temperature_c)), ratio)


def gel_days(key: str, temperature_c: float) -> float | None:
    """Return the days to the gel point at one temperature, if the blend has one."""
    kinetics = arm(key).kinetics
    if not isinstance(kinetics, Autocatalytic):
        return None
    return 1.0 / _at(kinetics.to_gel, temperature_c)


def _crossing(kinetics: Kinetics, lived: Path, ratio: float, factor: float = 1.0) -> float:
    """Return the days from the path's start until the ratio is reached for the first time."""
    days = lived.edges_days
    grown = age(kinetics, lived, days, factor).ln_ratio
    goal = float(np.log(ratio))
    after = int(np.argmax(grown >= goal))
    if grown[after] < goal:
        return float("inf")
    before = after - 1
    rise = grown[after] - grown[before]
    step = (goal - grown[before]) / rise if np.isfinite(rise) else 1.0
    return float(days[before] + step * (days[after] - days[before]) - days[0])


def _warehouse(month: int, years: int) -> Path:
    """Return the path of a tin filled on the first of a month: monthly means as steps, calendar months."""
    following = [(month - 1 + number) % 12 for number in range(12 * years)]
    # 2025 stands for every year: no February of 29 days
    lengths = [monthrange(2025, index + 1)[1] for index in following]
    daily: Floats = np.repeat([WAREHOUSE_C[index] for index in following], lengths)
    return Path(np.arange(daily.size + 1.0), daily)


def season_life_days(key: str, month: int, ratio: float = 2.0, factor: float = 1.0) -> float:
    """Return the life in the customer's warehouse of a tin filled on the first of a month (1 = January)."""
    return _crossing(arm(key).kinetics, _warehouse(month, 6), ratio, factor)


def annual_kinetic_mean_c(energy_kj_mol: float) -> float:
    """Return the constant temperature that gives the warehouse's yearly dose at this energy, [°C]."""
    term = Term(1.0, energy_kj_mol)
    monthly = np.array([_at(term, celsius) for celsius in WAREHOUSE_C])
    low, high = np.array([0.0]), np.array([60.0])
    for _ in range(60):
        middle = (low + high) / 2.0
        hotter = term.rate(middle) > monthly.mean()
        low, high = np.where(hotter, low, middle), np.where(hotter, middle, high)
    return float(low[0])


def fault_cost_days(key: str) -> float:
    """Return what the OVN-50 fault cost a tin, in days at 50 °C beyond those that passed."""
    kinetics = arm(key).kinetics
    if isinstance(kinetics, Growth):
        terms: tuple[Term, ...] = kinetics.terms
    else:
        terms = (kinetics.to_gel,) if isinstance(kinetics, Autocatalytic) else (kinetics.lag,)
    hot, ordinary = (sum(_at(term, celsius) for term in terms) for celsius in (_FAULT_C, 50.0))
    return _FAULT_HOURS / 24.0 * (hot / ordinary - 1.0)
