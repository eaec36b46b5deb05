"""From short answers to one reading: what is still asked of a tin, and the entry that its answers make.

Viscosities are mPa·s, temperatures °C, masses g.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from stability.bench.answers import Answer, Asked, merged
from stability.bench.determinations import determined, shear_ratio
from stability.bench.gel import GRADES, grade_words
from stability.bench.shorthand import parse_answer
from stability.chemistry.cautions import Act, cautions_for
from stability.errors import InputError
from stability.services.entry import ReadingEntry
from stability.services.round import Visit
from stability.services.surroundings import mass_after_words
from stability.units import significant

__all__ = [
    "Answer",
    "Asked",
    "Said",
    "action_words",
    "another_wanted",
    "apart_words",
    "before_disposal",
    "before_opening_bulged",
    "card_lines",
    "entry_of",
    "heard",
    "short_card",
    "still_asked",
    "with_third",
]

NOTHING = Answer()
_NOT_MEASURED_FROM = 3
"""From this grade on the viscosity of a tin is not attempted."""
_THICK_FROM = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """All that was said of one tin; `passed` are the questions that were passed over."""

    answer: Answer = NOTHING
    appearance: str | None = None
    note: str | None = None
    passed: frozenset[str] = frozenset()

    def passing(self, asked: str) -> Said:
        """Return the same with one more question passed over."""
        return replace(self, passed=self.passed | {asked})


def still_asked(visit: Visit, said: Said) -> Asked | str | None:
    """Return the next question of a visit, "appearance" among them, or None when all is said."""
    answer, grade = said.answer, said.answer.gel_grade
    gone = answer.thick or (grade is not None and grade >= _NOT_MEASURED_FROM)
    open_questions = (
        (
            Asked.SECONDS if visit.set_up.cup else Asked.VISCOSITY,
            "viscosity" in visit.checks and not answer.read and not gone,
        ),
        (Asked.TEMPERATURE, answer.read and not answer.over_range and answer.temperature_c is None),
        (Asked.GRADE, grade is None and ("gel" in visit.checks or answer.thick)),
        (Asked.GRADE, answer.thick and grade is not None and grade < _THICK_FROM),
        (Asked.MASS, "mass" in visit.checks and answer.mass_g is None),
        ("appearance", "appearance" in visit.checks and said.appearance is None),
    )
    return next((asked for asked, open_ in open_questions if open_ and asked not in said.passed), None)


def heard(visit: Visit, said: Said, typed: str, asked: Asked) -> Said:
    """Return what was said with one more line of it; the later word wins.

    Raises
    ------
    InputError
        If the line cannot be understood, or a value lies outside its rule.
    """
    found = parse_answer(typed, asked=asked, full_scale_mpas=visit.full_scale_mpas)
    if found.efflux_s is not None and visit.set_up.cup is None:
        raise InputError("seconds of which cup?", hint="back, and at 'tin' for example: set cup ISO 4 0.981")
    return replace(said, answer=merged(said.answer, found))


def with_third(said: Said, typed: str) -> Said:
    """Return what was said with a third determination.

    Raises
    ------
    InputError
        If it is no viscosity.
    """
    third = parse_answer(typed, asked=Asked.VISCOSITY)
    if len(third.viscosities) != 1 or third.over_range:
        raise InputError("one number is wanted, the viscosity of a fresh filling, mPa·s")
    values = (*said.answer.viscosities, *third.viscosities)
    return replace(said, answer=replace(said.answer, viscosities=values))


def short_card() -> str:
    """Return the grades with the words of the vial, on few lines."""
    return "; ".join(f"{grade} {words.vial}" for grade, words in GRADES.items())


def card_lines() -> tuple[str, ...]:
    """Return the whole card, one line per grade."""
    return tuple(f"{grade_words(grade)}; drawdown: {words.drawdown}" for grade, words in GRADES.items())


def action_words(grade: int | None) -> str:
    """Return what a grade asks for; empty where it asks for nothing."""
    return "" if grade is None else GRADES[grade].action


def before_disposal(visit: Visit, grade: int | None) -> tuple[str, ...]:
    """Return what to heed with a tin that is to be thrown away; nothing below grade 3."""
    if grade is None or grade < _NOT_MEASURED_FROM:
        return ()
    return cautions_for(Act.DISPOSE, visit.tin(grade=grade))


def before_opening_bulged(visit: Visit) -> tuple[str, ...]:
    """Return what to heed with a bulged tin."""
    return cautions_for(Act.OPEN, visit.tin(bulged=True))


def another_wanted(answer: Answer) -> bool:
    """Say whether two determinations are so far apart that a third is wanted."""
    return len(answer.viscosities) == 2 and determined(answer.viscosities).another


def apart_words(answer: Answer) -> str:
    """Return how far two determinations are apart, in words."""
    low, high = sorted(answer.viscosities)
    return f"{significant(low)} and {significant(high)} are {100 * (high / low - 1):.0f} % apart"


def entry_of(visit: Visit, said: Said) -> ReadingEntry:
    """Return the reading that the answers make: the median of determinations, the faster of two speeds."""
    answer, set_up = said.answer, visit.set_up
    by_cup = answer.efflux_s is not None
    by_spindle = bool(answer.viscosities or answer.speeds or answer.torque_pct is not None)
    cup = set_up.cup if by_cup else None
    spindle = by_spindle and set_up.cup is None
    notes = [said.note, *_told_beside(answer)]
    return ReadingEntry(
        sample=visit.sample.sample,
        viscosity_mpas=_viscosity(answer),
        temperature_c=answer.temperature_c,
        gel_grade=answer.gel_grade,
        instrument=set_up.instrument if spindle else None,
        spindle=set_up.spindle if spindle else None,
        speed_rpm=_speed(answer, set_up.speed_rpm) if spindle else None,
        torque_pct=answer.torque_pct,
        cup=cup,
        efflux_s=answer.efflux_s,
        density_g_ml=set_up.density_g_ml if by_cup else None,
        mass_g=answer.mass_g,
        appearance=said.appearance,
        note="; ".join(part for part in notes if part) or None,
    )


def _viscosity(answer: Answer) -> float | str | None:
    if answer.speeds:
        return max(answer.speeds, key=lambda pair: pair[1])[0]
    if not answer.viscosities:
        return None
    if answer.over_range:
        return f">{answer.viscosities[0]:.12g}"
    return determined(answer.viscosities).viscosity_mpas


def _speed(answer: Answer, usual: float | None) -> float | None:
    return max(rpm for _, rpm in answer.speeds) if answer.speeds else usual


def _told_beside(answer: Answer) -> list[str]:
    told = []
    if len(answer.viscosities) > 1:
        values = ", ".join(f"{value:g}" for value in answer.viscosities)
        told.append(f"determinations {values} mPa·s")
    if answer.speeds:
        (slow, slow_rpm), (fast, fast_rpm) = sorted(answer.speeds, key=lambda pair: pair[1])
        ratio, near_gel = shear_ratio(slow, fast)
        sign = ", an early sign of gel" if near_gel else ""
        told.append(
            f"{slow:g} mPa·s at {slow_rpm:g} rpm, {fast:g} at {fast_rpm:g}, two-speed ratio {ratio:.2f}{sign}"
        )
    if answer.mass_after_g is not None:
        told.append(mass_after_words(answer.mass_after_g))
    return told
