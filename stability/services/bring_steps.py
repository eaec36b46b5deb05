"""Steps between a sample's readings that smell of another unit: a thousandfold, or a thousandth [mPa·s]."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from itertools import pairwise
from typing import NamedTuple

from stability.services.instants import iso
from stability.services.sources import Sheet

__all__ = ["Point", "tell_wrong_steps"]

_THOUSAND = 1000.0


class Point(NamedTuple):
    """A reading as it counts; `sheet` is None where it was on record before."""

    taken_at: datetime
    viscosity_mpas: float | None
    soft: bool  # graded as structured or worse, so a leap is real
    sheet: Sheet | None
    line: int


def tell_wrong_steps(points: Iterable[Point]) -> None:
    """Tell each step of one sample that is no growth but a slip, at its row that is new."""
    measured = sorted(
        (point for point in points if point.viscosity_mpas is not None), key=lambda p: p.taken_at
    )
    for before, after in pairwise(measured):
        first, then = before.viscosity_mpas or 1.0, after.viscosity_mpas or 1.0
        if after.soft or first / _THOUSAND <= then <= first * _THOUSAND:
            continue
        new, other = (after, before) if after.sheet is not None else (before, after)
        if new.sheet is None:
            continue
        value, reference = new.viscosity_mpas or 0.0, other.viscosity_mpas or 0.0
        much = "more than 1000 times" if value > reference else "less than a thousandth of"
        new.sheet.say(
            new.line,
            "viscosity_mpas",
            f"{value:g} is {much} the sample's {reference:g} of {iso(other.taken_at)}; expected mPa·s, or a "
            "gel_grade of 2 or worse beside it",
            hint="is it in Pa·s, or the torque, or another sample's row?",
        )
