"""The swap finder: readings of a day, or of a tin, that were put in each other's place.

What is held against a reading is what was expected before it was known: the band kept with the forecast of
that time, else the fit without the reading. Viscosities mPa·s, masses g. Nothing is written.
"""

from __future__ import annotations

import math
import shlex
import statistics
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from stability.bench.plausible import Band, Knot, interpolate_band
from stability.bench.swaps import Exchange, MassBand, Placed, Swap, likelihood_words, swaps_among
from stability.bench.temperature import class_coefficient, corrected
from stability.errors import InputError
from stability.records.engine import Records
from stability.records.forecasts import band_before
from stability.records.history import ReadingFacts, SampleFacts
from stability.services.blends import Blend, blends_of
from stability.services.lookup import known_sample
from stability.services.opinion import age_words, sample_words
from stability.services.times import local_words
from stability.units import SECONDS_PER_DAY, significant

if TYPE_CHECKING:
    from stability.settings import Settings

__all__ = ["Proposal", "Side", "find_swaps"]

_SOFT_GRADE = 2
_LEAST_MASS_SHARE = 0.001
"""A tin's mass is expected within 0.1 % of its last one, [–] (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """One of the two readings: what it says, and what was expected of it."""

    sample: str
    taken_at: datetime
    viscosity_mpas: float
    expected_low_mpas: float
    expected_high_mpas: float
    mass_g: float | None
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """Two readings that seem to have been exchanged; `command` makes the two linked corrections."""

    what: Exchange
    first: Side
    second: Side
    ln_ratio: float
    likelihood: str
    rivals: tuple[str, ...]
    says: str
    command: str


@dataclass(frozen=True, slots=True)
class _Case:
    """A reading that counts, of which something was expected."""

    tin: SampleFacts
    reading: ReadingFacts
    placed: Placed


@dataclass(slots=True)
class _Expected:
    """What was expected of readings, by kept band or by the fit without them (made when first needed)."""

    connection: sa.Connection
    blend: Blend
    as_of: datetime
    settings: Settings
    _without: Mapping[tuple[str, float], Band] | None = field(default=None)

    def band(self, tin: SampleFacts, reading: ReadingFacts, before: datetime) -> Band | None:
        age_days = (reading.taken_at - tin.placed_at).total_seconds() / SECONDS_PER_DAY
        knots = [Knot(*knot) for knot in band_before(self.connection, tin.id, before=before)]
        found = interpolate_band(knots, age_days) if knots else None
        return found or self._of_the_others(tin.sample, age_days)

    def _of_the_others(self, sample: str, age_days: float) -> Band | None:
        if self._without is None:
            from stability.services.swaps_fit import bands_of_the_others

            self._without = bands_of_the_others(
                self.connection, self.blend, as_of=self.as_of, options=self.settings.fit
            )
        return self._without.get((sample, round(max(age_days, 0.0), 6)))


def find_swaps(
    records: Records, *, as_of: datetime, settings: Settings, study: str | None = None
) -> tuple[Proposal, ...]:
    """Return the exchanges that are worth a question, the likeliest first; with `study` those that touch it.

    Raises
    ------
    InputError
        If a study is named that is not on record.
    """
    zone = ZoneInfo(settings.time_zone)
    by_day: dict[str, list[_Case]] = {}
    found: list[tuple[Swap, Sequence[_Case]]] = []
    with records.reading() as connection:
        blends = [blend for blend in blends_of(connection, as_of=as_of) if blend.readings]
        if study is not None and study not in {blend.study.code for blend in blends}:
            raise InputError(f"study {study!r} has no readings on record", hint="stability study lists all")
        for cases, expected in _tins(connection, blends, as_of, settings):
            found += _days_of(expected, cases)
            for case in cases:
                day = case.reading.taken_at.astimezone(zone).date().isoformat()
                by_day.setdefault(day, []).append(case)
        found += [(swap, cases) for cases in by_day.values() for swap in _within(cases)]
        return tuple(
            _proposal(connection, swap, cases, zone)
            for swap, cases in _each_once(found)
            if study is None or study in {cases[swap.first].tin.study, cases[swap.second].tin.study}
        )


def _tins(
    connection: sa.Connection, blends: Sequence[Blend], as_of: datetime, settings: Settings
) -> Iterator[tuple[Sequence[_Case], _Expected]]:
    for blend in blends:
        expected = _Expected(connection, blend, as_of, settings)
        for tin in blend.samples:
            yield list(_cases(expected, tin)), expected


def _cases(expected: _Expected, tin: SampleFacts) -> Iterator[_Case]:
    masses: list[float] = []
    for reading in expected.blend.readings.get(tin.id, ()):
        if _tells(reading):
            band = expected.band(tin, reading, reading.taken_at)
            if band is not None:
                yield _Case(tin, reading, _placed(tin, reading, band, masses))
        if reading.mass_g is not None:
            masses.append(reading.mass_g)


def _tells(reading: ReadingFacts) -> bool:
    """Say whether a reading has a number that a forecast speaks of: soft liquids have none to exchange."""
    return (
        reading.viscosity_mpas is not None
        and not reading.over_range
        and (reading.gel_grade or 0) < _SOFT_GRADE
    )


def _placed(tin: SampleFacts, reading: ReadingFacts, band: Band, masses: Sequence[float]) -> Placed:
    at_reference = corrected(
        reading.viscosity_mpas or math.nan,
        reading.temperature_c,
        coefficient=class_coefficient(tin.level_pct),
    )
    return Placed(
        viscosity_mpas=at_reference.viscosity_mpas,
        band=band,
        mass_g=reading.mass_g,
        mass_band=_mass_band(masses),
    )


def _mass_band(masses: Sequence[float]) -> MassBand | None:
    """Return what a tin is expected to weigh: its last mass, within what it lost from pull to pull."""
    if not masses:
        return None
    steps = [abs(later - earlier) for earlier, later in pairwise(masses)]
    usual_g = statistics.median(steps) if steps else 0.0
    return MassBand(masses[-1], max(_LEAST_MASS_SHARE * masses[-1], usual_g))


def _within(cases: Sequence[_Case]) -> tuple[Swap, ...]:
    return swaps_among([case.placed for case in cases])


def _days_of(expected: _Expected, cases: Sequence[_Case]) -> Iterator[tuple[Swap, Sequence[_Case]]]:
    """Yield neighbouring readings of a tin that seem exchanged, by what was expected before both."""
    for earlier, later in pairwise(cases):
        if earlier.placed.band.holds(earlier.placed.viscosity_mpas):
            continue
        before = min(earlier.reading.taken_at, earlier.reading.first_entered_at)
        band = expected.band(later.tin, later.reading, before)
        if band is None:
            continue
        again = _Case(later.tin, later.reading, _placed(later.tin, later.reading, band, ()))
        pair = [earlier, again]
        for swap in swaps_among([case.placed for case in pair], one_tin=True):
            yield swap, pair


def _each_once(
    found: Sequence[tuple[Swap, Sequence[_Case]]],
) -> Iterator[tuple[Swap, Sequence[_Case]]]:
    """Yield the likeliest first, and no reading in two proposals."""
    taken: set[int] = set()
    for swap, cases in sorted(found, key=lambda pair: -pair[0].ln_ratio):
        own = {cases[swap.first].reading.id, cases[swap.second].reading.id}
        if not own & taken:
            taken |= own
            yield swap, cases


def _proposal(connection: sa.Connection, swap: Swap, cases: Sequence[_Case], zone: ZoneInfo) -> Proposal:
    first, second = cases[swap.first], cases[swap.second]
    likelihood = likelihood_words(swap.ln_ratio)
    words = {
        Exchange.ROWS: "rows exchanged?",
        Exchange.LIDS: "lids exchanged? masses and readings",
        Exchange.MASSES: "masses exchanged?",
        Exchange.DAYS: "days exchanged?",
    }[swap.what]
    which = [
        part
        for case in (first, second)
        for part in (case.tin.sample, local_words(case.reading.taken_at, zone))
    ]
    what = [] if swap.what is Exchange.ROWS else ["--what", swap.what.value]
    command = shlex.join(["stability", "correct", "--swap", *which, *what, "--reason"])
    return Proposal(
        what=swap.what,
        first=_side(connection, first, zone),
        second=_side(connection, second, zone),
        ln_ratio=swap.ln_ratio,
        likelihood=likelihood,
        rivals=tuple(cases[place].tin.sample for place in swap.rivals),
        says=f"{words} {which[0]} and {which[2]}: exchanged they are {likelihood} than as entered",
        command=f"{command} 'what happened'",
    )


def _side(connection: sa.Connection, case: _Case, zone: ZoneInfo) -> Side:
    tin = known_sample(connection, case.tin.sample, at=case.reading.taken_at)
    band, value = case.placed.band, case.placed.viscosity_mpas
    low, high = significant(band.low_mpas), significant(band.high_mpas)
    mass = case.reading.mass_g
    weighed = case.placed.mass_band
    by_mass = f"; {mass:.2f} g, last {weighed.mean_g:.2f} g" if mass is not None and weighed else ""
    when = age_words(tin, case.reading.taken_at, zone)
    return Side(
        sample=case.tin.sample,
        taken_at=case.reading.taken_at,
        viscosity_mpas=value,
        expected_low_mpas=band.low_mpas,
        expected_high_mpas=band.high_mpas,
        mass_g=mass,
        says=f"{sample_words(tin)}, {when}: {significant(value)} mPa·s (expected {low}–{high}){by_mass}",
    )
