"""Hazard words for a retained sample's label: few, large, and second to the SDS.

Temperatures are °C (closed cup). No class of any regulation is claimed: a blend's own flash point is set by
its most volatile part and by released methanol, and is measured or taken from its SDS, never averaged here.
"""

from __future__ import annotations

from stability.chemistry.cautions import PEROXIDE_CLASSES, STANDING_LINE, Tin, heated

__all__ = ["hazard_words"]

FLAMMABLE_UP_TO_C = 60.0
"""Flash point up to which the harmonised system (GHS) calls a liquid flammable, [°C]; from memory."""


def hazard_words(tin: Tin, *, thinned: bool) -> tuple[str, ...]:
    """Return the lines for a label, the most pressing first; the last is the standing line.

    >>> hazard_words(Tin(flash_c=42.0, store_temperature_c=50.0, sds="sheet 3"), thinned=True)[0]
    'FLAMMABLE: thinner flashes at 42 °C'
    """
    lines = [_flammable(tin, thinned=thinned), "METHANOL may have formed: hood, do not sniff"]
    if heated(tin.store_temperature_c):
        lines.append("PRESSURE: cool closed 24 h; bulged: do not open")
    if tin.amine:
        lines.append("AMINE: corrosive, sensitising")
    if tin.thinner_class in PEROXIDE_CLASSES:
        lines.append("PEROXIDES on ageing in air")
    if tin.sds:
        lines.append(f"SDS: {tin.sds}")
    return (*lines, STANDING_LINE)


def _flammable(tin: Tin, *, thinned: bool) -> str:
    if not thinned:
        return "FLAMMABLE: methanol can be released"
    if tin.flash_c is None:
        return "FLAMMABLE: no flash point on record"
    if tin.flash_c <= FLAMMABLE_UP_TO_C:
        return f"FLAMMABLE: thinner flashes at {tin.flash_c:g} °C"
    return f"COMBUSTIBLE: thinner flashes at {tin.flash_c:g} °C, released methanol at 11 °C"
