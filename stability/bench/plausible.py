"""Doubts at entry: is this reading what its forecast expects, and if not, which slip is the likeliest.

Viscosities are mPa·s, temperatures °C, spreads on the log scale. Nothing here stores or refuses a reading: a
doubt asks while the sample is still in the cup. Only `unit_smell` names what must not be stored.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from stability.bench.expected import (
    Z_997,
    Band,
    Knot,
    band_from_previous,
    band_from_twins,
    band_words,
    interpolate_band,
)
from stability.bench.mass import MassChange
from stability.bench.slips import (
    Doubt,
    DoubtKind,
    Neighbour,
    OtherWay,
    Scored,
    copies,
    decimal_slips,
    mass_slips,
    off_temperature,
    other_ways,
    outside,
    unseen_temperature,
)
from stability.bench.temperature import Coefficient, TemperatureVerdict, class_coefficient, corrected
from stability.units import significant

__all__ = [
    "Z_997",
    "Band",
    "Doubt",
    "DoubtKind",
    "Entry",
    "Knot",
    "Known",
    "Neighbour",
    "OtherWay",
    "doubts",
    "echo",
    "interpolate_band",
    "mass_doubts",
    "unit_smell",
]

DOUBT_AT = 3.5
"""How many spreads off a value is doubted for that alone: a forecast knows its own spread to a fifth or so.

Between the edge of the 99.7 % band and this only a value that was somewhere else before is doubted.
"""
SMELL_FACTOR = 1000.0
GRADE_THAT_EXPLAINS = 2
_COPIED = frozenset({DoubtKind.COPIED, DoubtKind.NEIGHBOUR})


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """The reading as it is about to be stored; `viscosity_mpas` as read, before any correction.

    `by_spindle` says that a rotational viscometer read it, or that nobody knows what did.
    """

    viscosity_mpas: float
    temperature_c: float | None = None
    gel_grade: int | None = None
    coefficient: Coefficient | None = None
    by_spindle: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What else is known where an entry is judged.

    `twins_mpas` are tins of the blend that stood alike, `initial_mpas` the tin's own first reading, `ways`
    what another spindle, speed or cup would have given.
    """

    twins_mpas: Sequence[float] = ()
    initial_mpas: float | None = None
    ways: Sequence[OtherWay] = ()
    mass: MassChange | None = None


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


def doubts(
    entry: Entry,
    *,
    previous_mpas: float | None,
    band: Band | None,
    neighbours: Sequence[Neighbour] = (),
    level_pct: float | None = None,
    known: Known | None = None,
) -> tuple[Doubt, ...]:
    """Return the doubts about a reading, the likeliest slip first; none where it is what was expected.

    A liquid more than 1 °C off is always doubted, and so is a tin that lost or gained too much mass.
    Otherwise only a value too far from its band is, and each slip that would bring it back is named in the
    order of how well it explains it and how common it is.
    """
    told = known or Known()
    coefficient = entry.coefficient or class_coefficient(level_pct)
    at_reference = corrected(entry.viscosity_mpas, entry.temperature_c, coefficient=coefficient)
    expected, origin = _expected(band, previous_mpas, told)
    found: list[Scored] = []
    if at_reference.verdict is TemperatureVerdict.REPEAT:
        found.append(
            (math.inf, off_temperature(entry.temperature_c, at_reference.viscosity_mpas, coefficient))
        )
    found.extend(mass_slips(at_reference.viscosity_mpas, told.mass, expected))
    graded = entry.gel_grade is not None and entry.gel_grade >= GRADE_THAT_EXPLAINS
    if expected is not None and not graded:
        value = at_reference.viscosity_mpas
        slips = list(copies(entry.viscosity_mpas, previous_mpas, neighbours, expected))
        far = expected.distance(value) > DOUBT_AT
        if far or (not expected.holds(value) and any(doubt.kind in _COPIED for _, doubt in slips)):
            slips.extend(decimal_slips(value, expected))
            slips.extend(other_ways(value, told.ways, expected, by_spindle=entry.by_spindle))
            if entry.temperature_c is None:
                slips.extend(unseen_temperature(value, expected, coefficient))
            slips.append((-math.inf, outside(value, expected, origin=origin, twins=neighbours)))
            found.extend(slips)
    return tuple(doubt for _, doubt in sorted(found, key=lambda pair: -pair[0]))


def mass_doubts(change: MassChange | None) -> tuple[Doubt, ...]:
    """Return what the balance alone gives to doubt, where no viscosity was read."""
    return tuple(doubt for _, doubt in mass_slips(1.0, change, None))


def _expected(band: Band | None, previous_mpas: float | None, known: Known) -> tuple[Band | None, str]:
    """Return what is expected and who says so: the forecast, else the twins, else the last reading."""
    if band is not None:
        return band, "its forecast"
    if known.twins_mpas:
        return band_from_twins(known.twins_mpas, initial_mpas=known.initial_mpas), "the same blend beside it"
    if previous_mpas is not None:
        return band_from_previous(previous_mpas), "its last reading"
    return None, ""


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
        text += f" (expected {band_words(band)})"
    return text
