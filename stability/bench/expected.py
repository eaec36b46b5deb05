"""What is expected of one reading: the band of a forecast, or of what is known without one.

Viscosities are mPa·s, ages days, spreads on the log scale.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from stability.units import significant

__all__ = ["Band", "Knot", "band_from_previous", "band_from_twins", "band_words", "interpolate_band"]

LARGEST_LN_MPAS = 100.0
"""Ends of a band beyond this say nothing, and would not fit into a number."""
Z_997 = 2.9677
"""Standard normal quantile of a two-sided 99.7 % band."""

# Without a forecast a tin is expected between a little thinner and well grown since its last reading.
_FROM_PREVIOUS = (0.15, 0.20)
# Tins of one blend that stood alike differ by their filling, their lid and the reading (common practice).
_TWIN_SD = 0.05
_TWIN_GROWTH_SHARE = 0.10


@dataclass(frozen=True, slots=True)
class Band:
    """What a forecast expects of one reading: mean and spread of ln η."""

    ln_mean: float
    sd: float

    @property
    def low_mpas(self) -> float:
        """Lower end of the 99.7 % band."""
        return math.exp(self.ln_mean - Z_997 * self.sd)

    @property
    def high_mpas(self) -> float:
        """Upper end of the 99.7 % band."""
        return math.exp(min(self.ln_mean + Z_997 * self.sd, LARGEST_LN_MPAS))

    def distance(self, viscosity_mpas: float) -> float:
        """How many spreads a value lies from the middle."""
        return abs(math.log(viscosity_mpas) - self.ln_mean) / self.sd

    def holds(self, viscosity_mpas: float) -> bool:
        """Say whether a value lies in the 99.7 % band."""
        return self.distance(viscosity_mpas) <= Z_997


@dataclass(frozen=True, slots=True)
class Knot:
    """One point of a sample's expected band, kept with its forecast."""

    age_days: float
    ln_mean: float
    sd: float


def interpolate_band(knots: Sequence[Knot], at: float) -> Band | None:
    """Return the expected band at an age: straight lines between the knots.

    Beyond the last knot the last line goes on for one more span of its own length, its spread never
    shrinking; farther out, or before the first knot, nothing is known.
    """
    ordered = sorted(knots, key=lambda knot: knot.age_days)
    if not ordered or at < ordered[0].age_days - 1e-9:
        return None
    if len(ordered) == 1:
        return Band(ordered[0].ln_mean, ordered[0].sd) if at <= ordered[0].age_days + 1e-9 else None
    place = max(index for index in range(len(ordered) - 1) if index == 0 or ordered[index].age_days <= at)
    left, right = ordered[place], ordered[place + 1]
    span = right.age_days - left.age_days
    share = 0.0 if span == 0 else (at - left.age_days) / span
    if share > 2:
        return None
    sd = left.sd + share * (right.sd - left.sd)
    if share > 1:
        sd = max(right.sd, sd)
    return Band(left.ln_mean + share * (right.ln_mean - left.ln_mean), sd)


def band_from_previous(previous_mpas: float) -> Band:
    """Return what a tin's last reading alone lets expect: a wide band."""
    growth, sd = _FROM_PREVIOUS
    return Band(math.log(previous_mpas) + growth, sd)


def band_from_twins(twins_mpas: Sequence[float], *, initial_mpas: float | None = None) -> Band:
    """Return what tins of the same blend that stood alike let expect.

    Their rates differ too: a tenth of what they have grown since `initial_mpas` is added to the spread.
    """
    mean = sum(math.log(value) for value in twins_mpas) / len(twins_mpas)
    grown = 0.0 if initial_mpas is None else abs(mean - math.log(initial_mpas))
    spread = math.hypot(_TWIN_SD, _TWIN_GROWTH_SHARE * grown)
    return Band(mean, spread * math.sqrt(1 + 1 / len(twins_mpas)))


def band_words(band: Band) -> str:
    """Return the ends of a band for people.

    >>> band_words(Band(5.991, 0.0168))
    '380–420'
    """
    return f"{significant(band.low_mpas)}–{significant(band.high_mpas)}"
