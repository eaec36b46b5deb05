"""The liquid's temperature: accept, correct or repeat, and the correction to 23 °C.

Temperatures are °C *in the liquid*, viscosities mPa·s, coefficients % per °C (positive: thinner when warm).
Within 0.3 °C of 23 a reading is taken as it is, within 1.0 °C it is corrected and both values are kept,
beyond it is repeated (common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from stability.errors import InputError

__all__ = [
    "REFERENCE_C",
    "Coefficient",
    "Corrected",
    "TemperatureVerdict",
    "class_coefficient",
    "corrected",
    "measured_coefficient",
    "verdict",
]

REFERENCE_C = 23.0
ACCEPT_WITHIN_C = 0.3
CORRECT_WITHIN_C = 1.0
# 20.3 − 20.0 is 0.3000000000000007: the edges belong to the milder verdict
_EDGE_C = 1e-9


class TemperatureVerdict(StrEnum):
    """What a liquid temperature asks for."""

    ACCEPT = "accept"
    CORRECT = "correct"
    REPEAT = "repeat"


@dataclass(frozen=True, slots=True)
class Coefficient:
    """How much thinner a blend gets per °C; a `class_default` was not measured on this blend."""

    pct_per_c: float
    class_default: bool

    @property
    def words(self) -> str:
        """The coefficient with where it comes from."""
        origin = "default of its class, not measured" if self.class_default else "measured on this blend"
        return f"{self.pct_per_c:.1f} %/°C ({origin})"


@dataclass(frozen=True, slots=True)
class Corrected:
    """A viscosity as read and at the reference temperature; both are kept."""

    raw_mpas: float
    viscosity_mpas: float
    temperature_c: float | None
    coefficient: Coefficient | None
    verdict: TemperatureVerdict


def verdict(temperature_c: float, *, reference_c: float = REFERENCE_C) -> TemperatureVerdict:
    """Say whether a reading at this liquid temperature is accepted, corrected or repeated."""
    if not math.isfinite(temperature_c):
        raise InputError(f"a liquid temperature is a number in °C, got {temperature_c!r}")
    off = abs(temperature_c - reference_c) - _EDGE_C
    if off <= ACCEPT_WITHIN_C:
        return TemperatureVerdict.ACCEPT
    return TemperatureVerdict.CORRECT if off <= CORRECT_WITHIN_C else TemperatureVerdict.REPEAT


def class_coefficient(level_pct: float | None) -> Coefficient:
    """Return the default for a blend with so much thinner: 8 neat, 6.2 to 15 %, 4.4 above it, [%/°C].

    From flow activation energies of 58, 45 and 32 kJ/mol at 23 °C, E/(R·T²); planning figures of the trade.
    """
    if not level_pct or level_pct <= 0:
        return Coefficient(8.0, class_default=True)
    return Coefficient(6.2 if level_pct < 15 else 4.4, class_default=True)


def measured_coefficient(points: Sequence[tuple[float, float]]) -> Coefficient:
    """Return a blend's own coefficient from a run at 20/23/26 °C: least squares of ln η against °C.

    `points` are temperatures [°C] and viscosities [mPa·s].
    """
    if len({temperature for temperature, _ in points}) < 2 or any(value <= 0 for _, value in points):
        raise InputError("a temperature coefficient needs positive viscosities at two temperatures or more")
    mean_c = sum(temperature for temperature, _ in points) / len(points)
    spread = sum((temperature - mean_c) ** 2 for temperature, _ in points)
    slope = sum((temperature - mean_c) * math.log(value) for temperature, value in points) / spread
    return Coefficient(-100 * slope, class_default=False)


def corrected(
    viscosity_mpas: float,
    temperature_c: float | None,
    *,
    coefficient: Coefficient,
    reference_c: float = REFERENCE_C,
) -> Corrected:
    """Return the viscosity at the reference temperature, beside the one that was read.

    Computes η·exp(c·(T − T_ref)). Without a temperature, or within 0.3 °C, the value is taken as read. Beyond
    1 °C the corrected value helps to judge, but the verdict is to repeat.
    """
    if temperature_c is None:
        return Corrected(viscosity_mpas, viscosity_mpas, None, None, TemperatureVerdict.ACCEPT)
    said = verdict(temperature_c, reference_c=reference_c)
    if said is TemperatureVerdict.ACCEPT:
        return Corrected(viscosity_mpas, viscosity_mpas, temperature_c, None, said)
    factor = math.exp(coefficient.pct_per_c / 100 * (temperature_c - reference_c))
    return Corrected(viscosity_mpas, viscosity_mpas * factor, temperature_c, coefficient, said)
