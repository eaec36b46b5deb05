"""The slips of a bench, one by one: which would bring an unexpected value back to what was expected.

Each is a doubt with a score, the log of how common the slip is times how likely the value would then be.
Viscosities are mPa·s, temperatures °C.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from stability.bench.expected import Band, band_words
from stability.bench.mass import MassChange, loss_words, thickened_by
from stability.bench.temperature import Coefficient
from stability.units import significant

__all__ = [
    "Doubt",
    "DoubtKind",
    "Neighbour",
    "OtherWay",
    "Scored",
    "copies",
    "decimal_slips",
    "mass_slips",
    "off_temperature",
    "other_ways",
    "outside",
    "unseen_temperature",
]

_WARM_AT_MOST_C = 8.0
# Spindles and speeds follow each other by these steps; ten is the decimal point's.
_STEPS = (2.0, 2.5, 4.0, 5.0)


class DoubtKind(StrEnum):
    """What may have gone wrong, in words of the bench."""

    TEN_TIMES = "ten_times"
    TENTH = "tenth"
    NEIGHBOUR = "neighbour"
    COPIED = "copied"
    WARM = "warm"
    COLD = "cold"
    SPINDLE = "spindle"
    CUP = "cup"
    LOSS = "loss"
    LID = "lid"
    OUTSIDE = "outside"


@dataclass(frozen=True, slots=True)
class Doubt:
    """One possible slip; `blocking` is always false, a doubt never stops the bench."""

    kind: DoubtKind
    sentence: str
    blocking: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Neighbour:
    """A tin beside this one on the round: its value as entered today, and its own band.

    A `twin` is of the same blend and stood alike.
    """

    sample: str
    viscosity_mpas: float | None = None
    band: Band | None = None
    twin: bool = False


@dataclass(frozen=True, slots=True)
class OtherWay:
    """What the same instrument reading would be with another spindle, speed or cup."""

    kind: DoubtKind
    words: str
    viscosity_mpas: float


Scored = tuple[float, Doubt]


def decimal_slips(value: float, band: Band) -> Iterator[Scored]:
    """Name a decimal point in the wrong place."""
    for factor, kind, words in (
        (10, DoubtKind.TEN_TIMES, "ten times too much"),
        (0.1, DoubtKind.TENTH, "a tenth"),
    ):
        meant = value / factor
        if band.holds(meant):
            sentence = f"{words}? {significant(meant)} mPa·s would fit what is expected, {band_words(band)}"
            yield _score(band, meant, 0.3), Doubt(kind, sentence)


def copies(
    typed: float, previous_mpas: float | None, neighbours: Sequence[Neighbour], band: Band
) -> Iterator[Scored]:
    """Name last week's value, the row above, and rows, tins or lids that were exchanged."""
    if previous_mpas is not None and typed == previous_mpas:
        sentence = f"this is the tin's last value to the digit: copied? expected {band_words(band)}"
        yield math.log(0.5), Doubt(DoubtKind.COPIED, sentence)
    found: list[Scored] = []
    for neighbour in neighbours:
        if neighbour.viscosity_mpas == typed:
            sentence = f"the same value was entered for {neighbour.sample}: the row above?"
            found.append((math.log(0.4), Doubt(DoubtKind.NEIGHBOUR, sentence)))
        elif neighbour.band is not None and neighbour.band.holds(typed):
            sentence = (
                f"it would fit {neighbour.sample}, expected {band_words(neighbour.band)}: "
                "tins, lids or rows swapped?"
            )
            found.append((_score(neighbour.band, typed, 0.2), Doubt(DoubtKind.NEIGHBOUR, sentence)))
    # one neighbour is enough to ask after: the one that explains it best
    yield from sorted(found, key=lambda pair: -pair[0])[:1]


