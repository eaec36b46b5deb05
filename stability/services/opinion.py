"""What the bench is told of a reading: the doubts, the echo in words, the cautions.

The expected band is the one kept with the sample's last forecast; ages are days since it was placed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from stability.bench.mass import loss_words
from stability.bench.plausible import Band, Doubt, Entry, Known, doubts, echo, mass_doubts
from stability.bench.temperature import TemperatureVerdict, class_coefficient, corrected
from stability.chemistry.cautions import STANDING_LINE, Act, Tin, above_flash, cautions_for
from stability.records.readings import SampleAtBench, StoredReading
from stability.services.entry import ReadingEntry, Resolved
from stability.services.surroundings import expected_at, mass_told, neighbours_of, twins_of, ways_of
from stability.units import significant

if TYPE_CHECKING:
    from stability.services.instruments import Means

__all__ = [
    "Case",
    "Opinion",
    "age_words",
    "cautions_at",
    "opinion_of",
    "sample_words",
    "to_heed",
    "value_words",
]

_LATE = _DAY = timedelta(hours=24)
_DISPOSAL_GRADE = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """An entry at the bench with what it is judged by; `earlier` are the counted readings before it."""

    entry: ReadingEntry
    taken_at: datetime
    value: Resolved
    sample: SampleAtBench
    earlier: Sequence[StoredReading]
    means: Means | None = None

    @property
    def numbers(self) -> tuple[float, ...]:
        """The earlier viscosities, oldest first."""
        return tuple(r.viscosity_mpas for r in self.earlier if r.viscosity_mpas is not None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Opinion:
    """What is said of one entry; nothing here stores or refuses it."""

    echo: str
    doubts: tuple[Doubt, ...]
    cautions: tuple[str, ...]


def opinion_of(connection: sa.Connection, case: Case, *, now: datetime, zone: ZoneInfo) -> Opinion:
    """Return the doubts, the echo and the cautions of an entry."""
    band = expected_at(connection, case.sample.id, case.sample.placed_at, case.taken_at)
    return Opinion(
        echo=_echo(case, band, now=now, zone=zone),
        doubts=_doubts(connection, case, band),
        cautions=cautions_at(case.sample, case.entry.gel_grade),
    )


def _doubts(connection: sa.Connection, case: Case, band: Band | None) -> tuple[Doubt, ...]:
    value, entry, sample = case.value.viscosity_mpas, case.entry, case.sample
    mass = mass_told(case.earlier, entry.mass_g)
    if value is None:
        return mass_doubts(mass)
    if case.value.over_range and band is not None and value <= band.high_mpas:
        return mass_doubts(mass)  # a lower bound below what is expected speaks against nothing
    judged = Entry(
        viscosity_mpas=value,
        temperature_c=entry.temperature_c,
        gel_grade=entry.gel_grade,
        by_spindle=entry.cup is None or entry.torque_pct is not None,
    )
    previous = case.numbers[-1] if case.numbers else None
    twins = twins_of(connection, sample.id, case.taken_at) if band is None else ()
    known = Known(
        twins_mpas=[t.viscosity_mpas for t in twins if t.viscosity_mpas is not None],
        initial_mpas=case.numbers[0] if case.numbers else None,
        mass=mass,
    )
    judge = partial(doubts, judged, previous_mpas=previous, band=band, level_pct=sample.level_pct)
    found = judge(known=known)
    if not found and (band is None or band.holds(value)):
        return found
    # Only an odd value is worth the look at what is beside it: the row above, lids swapped, another spindle.
    twins = twins or twins_of(connection, sample.id, case.taken_at)
    near = neighbours_of(connection, sample.id, value, case.taken_at)
    known = replace(known, ways=tuple(ways_of(entry, case.means)))
    return judge(neighbours=(*twins, *near), known=known)


def sample_words(sample: SampleAtBench) -> str:
    """Return a sample in words: code, what thins it, where it stands."""
    blend = sample.thinner or sample.product
    if sample.level_pct is not None and sample.thinner:
        blend += f" {sample.level_pct:g} %"
    if sample.additive:
        blend += f" + {sample.additive}"
        blend += f" {sample.additive_pct:g} %" if sample.additive_pct is not None else ""
    return f"{sample.sample}, {blend}, {sample.store_temperature_c:g} °C"


def age_words(sample: SampleAtBench, at: datetime, zone: ZoneInfo) -> str:
    """Return "day 21", counted in the site's calendar days."""
    days = (at.astimezone(zone).date() - sample.placed_at.astimezone(zone).date()).days
    return f"day {days}"


