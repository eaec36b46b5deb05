"""A trip's temperatures as days at the storage temperature: what they cost, peak, hours above a line.

Times are days, temperatures °C, energies kJ/mol. Between two points the temperature runs straight; a stretch
without points longer than the gap is counted as unrecorded, at the warmest of what the record shows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stability.ageing.dose import acceleration, mean_kinetic_temperature
from stability.errors import InputError

__all__ = ["Trip", "dose_days", "hours_above", "trip_of"]

Array = npt.NDArray[np.float64]

STEPS = 24
"""Steps a stretch is cut into: the rate bends between two points that are far apart."""


@dataclass(frozen=True, slots=True)
class Trip:
    """Stretches of constant temperature: days, °C; `unrecorded_days` of them are assumed."""

    days: Array
    temperature_c: Array
    peak_c: float
    unrecorded_days: float

    @property
    def duration_days(self) -> float:
        """How long the trip took, [d]."""
        return float(self.days.sum())

    def mean_kinetic_c(self, energy_kj_mol: float) -> float:
        """Return the mean kinetic temperature, [°C]."""
        return mean_kinetic_temperature(self.days, self.temperature_c, energy_kj_mol)


def trip_of(at_days: npt.ArrayLike, temperature_c: npt.ArrayLike, *, gap_days: float) -> Trip:
    """Return a record as stretches.

    Parameters
    ----------
    at_days : array (n,)
        Times, increasing, n ≥ 2, [d].
    temperature_c : array (n,)
        Temperatures, [°C].
    gap_days : float
        Longest time between two points that counts as recorded, [d].

    Raises
    ------
    InputError
        For fewer than two points, times that do not increase, or values that are not finite.

    Examples
    --------
    >>> trip = trip_of([0.0, 1.0, 2.0], [23.0, 23.0, 23.0], gap_days=2.0)
    >>> round(trip.duration_days, 9), trip.peak_c, round(trip.mean_kinetic_c(83.144), 6)
    (2.0, 23.0, 23.0)
    """
    day, warm = np.asarray(at_days, dtype=np.float64), np.asarray(temperature_c, dtype=np.float64)
    if day.size < 2 or day.shape != warm.shape:
        raise InputError(f"the record holds {day.size} points; expected at least 2")
    if not (np.isfinite(day).all() and np.isfinite(warm).all()) or not (np.diff(day) > 0).all():
        raise InputError("the times of a record must increase, and every value be a number")
    lengths = np.diff(day)
    middle = (np.arange(STEPS) + 0.5) / STEPS
    between = warm[:-1, np.newaxis] + np.diff(warm)[:, np.newaxis] * middle
    blind = lengths > gap_days
    between[blind] = warm.max()
    return Trip(
        days=np.repeat(lengths / STEPS, STEPS),
        temperature_c=between.ravel(),
        peak_c=float(warm.max()),
        unrecorded_days=float(lengths[blind].sum()),
    )


def dose_days(trip: Trip, storage_c: float, energy_kj_mol: float) -> float:
    """Return what a trip counts as, [d at the storage temperature].

    >>> trip = trip_of([0.0, 2.0], [50.0, 50.0], gap_days=9.0)
    >>> round(dose_days(trip, 23.0, 83.144), 2)
    33.6
    """
    rate = acceleration(trip.temperature_c, storage_c, energy_kj_mol)
    return float((trip.days * rate).sum())


def hours_above(trip: Trip, line_c: float) -> float:
    """Return how long a trip was above a temperature, [h]."""
    return float(trip.days[trip.temperature_c > line_c].sum() * 24.0)
