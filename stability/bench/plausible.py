"""Doubts at entry: is this reading what its forecast expects, and if not, which slip is the likeliest.

Viscosities are mPa·s, temperatures °C, spreads on the log scale. Nothing here stores or refuses a reading: a
doubt asks while the sample is still in the cup. Only `unit_smell` names what must not be stored.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from stability.bench.temperature import (
    Coefficient,
    TemperatureVerdict,
    class_coefficient,
    corrected,
)
from stability.units import significant

__all__ = [
    "Band",
    "Doubt",
    "DoubtKind",
    "Entry",
    "Knot",
    "Neighbour",
    "doubts",
    "echo",
    "interpolate_band",
    "unit_smell",
]

LARGEST_LN_MPAS = 100.0
"""Ends of a band beyond this say nothing, and would not fit into a number."""
Z_997 = 2.9677
"""Standard normal quantile of a two-sided 99.7 % band."""

SMELL_FACTOR = 1000.0
GRADE_THAT_EXPLAINS = 2
# Without a forecast a tin is expected between a little thinner and well grown since its last reading.
_FROM_PREVIOUS = (0.15, 0.20)
_WARM_AT_MOST_C = 8.0


class DoubtKind(StrEnum):
    """What may have gone wrong, in words of the bench."""

    TEN_TIMES = "ten_times"
    TENTH = "tenth"
    NEIGHBOUR = "neighbour"
    COPIED = "copied"
    WARM = "warm"
    COLD = "cold"
    OUTSIDE = "outside"


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """The reading as it is about to be stored; `viscosity_mpas` as read, before any correction."""

    viscosity_mpas: float
    temperature_c: float | None = None
    gel_grade: int | None = None
    coefficient: Coefficient | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Neighbour:
    """A tin beside this one on the round: its value as entered today, and its own band."""

    sample: str
    viscosity_mpas: float | None = None
    band: Band | None = None


@dataclass(frozen=True, slots=True)
class Doubt:
    """One possible slip; `blocking` is always false, a doubt never stops the bench."""

    kind: DoubtKind
    sentence: str
    blocking: bool = False


def unit_smell(value_mpas: float, previous_mpas: float | None, gel_grade: int | None) -> str | None:
    """Return the fault of a value that smells of another unit, or None.

    More than 1000 × or less than 1/1000 of the sample's previous reading is refused, unless it is graded 2 or
    worse.
    """
    if previous_mpas is None or (gel_grade is not None and gel_grade >= GRADE_THAT_EXPLAINS):
        return None
    ratio = value_mpas / previous_mpas
    if 1 / SMELL_FACTOR <= ratio <= SMELL_FACTOR:
        return None
    size = "more than 1000 times" if ratio > 1 else "less than a thousandth of"
    return (
        f"viscosity {significant(value_mpas)} mPa·s is {size} the sample's previous "
        f"{significant(previous_mpas)} mPa·s: another unit? (Pa·s × 1000 = mPa·s)"
    )


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


def doubts(
    entry: Entry,
    *,
    previous_mpas: float | None,
    band: Band | None,
    neighbours: Sequence[Neighbour] = (),
    level_pct: float | None = None,
) -> tuple[Doubt, ...]:
    """Return the doubts about a reading, the likeliest slip first; none where it is what was expected.

    A liquid more than 1 °C off is always doubted. Otherwise only a value outside the 99.7 % band is, and each
    slip that would bring it back is named in the order of how well it explains it and how common it is.
    """
    coefficient = entry.coefficient or class_coefficient(level_pct)
    at_reference = corrected(entry.viscosity_mpas, entry.temperature_c, coefficient=coefficient)
    expected = band if band is not None else _band_from(previous_mpas)
    graded = entry.gel_grade is not None and entry.gel_grade >= GRADE_THAT_EXPLAINS
    outside = expected is not None and not expected.holds(at_reference.viscosity_mpas)
    found: list[tuple[float, Doubt]] = []
    if at_reference.verdict is TemperatureVerdict.REPEAT:
        found.append((math.inf, _off_temperature(entry, at_reference.viscosity_mpas, coefficient)))
    if outside and not graded and expected is not None:
        value = at_reference.viscosity_mpas
        found.extend(_decimal_slips(value, expected))
        found.extend(_copies(entry.viscosity_mpas, previous_mpas, neighbours, expected))
        if entry.temperature_c is None:
            found.extend(_unseen_temperature(value, expected, coefficient))
        found.append((-math.inf, _outside(value, expected, measured=band is not None)))
    return tuple(doubt for _, doubt in sorted(found, key=lambda pair: -pair[0]))


def echo(
    words: str,
    viscosity_mpas: float,
    *,
    initial_mpas: float | None = None,
    band: Band | None = None,
    gel: str | None = None,
) -> str:
    """Return the answer to an entry in words.

    >>> echo("0417-P, xylene 20 %, 50 °C, day 21", 398, initial_mpas=278.3, band=Band(5.991, 0.0168))
    '0417-P, xylene 20 %, 50 °C, day 21: 398 mPa·s, up 43 % (expected 380–420)'
    """
    text = f"{words}: {significant(viscosity_mpas)} mPa·s"
    if initial_mpas:
        change = 100 * (viscosity_mpas / initial_mpas - 1)
        rounded = round(change)
        text += ", unchanged" if rounded == 0 else f", {'up' if change > 0 else 'down'} {abs(rounded)} %"
    if gel:
        text += f", {gel}"
    if band is not None:
        text += f" (expected {_range(band)})"
    return text


def _band_from(previous_mpas: float | None) -> Band | None:
    if previous_mpas is None:
        return None
    growth, sd = _FROM_PREVIOUS
    return Band(math.log(previous_mpas) + growth, sd)


def _score(band: Band, value: float, commonness: float) -> float:
    """Log of how well a slip explains a value: how common it is × how likely the value would then be."""
    return math.log(commonness) - band.distance(value) ** 2 / 2


def _decimal_slips(value: float, band: Band) -> Iterator[tuple[float, Doubt]]:
    for factor, kind, words in (
        (10, DoubtKind.TEN_TIMES, "ten times too much"),
        (0.1, DoubtKind.TENTH, "a tenth"),
    ):
        meant = value / factor
        if band.holds(meant):
            sentence = f"{words}? {significant(meant)} mPa·s would fit what is expected, {_range(band)}"
            yield _score(band, meant, 0.3), Doubt(kind, sentence)


def _copies(
    typed: float, previous_mpas: float | None, neighbours: Sequence[Neighbour], band: Band
) -> Iterator[tuple[float, Doubt]]:
    if previous_mpas is not None and typed == previous_mpas:
        sentence = f"this is the tin's last value to the digit: copied? expected {_range(band)}"
        yield math.log(0.5), Doubt(DoubtKind.COPIED, sentence)
    for neighbour in neighbours:
        same = neighbour.viscosity_mpas is not None and neighbour.viscosity_mpas == typed
        if same:
            sentence = f"the same value was entered for {neighbour.sample}: the row above?"
            yield math.log(0.4), Doubt(DoubtKind.NEIGHBOUR, sentence)
        elif neighbour.band is not None and neighbour.band.holds(typed):
            sentence = (
                f"it would fit {neighbour.sample}, expected {_range(neighbour.band)}: tins or rows swapped?"
            )
            yield _score(neighbour.band, typed, 0.2), Doubt(DoubtKind.NEIGHBOUR, sentence)


def _unseen_temperature(value: float, band: Band, coefficient: Coefficient) -> Iterator[tuple[float, Doubt]]:
    """Name the temperature that would explain the value, where it is a likely one."""
    off_c = (band.ln_mean - math.log(value)) / (coefficient.pct_per_c / 100)
    if 0.3 < abs(off_c) <= _WARM_AT_MOST_C:
        kind = DoubtKind.WARM if off_c > 0 else DoubtKind.COLD
        sentence = f"{kind.value} tin? at {23 + off_c:.0f} °C it would read this; measure in the liquid"
        yield math.log(0.2) - (off_c / 3) ** 2 / 2, Doubt(kind, sentence)


def _off_temperature(entry: Entry, at_reference: float, coefficient: Coefficient) -> Doubt:
    warm = entry.temperature_c is not None and entry.temperature_c > 23
    return Doubt(
        DoubtKind.WARM if warm else DoubtKind.COLD,
        f"the liquid is at {entry.temperature_c:g} °C: repeat at 23 °C; at 23 °C this would be about "
        f"{significant(at_reference)} mPa·s by {coefficient.words}",
    )


def _outside(value: float, band: Band, *, measured: bool) -> Doubt:
    origin = "its forecast" if measured else "its last reading"
    return Doubt(
        DoubtKind.OUTSIDE,
        f"{significant(value)} mPa·s is outside what {origin} lets expect, {_range(band)}: "
        "lid, spindle, cup? measure again; if it stays, keep it with a reason",
    )


def _range(band: Band) -> str:
    return f"{significant(band.low_mpas)}–{significant(band.high_mpas)}"
