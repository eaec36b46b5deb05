"""The gel grades 0–5: their words, and what a grade means for a reading.

Words first, number second: inverted 20 mL vial at 23 °C for 30 s, stir rod, drawdown of 50 µm on glass
(the trade's own scale; common practice, no source). Viscosities are mPa·s.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from stability.errors import InputError
from stability.units import significant

__all__ = ["GELLED_FROM", "GRADES", "GelMeaning", "GradeWords", "grade_words", "meaning"]

HARDEST = 5
GELLED_FROM = 4
THICKENED_FROM = 2


@dataclass(frozen=True, slots=True)
class GradeWords:
    """One line of the bench card."""

    vial: str
    rod: str
    drawdown: str
    action: str


GRADES: Mapping[int, GradeWords] = MappingProxyType(
    {
        0: GradeWords("runs like day 0", "drips", "clean", ""),
        1: GradeWords("visibly slower, full flow", "thread breaks late", "at most 2 specks/dm²", "note it"),
        2: GradeWords(
            "a tongue stays behind, under 10 %",
            "lumps or strings",
            "more than 2 specks/dm², or gauge above 15 µm",
            "extra pull, second grader, photo",
        ),
        3: GradeWords(
            "most stays, sags",
            "cuts, heals",
            "cannot be drawn",
            "failed; do not try the last viscosity",
        ),
        4: GradeWords("no flow, deforms", "cuts, does not heal", "cannot be drawn", "gelled; disposal card"),
        5: GradeWords("hard, rings", "breaks", "cannot be drawn", "hard gel; disposal card"),
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class GelMeaning:
    """What a graded reading says: a number, or a viscosity known only to lie above a bound."""

    grade: int
    measured_mpas: float | None
    above_mpas: float | None
    gelled: bool
    ends_sample: bool
    says: str


def grade_words(grade: int) -> str:
    """Return the bench card's words for a grade.

    >>> grade_words(2)
    'grade 2: a tongue stays behind, under 10 %; rod: lumps or strings'
    """
    words = GRADES[_checked(grade)]
    return f"grade {grade}: {words.vial}; rod: {words.rod}"


def meaning(
    grade: int,
    *,
    viscosity_mpas: float | None,
    highest_earlier_mpas: float | None,
    gel_viscosity_mpas: float,
    grade_limit: int | None = None,
) -> GelMeaning:
    """Return what a grade means for the fit and for the tin.

    A number with a grade is a number. Without one, grade 2 or 3 says "above the tin's highest earlier
    reading" and 4 or 5 "above the viscosity deemed gelled"; grade 0 or 1 alone says nothing about viscosity.
    The study's own grade ends the tin, grade 4 ends any.
    """
    _checked(grade)
    gelled = grade >= GELLED_FROM
    above = _bound(grade, viscosity_mpas, highest_earlier_mpas, gel_viscosity_mpas)
    number = None if viscosity_mpas is None else f"{significant(viscosity_mpas)} mPa·s"
    bound = None if above is None else f"counts as above {significant(above)} mPa·s"
    return GelMeaning(
        grade=grade,
        measured_mpas=viscosity_mpas,
        above_mpas=above,
        gelled=gelled,
        ends_sample=gelled or (grade_limit is not None and grade >= grade_limit),
        says=", ".join(part for part in (grade_words(grade), number, bound) if part),
    )


def _bound(grade: int, viscosity: float | None, highest: float | None, gel_viscosity: float) -> float | None:
    if viscosity is not None or grade < THICKENED_FROM:
        return None
    return gel_viscosity if grade >= GELLED_FROM else highest


def _checked(grade: int) -> int:
    if isinstance(grade, bool) or grade not in range(HARDEST + 1):
        raise InputError(f"a gel grade is 0 to {HARDEST}, got {grade!r}")
    return grade
