"""What the bench can answer to one question, what a bare number stands for, and the rule of each value.

Viscosities are mPa·s, torques % of full scale, temperatures °C, times s, masses g gross.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from enum import StrEnum

from stability.errors import InputError

__all__ = ["LIQUID_C", "Answer", "Asked", "check_answer", "merged"]

LIQUID_C = (-50.0, 150.0)
"""What a liquid at the bench can be at, [°C]."""
_LIGHTEST_G = 10.0


class Asked(StrEnum):
    """What a bare number answers."""

    VISCOSITY = "viscosity"
    SECONDS = "efflux time"
    TEMPERATURE = "temperature"
    GRADE = "grade"
    MASS = "mass"


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What one line said; `viscosities` are determinations, `speeds` pairs of mPa·s and rpm."""

    viscosities: tuple[float, ...] = ()
    over_range: bool = False
    speeds: tuple[tuple[float, float], ...] = ()
    torque_pct: float | None = None
    temperature_c: float | None = None
    efflux_s: float | None = None
    gel_grade: int | None = None
    mass_g: float | None = None
    mass_after_g: float | None = None
    thick: bool = False

    @property
    def empty(self) -> bool:
        """Whether nothing was said."""
        return self == Answer()

    @property
    def read(self) -> bool:
        """Whether an instrument was read."""
        return bool(self.viscosities or self.speeds or self.torque_pct or self.efflux_s)


def merged(first: Answer, then: Answer) -> Answer:
    """Return two answers to one question as one: what was said later wins."""
    changed = {f.name: getattr(then, f.name) for f in fields(then) if getattr(then, f.name) != f.default}
    if then.viscosities or then.speeds or then.thick:
        # another number of the liquid: what was read beside the old one goes with it
        changed = {"viscosities": (), "speeds": (), "over_range": False, "thick": False, **changed}
        changed.setdefault("torque_pct", None)
    return replace(first, **changed)


def check_answer(found: Answer) -> None:
    """Refuse a value outside its rule.

    Raises
    ------
    InputError
        For the first of them.
    """
    for value in (*found.viscosities, *(number for pair in found.speeds for number in pair)):
        if not 0 < value < 1e300:
            raise InputError(
                f"{value:g} is not a positive number of mPa·s", hint="thick, if none can be read"
            )
    degrees = found.temperature_c
    if degrees is not None and not LIQUID_C[0] <= degrees <= LIQUID_C[1]:
        raise InputError(f"{degrees:g} °C is not that of a liquid at the bench, -50 to 150 °C")
    torque = found.torque_pct
    if torque is not None and not 0 <= torque <= 1000:
        raise InputError(f"torque is 10 to 100 % of full scale, got {torque:g} %")
    if found.efflux_s is not None and not 0 < found.efflux_s < 1e6:
        raise InputError(f"{found.efflux_s:g} s is not an efflux time")
    _check_masses(found)
    if found.speeds and (len(found.speeds) != 2 or found.viscosities):
        raise InputError("two speeds make a ratio: write both, for example 336@10 300@100, and nothing else")
    if found.thick and (found.viscosities or found.speeds):
        raise InputError("thick says that no number can be read: leave one of the two away")


def _check_masses(found: Answer) -> None:
    for mass in (found.mass_g, found.mass_after_g):
        if mass is not None and not _LIGHTEST_G <= mass < 1e6:
            raise InputError(
                f"{mass:g} g is not the mass of a tin", hint="a grade is g0 to g5, a mass 226.31g"
            )
    if found.mass_g is None and found.mass_after_g is not None:
        raise InputError("the mass after closing wants the one before opening too")
    if (
        found.mass_g is not None
        and found.mass_after_g is not None
        and found.mass_after_g > found.mass_g + 0.5
    ):
        raise InputError(
            f"{found.mass_after_g:g} g after closing is more than {found.mass_g:g} g before opening"
        )
