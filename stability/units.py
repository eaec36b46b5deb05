"""The only converter of units, and the physical constants behind it.

Temperatures are °C at the bench and in the records, kelvin only inside formulas; viscosities are
mPa·s; energies kJ/mol; ageing is counted in days.
"""

from __future__ import annotations

import math

__all__ = [
    "DAYS_PER_MONTH",
    "GAS_CONSTANT_KJ",
    "SAME_TEMPERATURE_C",
    "SECONDS_PER_DAY",
    "ZERO_CELSIUS_K",
    "kelvin",
    "kinematic_to_dynamic",
    "months",
    "significant",
]

GAS_CONSTANT_KJ = 8.314462618e-3
"""Molar gas constant, [kJ/(mol·K)] (CODATA 2018, exact since the 2019 SI)."""

ZERO_CELSIUS_K = 273.15
"""0 °C in kelvin; 273.16 is the triple point of water and a classic slip."""

SAME_TEMPERATURE_C = 2.5
"""Stores nearer than this count as one temperature, and stand for a storage temperature, [°C]."""

SECONDS_PER_DAY = 86_400.0
DAYS_PER_MONTH = 365.25 / 12
"""Mean length of a calendar month, [d]."""


def kelvin(temperature_c: float) -> float:
    """Return the absolute temperature, [K].

    >>> kelvin(23.0)
    296.15
    """
    return temperature_c + ZERO_CELSIUS_K


def kinematic_to_dynamic(viscosity_mm2_s: float, density_g_ml: float) -> float:
    """Return the dynamic viscosity [mPa·s] of a kinematic one [mm²/s] and a density [g/mL].

    >>> kinematic_to_dynamic(100.0, 0.95)
    95.0
    """
    return viscosity_mm2_s * density_g_ml


def months(days: float) -> float:
    """Return a number of days as calendar months of mean length.

    >>> round(months(365.25), 6)
    12.0
    """
    return days / DAYS_PER_MONTH


def significant(value: float, digits: int = 3) -> str:
    """Write a number with so many significant digits and no exponent, for people.

    >>> [significant(v) for v in (0.012345, 3.14159, 398.2, 12345.0)]
    ['0.0123', '3.14', '398', '12300']
    """
    if value == 0 or not math.isfinite(value):
        return "0" if value == 0 else "–"
    decimals = digits - 1 - math.floor(math.log10(abs(value)))
    rounded = round(value, decimals)
    # 9.996 rounds up to 10.0: the digits are counted again on what is printed
    decimals = digits - 1 - math.floor(math.log10(abs(rounded)))
    return f"{rounded:.{max(decimals, 0)}f}"