def other_ways(value: float, ways: Sequence[OtherWay], band: Band, *, by_spindle: bool) -> Iterator[Scored]:
    """Name another spindle, speed or cup: one on record that fits, else a step of speeds that would."""
    found = [
        (_score(band, way.viscosity_mpas, 0.25), Doubt(way.kind, _way_words(way, band)))
        for way in ways
        if way.viscosity_mpas > 0 and band.holds(way.viscosity_mpas)
    ]
    if not found and by_spindle:
        for step in (*_STEPS, *(1 / step for step in _STEPS)):
            meant = value / step
            if band.holds(meant):
                times = f"{step:g} times" if step > 1 else f"1/{1 / step:g} of"
                sentence = f"another spindle or speed? it is {times} what would fit, {band_words(band)}"
                found.append((_score(band, meant, 0.05), Doubt(DoubtKind.SPINDLE, sentence)))
    best: dict[DoubtKind, Scored] = {}
    for score, doubt in found:
        if doubt.kind not in best or score > best[doubt.kind][0]:
            best[doubt.kind] = score, doubt
    yield from best.values()


def _way_words(way: OtherWay, band: Band) -> str:
    return (
        f"{way.words}? it would then be {significant(way.viscosity_mpas)} mPa·s, expected {band_words(band)}"
    )


def mass_slips(value: float, change: MassChange | None, band: Band | None) -> Iterator[Scored]:
    """Name a lid that leaked, or another tin, by what the balance says; also without an expected value."""
    if change is None or not change.unusual:
        return
    said = loss_words(change)
    if change.lost_g < 0:
        yield (
            math.log(0.5),
            Doubt(DoubtKind.LID, f"{said}: another tin, lids swapped, or a slip at the balance?"),
        )
        return
    sentence = f"{said}: lid not pressed home? lost thinner alone makes it {_rise(change)} % thicker"
    thicker = band is not None and math.log(value) > band.ln_mean
    yield math.log(0.6 if thicker else 0.3), Doubt(DoubtKind.LOSS, sentence)


def _rise(change: MassChange) -> str:
    return f"{100 * (thickened_by(change.share_pct) - 1):.0f}"


def unseen_temperature(value: float, band: Band, coefficient: Coefficient) -> Iterator[Scored]:
    """Name the temperature that would explain the value, where it is a likely one."""
    off_c = (band.ln_mean - math.log(value)) / (coefficient.pct_per_c / 100)
    if 0.3 < abs(off_c) <= _WARM_AT_MOST_C:
        kind = DoubtKind.WARM if off_c > 0 else DoubtKind.COLD
        sentence = f"{kind.value} tin? at {23 + off_c:.0f} °C it would read this; measure in the liquid"
        yield math.log(0.2) - (off_c / 3) ** 2 / 2, Doubt(kind, sentence)


def off_temperature(temperature_c: float | None, at_reference: float, coefficient: Coefficient) -> Doubt:
    """Ask to repeat a reading whose liquid is too far from 23 °C."""
    warm = temperature_c is not None and temperature_c > 23
    return Doubt(
        DoubtKind.WARM if warm else DoubtKind.COLD,
        f"the liquid is at {temperature_c:g} °C: repeat at 23 °C; at 23 °C this would be about "
        f"{significant(at_reference)} mPa·s by {coefficient.words}",
    )


def outside(value: float, band: Band, *, origin: str, twins: Sequence[Neighbour] = ()) -> Doubt:
    """Say that a value is not what was expected, whatever the cause, and what its twin read."""
    beside = next((t for t in twins if t.twin and t.viscosity_mpas is not None), None)
    told = (
        "" if beside is None else f"; its twin {beside.sample} read {significant(beside.viscosity_mpas or 0)}"
    )
    return Doubt(
        DoubtKind.OUTSIDE,
        f"{significant(value)} mPa·s is outside what {origin} lets expect, {band_words(band)}{told}: "
        "lid, spindle, cup? measure again; if it stays, keep it with a reason",
    )


def _score(band: Band, value: float, commonness: float) -> float:
    return math.log(commonness) - band.distance(value) ** 2 / 2
