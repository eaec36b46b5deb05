"""The dose clock: ageing counted in days at the storage temperature, not in calendar days.

    dose(E) = Σ Δt · exp(−E·x)      x = (1/T − 1/T_s)/R

A reading carries its exposure as a short histogram of (days, x); temperatures are °C outside and kelvin
inside, x is [mol/kJ], energies are [kJ/mol], times [d].
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stability.errors import InputError
from stability.units import GAS_CONSTANT_KJ, ZERO_CELSIUS_K

__all__ = [
    "DEFAULT_ENERGY",
    "acceleration",
    "dose",
    "dose_and_slope",
    "inverse_temperature",
    "mean_kinetic_temperature",
    "q10_factor",
    "temperature_from_inverse",
]

Array = npt.NDArray[np.float64]

DEFAULT_ENERGY = 83.144
"""Activation energy of the trade's mean kinetic temperature, [kJ/mol] (USP <1160>: ΔH/R = 10 000 K)."""


def inverse_temperature(temperature_c: npt.ArrayLike, storage_c: npt.ArrayLike) -> Array:
    """Return x = (1/T − 1/T_s)/R, [mol/kJ]; negative above the storage temperature.

    >>> float(inverse_temperature(50.0, 23.0).round(6))
    -0.033932
    """
    t = np.asarray(temperature_c, dtype=np.float64) + ZERO_CELSIUS_K
    t_s = np.asarray(storage_c, dtype=np.float64) + ZERO_CELSIUS_K
    return np.asarray((1.0 / t - 1.0 / t_s) / GAS_CONSTANT_KJ)


def temperature_from_inverse(x: npt.ArrayLike, storage_c: float) -> Array:
    """Return the temperature [°C] whose x [mol/kJ] is given: the inverse of `inverse_temperature`.

    >>> float(temperature_from_inverse(inverse_temperature(50.0, 23.0), 23.0).round(9))
    50.0
    """
    t_s = storage_c + ZERO_CELSIUS_K
    return np.asarray(1.0 / (np.asarray(x) * GAS_CONSTANT_KJ + 1.0 / t_s) - ZERO_CELSIUS_K)


def dose(days: npt.ArrayLike, x: npt.ArrayLike, energy_kj_mol: npt.ArrayLike) -> Array:
    """Return the dose [d at the storage temperature] of exposures, summed over the last axis.

    Parameters
    ----------
    days : array (…, bins)
        Time spent in each bin, [d].
    x : array (…, bins)
        Mean x of each bin, [mol/kJ].
    energy_kj_mol : array (…)
        Activation energy, [kJ/mol].

    Examples
    --------
    One day at 50 °C and one at 23 °C, E = 75 kJ/mol:

    >>> float(dose([1.0, 1.0], inverse_temperature([50.0, 23.0], 23.0), 75.0).round(4))
    13.7423
    """
    energy = np.asarray(energy_kj_mol, dtype=np.float64)[..., np.newaxis]
    return np.asarray((np.asarray(days) * np.exp(-energy * np.asarray(x))).sum(axis=-1))


def dose_and_slope(days: Array, x: Array, energy_kj_mol: npt.ArrayLike) -> tuple[Array, Array]:
    """Return the dose and its derivative by the energy, −Σ Δt·x·e^{−E·x}; arguments as in `dose`."""
    energy = np.asarray(energy_kj_mol, dtype=np.float64)[..., np.newaxis]
    terms = days * np.exp(-energy * x)
    return terms.sum(axis=-1), -(terms * x).sum(axis=-1)


def acceleration(
    temperature_c: npt.ArrayLike, storage_c: npt.ArrayLike, energy_kj_mol: float = DEFAULT_ENERGY
) -> Array:
    """Return how many times faster ageing runs than at the storage temperature, [–].

    >>> float(acceleration(50.0, 23.0).round(3))
    16.798
    """
    return np.asarray(np.exp(-energy_kj_mol * inverse_temperature(temperature_c, storage_c)))


def q10_factor(temperature_c: float, storage_c: float, q10: float = 2.0) -> float:
    """Return the acceleration of the Q10 rule, Q10^((T − T_s)/10), [–].

    Q10 = 2 is the conservative default of ASTM F1980; it is not an activation energy: near 30 °C it
    equals 53 kJ/mol, near 45 °C 58 kJ/mol.

    >>> q10_factor(55.0, 25.0)
    8.0
    """
    if not q10 > 0.0:
        raise InputError(f"q10 is {q10}, expected a positive number")
    return float(q10 ** ((temperature_c - storage_c) / 10.0))


def mean_kinetic_temperature(
    days: npt.ArrayLike, temperature_c: npt.ArrayLike, energy_kj_mol: float = DEFAULT_ENERGY
) -> float:
    """Return the one temperature that ages as much as a history does, [°C].

        T = (E/R) / (−ln(Σ Δt·e^{−E/(R·T_i)} / Σ Δt))

    Parameters
    ----------
    days : array
        Durations (any unit, only their shares count), ≥ 0, not all 0.
    temperature_c : array
        Temperatures, [°C].
    energy_kj_mol : float
        Activation energy, [kJ/mol].

    Raises
    ------
    InputError
        No time at all, a negative duration, or an energy that is not positive.

    Examples
    --------
    >>> round(mean_kinetic_temperature([1, 1], [20.0, 30.0]), 4)
    26.2599
    """
    durations = np.asarray(days, dtype=np.float64)
    temperatures = np.asarray(temperature_c, dtype=np.float64)
    durations, temperatures = np.broadcast_arrays(durations, temperatures)
    if not energy_kj_mol > 0.0:
        raise InputError(f"activation energy is {energy_kj_mol} kJ/mol, expected a positive number")
    if durations.size == 0 or not durations.sum() > 0.0 or (durations < 0.0).any():
        raise InputError("a temperature history needs durations of 0 or more, not all of them 0")
    # relative to the warmest moment, so that no exponential underflows
    warmest = float(temperatures[durations > 0.0].max())
    x = inverse_temperature(temperatures, warmest)
    mean_rate = float(np.average(np.exp(-energy_kj_mol * x), weights=durations))
    return float(temperature_from_inverse(-np.log(mean_rate) / energy_kj_mol, warmest))
