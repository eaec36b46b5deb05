"""Were two readings put in each other's place? Likelihood of the exchange against that of what is on record.

Viscosities are mPa·s at the reference temperature, masses g; a band is what was expected of a reading before
it was seen. Nothing here changes a reading: a proposal is for somebody to confirm.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations

from stability.bench.plausible import Z_997, Band

__all__ = ["Exchange", "MassBand", "Placed", "Swap", "likelihood_words", "swaps_among"]

LEAST_LN_RATIO = math.log(1000.0)
"""The exchange must explain two readings a thousand times better than what is on record."""
RIVAL_LN_RATIO = math.log(20.0)
"""A second partner within this of the best is named beside it."""
_TAIL_DF = 5.0
"""Slips have long tails: with normal ones a wild value would make any exchange look certain."""


class Exchange(StrEnum):
    """What changed places."""

    ROWS = "rows"  # what was read in the cup, written in the other's row
    LIDS = "lids"  # the whole tin: what was read and what it weighed
    MASSES = "masses"  # what the balance said
    DAYS = "days"  # two readings of one tin


@dataclass(frozen=True, slots=True)
class MassBand:
    """What a tin is expected to weigh, with its spread, [g]."""

    mean_g: float
    sd_g: float

    def distance(self, mass_g: float) -> float:
        """How many spreads a mass lies from the middle."""
        return abs(mass_g - self.mean_g) / self.sd_g


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A reading in the place where it is on record, with what was expected there."""

    viscosity_mpas: float
    band: Band
    mass_g: float | None = None
    mass_band: MassBand | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Swap:
    """A proposal: places of the two readings in the sequence given, and how much better it explains them."""

    first: int
    second: int
    what: Exchange
    ln_ratio: float
    rivals: tuple[int, ...] = ()
    """Other places that would explain one of the two nearly as well."""


def swaps_among(readings: Sequence[Placed], *, one_tin: bool = False) -> tuple[Swap, ...]:
    """Return the exchanges worth proposing among the readings of a session, the likeliest first.

    A pair qualifies where both readings lie outside their own 99.7 % band and inside the other's, and the
    exchange is `LEAST_LN_RATIO` likelier than what is on record. Each reading stands in one proposal at most.
    `one_tin` says that the readings are those of one tin on several days.
    """
    found = sorted(_qualifying(readings, one_tin), key=lambda swap: -swap.ln_ratio)
    taken: set[int] = set()
    chosen: list[Swap] = []
    for swap in found:
        if not {swap.first, swap.second} & taken:
            taken |= {swap.first, swap.second}
            chosen.append(_with_rivals(swap, found))
    return tuple(chosen)


def _qualifying(readings: Sequence[Placed], one_tin: bool) -> Iterator[Swap]:
    off = [place for place, reading in enumerate(readings) if _is_off(reading)]
    for first, second in combinations(off, 2):
        cup = _gain(*_cup_distances(readings[first], readings[second]))
        mass = _gain(*_mass_distances(readings[first], readings[second]))
        if cup is None and mass is None:
            continue
        what = _what(cup, mass, one_tin)
        yield Swap(first=first, second=second, what=what, ln_ratio=(cup or 0.0) + (mass or 0.0))


def _is_off(reading: Placed) -> bool:
    if not reading.band.holds(reading.viscosity_mpas):
        return True
    if reading.mass_g is None or reading.mass_band is None:
        return False
    return reading.mass_band.distance(reading.mass_g) > Z_997


def _what(cup: float | None, mass: float | None, one_tin: bool) -> Exchange:
    if one_tin:
        return Exchange.DAYS
    if cup is not None:
        return Exchange.ROWS if mass is None else Exchange.LIDS
    return Exchange.MASSES


_Distances = tuple[float, float, float, float]


def _cup_distances(one: Placed, other: Placed) -> _Distances:
    """Return how far the two values lie from their own band, then from each other's."""
    return (
        one.band.distance(one.viscosity_mpas),
        other.band.distance(other.viscosity_mpas),
        one.band.distance(other.viscosity_mpas),
        other.band.distance(one.viscosity_mpas),
    )


def _mass_distances(one: Placed, other: Placed) -> _Distances:
    if one.mass_g is None or other.mass_g is None or one.mass_band is None or other.mass_band is None:
        return 0.0, 0.0, 0.0, 0.0
    return (
        one.mass_band.distance(one.mass_g),
        other.mass_band.distance(other.mass_g),
        one.mass_band.distance(other.mass_g),
        other.mass_band.distance(one.mass_g),
    )


def _gain(own: float, other: float, own_crossed: float, other_crossed: float) -> float | None:
    """Return the ln likelihood ratio of the exchange; None where it is not worth proposing."""
    if min(own, other) <= Z_997 or max(own_crossed, other_crossed) > Z_997:
        return None
    gain = _ln_density(own_crossed) + _ln_density(other_crossed) - _ln_density(own) - _ln_density(other)
    return gain if gain >= LEAST_LN_RATIO else None


def _ln_density(distance: float) -> float:
    """Return the ln of Student's density at a distance in spreads, without its constant.

    The spreads cancel: each place's own stands once in both likelihoods.
    """
    return -(_TAIL_DF + 1) / 2 * math.log1p(distance**2 / _TAIL_DF)


def _with_rivals(swap: Swap, found: Sequence[Swap]) -> Swap:
    own = {swap.first, swap.second}
    near = [
        ({other.first, other.second} - own).pop()
        for other in found
        if len(own & {other.first, other.second}) == 1 and other.ln_ratio >= swap.ln_ratio - RIVAL_LN_RATIO
    ]
    return Swap(
        first=swap.first,
        second=swap.second,
        what=swap.what,
        ln_ratio=swap.ln_ratio,
        rivals=tuple(dict.fromkeys(near)),
    )


def likelihood_words(ln_ratio: float) -> str:
    """Say how much likelier the exchange is than what is on record.

    >>> likelihood_words(math.log(4321)), likelihood_words(50.0)
    ('about 4000 times likelier', 'more than a million times likelier')
    """
    if ln_ratio >= math.log(1e6):
        return "more than a million times likelier"
    rounded = float(f"{math.exp(ln_ratio):.0e}")
    return f"about {rounded:.0f} times likelier"
