"""How long a tin lasts in a warehouse with seasons: its life by month of filling.

Convention: filled on the 1st, calendar months of a year of 365 days, each at its mean temperature (steps).
Lives are days; dose is days at the storage temperature; temperatures °C; energies kJ/mol.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from stability.units import GAS_CONSTANT_KJ, kelvin

__all__ = ["CONVENTION", "MONTH_DAYS", "kinetic_mean_c", "lives_by_month", "monthly_rates", "season_days"]

MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
CONVENTION = "filled on the 1st; calendar months, each at its mean temperature; a year of 365 days"
MOST_YEARS = 20


def monthly_rates(means_c: Sequence[float], *, storage_c: float, energy_kj_mol: float) -> tuple[float, ...]:
    """Return what a day of each month costs, in days at the storage temperature.

    >>> [round(rate, 2) for rate in monthly_rates([23.0, 38.0], storage_c=23.0, energy_kj_mol=72.0)]
    [1.0, 4.09]
    """
    scale = energy_kj_mol / GAS_CONSTANT_KJ
    return tuple(math.exp(-scale * (1 / kelvin(mean) - 1 / kelvin(storage_c))) for mean in means_c)


def season_days(dose_days: float, rates: Sequence[float], month: int) -> float | None:
    """Return after how many days a tin filled in a month (1 = January) has had a dose; None beyond 20 years.

    >>> season_days(31.0 + 14.0, [1.0, 0.5] + [1.0] * 10, 1)
    59.0
    """
    left, days = dose_days, 0.0
    for step in range(12 * MOST_YEARS):
        place = (month - 1 + step) % 12
        cost = MONTH_DAYS[place] * rates[place]
        if cost >= left:
            return days + left / rates[place]
        left -= cost
        days += MONTH_DAYS[place]
    return None


def lives_by_month(
    dose_days: float, means_c: Sequence[float], *, storage_c: float, energies_kj_mol: Sequence[float]
) -> tuple[float | None, ...]:
    """Return the life by month of filling, January first; of several energies the worst counts."""
    every = [monthly_rates(means_c, storage_c=storage_c, energy_kj_mol=energy) for energy in energies_kj_mol]
    lives = []
    for month in range(1, 13):
        found = [days for rates in every if (days := season_days(dose_days, rates, month)) is not None]
        lives.append(min(found, default=None))
    return tuple(lives)


def kinetic_mean_c(means_c: Sequence[float], energy_kj_mol: float) -> float:
    """Return the one temperature that costs as much in a year as the months do, [°C]."""
    warmest = max(means_c)
    rates = monthly_rates(means_c, storage_c=warmest, energy_kj_mol=energy_kj_mol)
    mean = sum(days * rate for days, rate in zip(MONTH_DAYS, rates, strict=True)) / 365
    inverse = 1 / kelvin(warmest) - math.log(mean) * GAS_CONSTANT_KJ / energy_kj_mol
    return 1 / inverse - kelvin(0.0)
