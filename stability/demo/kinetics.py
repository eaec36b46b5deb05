"""How the invented blends really age: rates, energies, lag, run-away to gel, a start that falls.

The state of a tin is integrated over its true temperature, step by step. Times are days, rates 1/d,
energies kJ/mol, temperatures °C; `ln_ratio` is ln(η/η0) of the 23 °C viscosity.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Autocatalytic", "Floats", "Growth", "Kinetics", "Lagged", "Path", "State", "Term", "age"]

Floats = NDArray[np.float64]

_GAS_CONSTANT = 8.314462618e-3
_ZERO_C = 273.15


@dataclass(frozen=True, slots=True)
class Term:
    """One reaction: a rate at one temperature and its activation energy."""

    per_day: float
    energy_kj_mol: float
    at_c: float = 23.0

    def rate(self, temperature_c: Floats) -> Floats:
        """Return k(T), [1/d]."""
        x = 1.0 / (temperature_c + _ZERO_C) - 1.0 / (self.at_c + _ZERO_C)
        rate: Floats = self.per_day * np.exp(-self.energy_kj_mol / _GAS_CONSTANT * x)
        return rate


@dataclass(frozen=True, slots=True)
class Growth:
    """ln η grows by the sum of its terms; `fall` is what the start loses within a few equivalent days."""

    terms: tuple[Term, ...]
    fall: float = 0.0
    fall_days: float = 4.0


@dataclass(frozen=True, slots=True)
class Lagged:
    """Flat until the scavenger is used up (∫ lag dt = 1), then steady growth."""

    lag: Term
    growth: Term


@dataclass(frozen=True, slots=True)
class Autocatalytic:
    """η = η0 (1 − x(u))^−s with x(u) = (e^(bu) − 1)/(e^b − 1), du = dt/tg(T); gel at u = 1."""

    to_gel: Term
    b: float = 3.0
    s: float = 1.5


Kinetics = Growth | Lagged | Autocatalytic


@dataclass(frozen=True, slots=True)
class Path:
    """A tin's true history: step edges since day 0 [d], (n + 1,), and the temperature of each step, (n,)."""

    edges_days: Floats
    temperature_c: Floats

    def since_start(self, per_step: Floats, at_days: Floats) -> Floats:
        """Return the integral of a stepwise rate from the first edge to each asked day."""
        total = np.concatenate(([0.0], np.cumsum(per_step * np.diff(self.edges_days))))
        return np.interp(at_days, self.edges_days, total)


@dataclass(frozen=True, slots=True)
class State:
    """The state at each asked day: ln(η/η0) (inf once gelled) and the share u of the way to the gel."""

    ln_ratio: Floats
    gel_share: Floats


def _steady(kinetics: Growth, path: Path, at_days: Floats, factor: float) -> State:
    rate = sum((term.rate(path.temperature_c) for term in kinetics.terms), np.zeros_like(path.temperature_c))
    ln_ratio = path.since_start(factor * rate, at_days)
    if kinetics.fall:
        first = kinetics.terms[0]
        equivalent = path.since_start(factor * first.rate(path.temperature_c) / first.per_day, at_days)
        ln_ratio = ln_ratio + np.log1p(kinetics.fall * np.expm1(-equivalent / kinetics.fall_days))
    return State(ln_ratio, np.zeros_like(ln_ratio))


def _lagged(kinetics: Lagged, path: Path, at_days: Floats, factor: float) -> State:
    step = factor * kinetics.lag.rate(path.temperature_c) * np.diff(path.edges_days)
    used = np.cumsum(step)
    # only the part of the crossing step that lies behind the end of the lag grows
    growing = np.clip((used - 1.0) / step, 0.0, 1.0)
    rate = factor * kinetics.growth.rate(path.temperature_c) * growing
    ln_ratio = path.since_start(rate, at_days)
    return State(ln_ratio, np.zeros_like(ln_ratio))


def _run_away(kinetics: Autocatalytic, path: Path, at_days: Floats, factor: float) -> State:
    share = path.since_start(factor * kinetics.to_gel.rate(path.temperature_c), at_days)
    x = np.expm1(kinetics.b * np.minimum(share, 1.0)) / np.expm1(kinetics.b)
    fluid = share < 1.0
    ln_ratio = np.where(fluid, -kinetics.s * np.log1p(-np.where(fluid, x, 0.0)), np.inf)
    return State(ln_ratio, share)


def age(kinetics: Kinetics, path: Path, at_days: Floats, factor: float = 1.0) -> State:
    """Return the state after the path's temperatures; `factor` is the tin's own rate factor."""
    if isinstance(kinetics, Growth):
        return _steady(kinetics, path, at_days, factor)
    if isinstance(kinetics, Lagged):
        return _lagged(kinetics, path, at_days, factor)
    return _run_away(kinetics, path, at_days, factor)
