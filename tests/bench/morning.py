"""Simulated mornings at the bench: good readings, and seeded slips among them.

Bands are as forecasts keep them, but none knows its own spread exactly. All is invented and seeded;
viscosities are mPa·s, spreads on the log scale, temperatures °C.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from stability.bench.cups import cup_named
from stability.bench.plausible import Band, Entry, Known, Neighbour, doubts
from stability.bench.temperature import class_coefficient

__all__ = ["Counted", "Slip", "mornings", "tallied"]

TINS = 25
SPREAD = (0.015, 0.05)  # of a band, as forecasts of a study with a few months on record keep them
SPREAD_MISJUDGED = 0.15  # sd of the log of true over declared spread
WITHOUT_FORECAST = 0.15
WITHOUT_TEMPERATURE = 0.15
COEFFICIENT_MISJUDGED = 0.15
GRADED = 0.01


class Slip(StrEnum):
    """What went wrong at the bench."""

    TEN_TIMES = "ten times or a tenth"
    SWAPPED = "the neighbour's value"
    WARM = "3 °C warm"
    CUP = "wrong cup"
    SPINDLE = "wrong spindle factor"
    COPIED = "last value copied"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tin:
    """One tin of a round as it would be entered, and what is known of it."""

    code: str
    shown: float
    temperature_c: float | None
    gel_grade: int
    previous: float
    band: Band | None
    twin: float
    true_pct_per_c: float

    @property
    def expected_spread(self) -> float:
        return self.band.sd if self.band is not None else 0.05 * math.sqrt(2)


@dataclass(frozen=True, slots=True)
class Counted:
    """How many readings of a kind there were, how many mattered, and how many of those were doubted."""

    entered: int = 0
    mattered: int = 0
    doubted: int = 0

    def plus(self, mattered: bool, doubted: bool) -> Counted:
        return Counted(self.entered + 1, self.mattered + mattered, self.doubted + (mattered and doubted))


def _three_digits(value: float) -> float:
    return float(f"{value:.3g}")


def _tin(rng: random.Random, place: int) -> Tin:
    spread = rng.uniform(*SPREAD)
    true_spread = spread * math.exp(rng.gauss(0, SPREAD_MISJUDGED))
    middle = math.log(rng.uniform(240, 420)) if rng.random() < 0.7 else math.log(rng.uniform(420, 3500))
    grown = rng.uniform(-0.02, 0.25)
    value = middle + rng.gauss(0, true_spread)
    temperature = round(rng.gauss(23.0, 0.2), 1)
    pct = class_coefficient(20).pct_per_c * math.exp(rng.gauss(0, COEFFICIENT_MISJUDGED))
    # a forecast's own spread holds what the thermometer leaves over; only what is off by more is added here
    read = value - (pct / 100 * (temperature - 23) if abs(temperature - 23) > 0.3 else 0.0)
    return Tin(
        code=f"T{place}",
        shown=_three_digits(math.exp(read)),
        temperature_c=None if rng.random() < WITHOUT_TEMPERATURE else temperature,
        gel_grade=2 if rng.random() < GRADED else 0,
        previous=_three_digits(math.exp(middle - grown + rng.gauss(0, true_spread))),
        band=None if rng.random() < WITHOUT_FORECAST else Band(middle, spread),
        twin=_three_digits(math.exp(value + rng.gauss(0, 0.03))),
        true_pct_per_c=pct,
    )


def _spoilt(rng: random.Random, tin: Tin, slip: Slip, beside: Tin) -> Tin:
    """Return a tin as it is entered after a slip."""
    if slip is Slip.TEN_TIMES:
        return replace(tin, shown=tin.shown * 10 if rng.random() < 0.5 else _three_digits(tin.shown / 10))
    if slip is Slip.SWAPPED:
        return replace(tin, shown=beside.shown)
    if slip is Slip.COPIED:
        return replace(tin, shown=tin.previous)
    if slip is Slip.SPINDLE:
        factor = rng.choice((0.2, 0.4, 0.5, 2.0, 2.5, 5.0))
        return replace(tin, shown=_three_digits(tin.shown * factor))
    if slip is Slip.CUP:
        right, wrong = rng.choice((("Ford 4", "Ford 5"), ("ISO 4", "ISO 5"), ("ISO 5", "ISO 6")))
        seconds = rng.uniform(35, 90)
        factor = cup_named(wrong).viscosity(seconds) / cup_named(right).viscosity(seconds)
        return replace(tin, shown=_three_digits(tin.shown * (factor if rng.random() < 0.5 else 1 / factor)))
    # a third of warm tins is measured in the liquid, of a third nobody knows, a third is taken for 23 °C
    shown = _three_digits(tin.shown * math.exp(-3 * tin.true_pct_per_c / 100))
    return replace(tin, shown=shown, temperature_c=rng.choice((26.0, None, 23.0)))


def _doubted(tin: Tin, round_: Sequence[Tin], place: int) -> bool:
    before = round_[max(0, place - 4) : place]
    near = [Neighbour(sample=t.code, viscosity_mpas=t.shown, band=t.band) for t in before]
    near += [Neighbour(sample=t.code, band=t.band) for t in round_[place + 1 : place + 2]]
    entry = Entry(viscosity_mpas=tin.shown, temperature_c=tin.temperature_c, gel_grade=tin.gel_grade)
    known = Known(twins_mpas=() if tin.band is not None else (tin.twin,))
    found = doubts(
        entry, previous_mpas=tin.previous, band=tin.band, neighbours=near, level_pct=20, known=known
    )
    return bool(found)


def mornings(seed: int, readings: int, slips: int) -> Iterator[tuple[Slip | None, bool, bool]]:
    """Yield every reading as (slip or None, whether it matters, whether it was doubted)."""
    rng = random.Random(seed)  # noqa: S311 - a seeded simulation
    rounds = [[_tin(rng, place) for place in range(TINS)] for _ in range(readings // TINS)]
    for round_ in rounds:
        for place, tin in enumerate(round_):
            yield None, True, _doubted(tin, round_, place)
    kinds = list(Slip)
    for number in range(slips):
        round_ = rng.choice(rounds)
        place = rng.randrange(TINS - 1)
        tin = round_[place]
        slip = kinds[number % len(kinds)]
        spoilt = _spoilt(rng, tin, slip, round_[place + 1])
        # what a measured temperature gives away is in the reading too, though not in its number
        effect = abs(math.log(spoilt.shown / tin.shown)) / tin.expected_spread
        yield slip, effect > 5, _doubted(spoilt, round_, place)


def tallied(seed: int, *, readings: int = 4000, slips: int = 200) -> dict[Slip | None, Counted]:
    """Return the count of each slip, and under None that of the good readings."""
    found: dict[Slip | None, Counted] = {kind: Counted() for kind in (None, *Slip)}
    for slip, mattered, doubted in mornings(seed, readings, slips):
        found[slip] = found[slip].plus(mattered, doubted)
    return found
