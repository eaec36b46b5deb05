"""What is said before an act: short, tied to the tin, and always second to the SDS.

Temperatures are °C (closed cup where flash points are meant). The lines caution and defer; none permits.
`STANDING_LINE` goes once on every sheet, echo and message that carries cautions.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

__all__ = [
    "STANDING_LINE",
    "Act",
    "Tin",
    "above_flash",
    "cautions",
    "cautions_for",
    "heated",
    "needs_acknowledgement",
]

STANDING_LINE = "SDS, local code and licensed practice come first."

HEATED_ABOVE_C = 25.0
NEAR_FLASH_C = 5.0
GRADE_FOR_DISPOSAL = 3
PEROXIDE_CLASSES = frozenset({"glycol ether", "glycol ether acetate"})


class Act(StrEnum):
    """What somebody is about to do."""

    PLAN = "plan"
    TAKE_OUT = "take_out"
    OPEN = "open"
    DISPOSE = "dispose"
    STATE = "state"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tin:
    """What the cautions need to know; unknown is None, and is taken for the worse case."""

    store_temperature_c: float | None = None
    flash_c: float | None = None
    gel_grade: int | None = None
    thinner_class: str | None = None
    amine: bool = False
    bulged: bool = False
    sds: str | None = None


def heated(store_temperature_c: float | None) -> bool:
    """Say whether a store is warmer than a laboratory."""
    return store_temperature_c is None or store_temperature_c > HEATED_ABOVE_C


def above_flash(store_temperature_c: float | None, flash_c: float | None) -> bool:
    """Say whether stock counts as above its flash point; without one on record every heated store does."""
    if flash_c is None or store_temperature_c is None:
        return heated(store_temperature_c)
    return store_temperature_c >= flash_c


def needs_acknowledgement(act: Act, tin: Tin) -> bool:
    """Say whether a person has to acknowledge before the act (it is never forbidden)."""
    if act is Act.TAKE_OUT:
        return above_flash(tin.store_temperature_c, tin.flash_c)
    if act is Act.OPEN:
        return tin.bulged
    return act is Act.DISPOSE and (tin.gel_grade or 0) >= GRADE_FOR_DISPOSAL


def cautions(
    *,
    act: Act,
    store_temperature_c: float | None,
    flash_c: float | None,
    gel_grade: int | None = None,
    thinner_class: str | None = None,
    bulged: bool = False,
) -> tuple[str, ...]:
    """Return the lines to say before an act, the most pressing first; the standing line is not among them.

    What is not known is taken for the worse case. `cautions_for` also knows of amines and of the SDS's place.
    """
    tin = Tin(
        store_temperature_c=store_temperature_c,
        flash_c=flash_c,
        gel_grade=gel_grade,
        thinner_class=thinner_class,
        bulged=bulged,
    )
    return cautions_for(act, tin)


def cautions_for(act: Act, tin: Tin) -> tuple[str, ...]:
    """Return the same lines for a tin of which more is known."""
    lines = {
        Act.PLAN: _before_planning,
        Act.TAKE_OUT: _before_taking_out,
        Act.OPEN: _before_opening,
        Act.DISPOSE: _before_disposal,
        Act.STATE: _before_stating,
    }[Act(act)](tin)
    return tuple(lines)


def _flash_words(tin: Tin) -> str:
    store = "heated stock" if tin.store_temperature_c is None else f"{tin.store_temperature_c:g} °C stock"
    if tin.flash_c is None:
        return f"{store}, no flash point on record: treat it as above its flash point."
    return f"{store} above the thinner's flash point ({tin.flash_c:g} °C)."


def _bulged(tin: Tin) -> Iterator[str]:
    if tin.bulged:
        yield (
            "Bulged or singing tin: do not open or pierce it. Isolate, shield, let it cool closed to 23 °C "
            "or below for 24 h, call the site's responsible person, log it."
        )


def _reference(tin: Tin) -> Iterator[str]:
    if tin.sds:
        yield f"SDS: {tin.sds}"


def _before_planning(tin: Tin) -> Iterator[str]:
    if above_flash(tin.store_temperature_c, tin.flash_c):
        yield _flash_words(tin)
        yield (
            "Such a store needs a rated, ventilated oven with its own over-temperature cut-out and a bund "
            "tray; the site's licensed person decides."
        )
    if heated(tin.store_temperature_c):
        yield "Leave at least 15 % ullage in heated tins: the liquid expands and the air is squeezed."


def _before_taking_out(tin: Tin) -> Iterator[str]:
    yield from _bulged(tin)
    if above_flash(tin.store_temperature_c, tin.flash_c):
        yield f"{_flash_words(tin)} Cool closed 24 h, away from ignition. Hood."
    elif heated(tin.store_temperature_c):
        near = tin.flash_c is not None and (tin.store_temperature_c or 0) >= tin.flash_c - NEAR_FLASH_C
        yield (
            "Near the thinner's flash point. Cool closed 24 h. Hood."
            if near
            else "Cool closed before opening."
        )
    yield from _reference(tin)


def _before_opening(tin: Tin) -> Iterator[str]:
    yield from _bulged(tin)
    yield "Open in the hood: methanol may have formed (flash 11 °C, its odour warns too late). Do not sniff."
    if tin.gel_grade is not None and tin.gel_grade >= GRADE_FOR_DISPOSAL:
        yield "Nearly or fully gelled: expect pressure and much methanol; do not heat it to pour it."
    if tin.amine:
        yield "Amine catalyst: corrosive and sensitising by its SDS, also when aged. Gloves, eyes."
    if tin.thinner_class in PEROXIDE_CLASSES:
        yield "Glycol ether: peroxides form on ageing in air; test old or opened drums before use."
    yield from _reference(tin)


def _before_disposal(tin: Tin) -> Iterator[str]:
    yield from _bulged(tin)
    yield "Gelled but not dried is still flammable solvent waste with methanol; the site sets the waste code."
    yield "Lid loose in the ventilated waste store. Never water into the tin. Label it with the date."
    yield from _reference(tin)


def _before_stating(tin: Tin) -> Iterator[str]:
    yield "Applies to unopened tins as tested; heat of gelation in drums and totes was not evaluated."
    if tin.amine:
        yield "Amine catalyst: see its SDS; check the cure of stored stock before use."
    yield from _reference(tin)
