"""The rotational viscometer: full-scale range, and viscosity from torque with its uncertainty.

Viscosities are mPa·s (= cP), speeds revolutions per minute, torque % of full scale. The sensor is specified
to ± 1 % of the full-scale range of the spindle and speed in use, so 10 % torque is ± 10 % (the viscometer
manuals' full-scale rule).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from stability.errors import InputError

__all__ = ["Measured", "accepted_range", "full_scale_mpas", "viscosity_from_torque"]

LOWEST_TORQUE_PCT = 10.0
HIGHEST_TORQUE_PCT = 100.0
COMFORTABLE_PCT = (20.0, 90.0)
SENSOR_SHARE = 0.01


@dataclass(frozen=True, slots=True)
class Measured:
    """A viscosity with the ± of the torque sensor; `advice` is for readings outside 20–90 % torque."""

    viscosity_mpas: float
    uncertainty_mpas: float
    advice: str | None = None


def full_scale_mpas(
    *, speed_rpm: float | None = None, full_scale_mpas: float | None = None, factor: float | None = None
) -> float:
    """Return the viscosity at 100 % torque: given directly, or factor × 10 000 ÷ speed.

    `factor` is torque constant × spindle constant as the manual lists them.

    >>> full_scale_mpas(factor=10, speed_rpm=2)
    50000.0
    """
    if full_scale_mpas is not None:
        return _positive(full_scale_mpas, "the full-scale range", "mPa·s")
    if factor is None:
        raise InputError(
            "the range of the spindle is not known",
            hint="give the instrument its full_scale_mpas, or the factor of its spindle",
        )
    if speed_rpm is None:
        raise InputError("a spindle factor needs the speed in rpm")
    return _positive(factor, "the spindle factor", "") * 10_000 / _positive(speed_rpm, "the speed", "rpm")


def viscosity_from_torque(full_scale: float, torque_pct: float) -> Measured:
    """Return the viscosity and its uncertainty; below 10 % and above 100 % torque the reading is refused."""
    _positive(full_scale, "the full-scale range", "mPa·s")
    if not math.isfinite(torque_pct) or torque_pct < 0:
        raise InputError(f"torque is 10 to 100 % of full scale, got {torque_pct:g} %")
    if torque_pct < LOWEST_TORQUE_PCT:
        raise InputError(
            f"torque {torque_pct:g} % is under 10 %: the reading would be off by ± 10 % or more",
            hint="a larger spindle or a higher speed, to land at 20–90 %",
        )
    if torque_pct > HIGHEST_TORQUE_PCT:
        raise InputError(
            f"torque {torque_pct:g} % is over range",
            hint="a smaller spindle or a lower speed, to land at 20–90 %",
        )
    low, high = COMFORTABLE_PCT
    advice = None
    if torque_pct < low:
        advice = "next time a larger spindle or a higher speed: aim at 20–90 % torque"
    elif torque_pct > high:
        advice = "next time a smaller spindle or a lower speed: aim at 20–90 % torque"
    return Measured(full_scale * torque_pct / 100, SENSOR_SHARE * full_scale, advice)


def accepted_range(
    full_scale: float, certified_mpas: float, *, certificate_pct: float = 1.0
) -> tuple[float, float]:
    """Return what may be read on a certified oil: ± 1 % of full scale ± the oil's own tolerance."""
    allowance = SENSOR_SHARE * full_scale + certified_mpas * certificate_pct / 100
    return certified_mpas - allowance, certified_mpas + allowance


def _positive(value: float, what: str, unit: str) -> float:
    if not (math.isfinite(value) and value > 0):
        raise InputError(f"{what} is a positive number{f' in {unit}' if unit else ''}, got {value!r}")
    return value
