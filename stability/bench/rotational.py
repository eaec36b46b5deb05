"""The rotational viscometer: full-scale range, and viscosity from torque with its uncertainty.

Viscosities are mPa·s (= cP), speeds revolutions per minute, torque % of full scale. The sensor is specified
to ± 1 % of the full-scale range of the spindle and speed in use, so 10 % torque is ± 10 % (the viscometer
manuals' full-scale rule).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from stability.errors import InputError
from stability.units import significant

__all__ = [
    "Measured",
    "Range",
    "Setting",
    "accepted_range",
    "best_setting",
    "full_scale_mpas",
    "range_of",
    "settings_of",
    "viscosity_from_torque",
]

LOWEST_TORQUE_PCT = 10.0
HIGHEST_TORQUE_PCT = 100.0
COMFORTABLE_PCT = (20.0, 90.0)
AIM_PCT = 55.0
SENSOR_SHARE = 0.01
_EDGE_PCT = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """What the manual says of one spindle: full scale at one speed, or its factor for every speed."""

    spindle: str
    speed_rpm: float | None = None
    full_scale_mpas: float | None = None
    spindle_factor: float | None = None
    cell: str | None = None
    volume_ml: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One spindle at one speed, and the viscosity at 100 % torque there."""

    spindle: str
    speed_rpm: float
    full_scale_mpas: float
    cell: str | None = None
    volume_ml: float | None = None

    def torque_pct(self, viscosity_mpas: float) -> float:
        """Return the torque that a viscosity gives here."""
        return 100 * viscosity_mpas / self.full_scale_mpas

    def words(self, viscosity_mpas: float) -> str:
        """Return the setting as one says it, with the torque to be expected."""
        cell = f" in {self.cell}" if self.cell else ""
        torque = self.torque_pct(viscosity_mpas)
        return f"spindle {self.spindle}{cell} at {self.speed_rpm:g} rpm (about {torque:.0f} % torque)"


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


def range_of(
    spindle: str, speed_rpm: float, *, ranges: Sequence[Range], torque_constant: float | None = None
) -> float | None:
    """Return the full scale of a spindle at a speed, [mPa·s]; None where nothing was typed of the spindle.

    A range typed for this very speed wins, then the spindle's factor (full scale = torque constant × spindle
    factor × 10 000 ÷ rpm), then the range at another speed, which goes with 1 ÷ rpm by the same rule.
    """
    own = [each for each in ranges if _bare(each.spindle) == _bare(spindle)]
    exact = next((r.full_scale_mpas for r in own if r.full_scale_mpas and r.speed_rpm == speed_rpm), None)
    if exact is not None:
        return exact
    factor = next((r.spindle_factor for r in own if r.spindle_factor is not None), None)
    if factor is not None and torque_constant is not None:
        return full_scale_mpas(factor=torque_constant * factor, speed_rpm=speed_rpm)
    for each in own:
        if each.full_scale_mpas is not None and each.speed_rpm is not None:
            return each.full_scale_mpas * each.speed_rpm / _positive(speed_rpm, "the speed", "rpm")
    return None


def settings_of(
    ranges: Sequence[Range], *, torque_constant: float | None = None, speeds_rpm: Sequence[float] = ()
) -> tuple[Setting, ...]:
    """Return every spindle and speed with its full scale: ranges as typed, and the speeds there are."""
    wanted = {(r.spindle, r.speed_rpm) for r in ranges if r.speed_rpm is not None}
    wanted |= {(r.spindle, speed) for r in ranges for speed in speeds_rpm}
    found = []
    for spindle, speed in sorted((s, v) for s, v in wanted if v is not None):
        full = range_of(spindle, speed, ranges=ranges, torque_constant=torque_constant)
        if full is not None:
            typed = next(r for r in ranges if r.spindle == spindle)
            found.append(
                Setting(
                    spindle=spindle,
                    speed_rpm=speed,
                    full_scale_mpas=full,
                    cell=typed.cell,
                    volume_ml=typed.volume_ml,
                )
            )
    return tuple(found)


def best_setting(
    viscosity_mpas: float, settings: Sequence[Setting], *, spindle: str | None = None
) -> Setting | None:
    """Return the setting that lands at 20–90 % torque, nearest the middle; a spindle in use is kept.

    Another spindle than the last time asks for a bridge reading, another speed does not.
    """
    low, high = COMFORTABLE_PCT
    fit = [each for each in settings if low <= each.torque_pct(viscosity_mpas) <= high]
    same = [each for each in fit if spindle is not None and _bare(each.spindle) == _bare(spindle)]
    return min(same or fit, key=lambda each: abs(each.torque_pct(viscosity_mpas) - AIM_PCT), default=None)


def viscosity_from_torque(
    full_scale: float,
    torque_pct: float,
    *,
    spindle: str | None = None,
    speed_rpm: float | None = None,
    settings: Sequence[Setting] = (),
) -> Measured:
    """Return the viscosity and its uncertainty; below 10 % and above 100 % torque the reading is refused.

    The refusal names what would land at 20–90 %: of the instrument's `settings` the best, else the speeds
    that would do with this spindle.
    """
    _positive(full_scale, "the full-scale range", "mPa·s")
    if not math.isfinite(torque_pct) or torque_pct < 0:
        raise InputError(f"torque is 10 to 100 % of full scale, got {torque_pct:g} %")
    viscosity = full_scale * torque_pct / 100
    low, high = COMFORTABLE_PCT
    better = None
    if not low <= torque_pct <= high:
        best = best_setting(viscosity, settings, spindle=spindle)
        ways = [best.words(viscosity)] if best else [*_ways(torque_pct, speed_rpm)]
        better = f"{' or '.join(ways)}, to land at 20–90 %"
    if torque_pct < LOWEST_TORQUE_PCT - _EDGE_PCT:
        raise InputError(
            f"torque {torque_pct:g} % is under 10 %: the reading would be off by ± 10 % or more", hint=better
        )
    if torque_pct > HIGHEST_TORQUE_PCT + _EDGE_PCT:
        raise InputError(f"torque {torque_pct:g} % is over range", hint=better)
    return Measured(viscosity, SENSOR_SHARE * full_scale, f"next time {better}" if better else None)


def _ways(torque_pct: float, speed_rpm: float | None) -> Iterator[str]:
    """Yield what brings the torque up or down; it goes with the speed."""
    weak = torque_pct < COMFORTABLE_PCT[0]
    yield "a larger spindle" if weak else "a smaller spindle"
    word = "a higher speed" if weak else "a lower speed"
    if speed_rpm is None or torque_pct <= 0:
        yield word
    else:
        slow, fast = (speed_rpm * pct / torque_pct for pct in COMFORTABLE_PCT)
        yield f"{word} ({significant(slow)} to {significant(fast)} rpm with this one)"


def accepted_range(
    full_scale: float,
    certified_mpas: float,
    *,
    certificate_pct: float = 1.0,
    sensor_share: float = SENSOR_SHARE,
) -> tuple[float, float]:
    """Return what may be read on a certified oil: ± 1 % of full scale ± the oil's own tolerance.

    `sensor_share` is that of the sensor, 0.01 for spindles and 0.02 for cone and plate.
    """
    allowance = sensor_share * full_scale + certified_mpas * certificate_pct / 100
    return certified_mpas - allowance, certified_mpas + allowance


def _positive(value: float, what: str, unit: str) -> float:
    if not (math.isfinite(value) and value > 0):
        raise InputError(f"{what} is a positive number{f' in {unit}' if unit else ''}, got {value!r}")
    return value


def _bare(name: str) -> str:
    return "".join(sign for sign in name.casefold() if sign.isalnum())