def value_words(viscosity_mpas: float | None, over_range: bool, gel_grade: int | None) -> str:
    """Return what a reading says: "398 mPa·s", "above 50000 mPa·s", "grade 4", or "set aside"."""
    parts = []
    if viscosity_mpas is not None:
        bound = "above " if over_range else ""
        parts.append(f"{bound}{significant(viscosity_mpas)} mPa·s")
    if gel_grade is not None:
        parts.append(f"grade {gel_grade}")
    return ", ".join(parts) or "set aside"


def _echo(case: Case, band: Band | None, *, now: datetime, zone: ZoneInfo) -> str:
    value, grade = case.value, case.entry.gel_grade
    said = f"{sample_words(case.sample)}, {age_words(case.sample, case.taken_at, zone)}"
    words = None
    # beside a number grade 0 is the rule and needs no words
    if grade or (grade is not None and value.viscosity_mpas is None):
        from stability.bench.gel import grade_words

        words = grade_words(grade)
    if value.viscosity_mpas is not None and not value.over_range:
        first = case.numbers[0] if case.numbers else None
        text = echo(said, value.viscosity_mpas, initial_mpas=first, band=band, gel=words)
        text += _at_reference(value.viscosity_mpas, case.entry.temperature_c, case.sample.level_pct)
        if value.uncertainty_mpas is not None:
            text += f"; ± {significant(value.uncertainty_mpas, 2)} mPa·s by the torque sensor"
    else:
        bound = value_words(value.viscosity_mpas, True, None) if value.over_range else None
        text = f"{said}: {', '.join(part for part in (bound, words) if part)}"
    mass = mass_told(case.earlier, case.entry.mass_g)
    if mass is not None:
        text += f"; {loss_words(mass)}"
    late = now - case.taken_at
    return f"{text}; entered {late / _DAY:.0f} d after it was taken" if late > _LATE else text


def _at_reference(value: float, temperature_c: float | None, level_pct: float | None) -> str:
    shown = corrected(value, temperature_c, coefficient=class_coefficient(level_pct))
    if shown.verdict is not TemperatureVerdict.CORRECT or shown.coefficient is None:
        return ""
    return f"; at 23 °C about {significant(shown.viscosity_mpas)} mPa·s by {shown.coefficient.words}"


def to_heed(sample: SampleAtBench, gel_grade: int | None, *, bulged: bool = False) -> Tin:
    """Return what the cautions need to know of a tin in hand."""
    return Tin(
        store_temperature_c=sample.store_temperature_c,
        flash_c=sample.flash_c,
        gel_grade=gel_grade,
        thinner_class=sample.thinner_class,
        bulged=bulged,
        sds=sample.sds,
    )


def cautions_at(sample: SampleAtBench, gel_grade: int | None = None) -> tuple[str, ...]:
    """Return what to heed with this tin in hand; the standing line comes last and always."""
    tin = to_heed(sample, gel_grade)
    lines: list[str] = []
    if above_flash(tin.store_temperature_c, tin.flash_c):
        lines.extend(cautions_for(Act.TAKE_OUT, tin))
    if gel_grade is not None and gel_grade >= _DISPOSAL_GRADE:
        lines.extend(line for line in cautions_for(Act.DISPOSE, tin) if line not in lines)
    return (*lines, STANDING_LINE)
