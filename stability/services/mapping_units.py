"""Units that a laboratory's own sheet may use, and the way to ours; counted in decimals, not in binary.

Ours are those in the names of the columns: mPa·s, °C, g, g/mL, s, h, µm, %, days.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

__all__ = ["QUANTITIES", "Unit", "converted", "unit_in", "unit_named", "units_of"]


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: ours = (value + shift) × factor; `by_density` wants the liquid's density as well."""

    name: str
    factor: Decimal
    shift: Decimal = Decimal(0)
    spellings: tuple[str, ...] = ()
    by_density: bool = False


def _unit(name: str, factor: str, *spellings: str, shift: str = "0") -> Unit:
    return Unit(name, Decimal(factor), Decimal(shift), (name, *spellings))


_VISCOSITY = (
    _unit("mPa·s", "1", "mpas", "mpa.s", "mpa*s", "mpa s", "mpa-s", "millipascal seconds"),
    _unit("cP", "1", "cps", "centipoise", "centipoises"),
    _unit("Pa·s", "1000", "pas", "pa.s", "pa*s", "pa s", "pa-s"),
    _unit("P", "100", "poise", "poises"),
    Unit("mm²/s", Decimal(1), spellings=("mm²/s", "mm2/s", "mm^2/s", "cst", "centistokes"), by_density=True),
)
_TEMPERATURE = (
    _unit("°C", "1", "c", "degc", "deg c", "celsius", "grad c", "grad celsius"),
    Unit("°F", Decimal(5) / Decimal(9), Decimal(-32), ("°F", "f", "degf", "deg f", "fahrenheit")),
    _unit("K", "1", "kelvin", shift="-273.15"),
)
_MASS = (
    _unit("g", "1", "gram", "grams", "gramm", "grammes"),
    _unit("kg", "1000", "kilogram", "kilogramm"),
    _unit("mg", "0.001"),
)
_DENSITY = (
    _unit("g/mL", "1", "g/cm³", "g/cm3", "g/cc", "kg/l", "g/ccm"),
    _unit("kg/m³", "0.001", "kg/m3", "g/l"),
)
_SECONDS = (_unit("s", "1", "sec", "sek", "seconds", "sekunden", "secondes"),)
_HOURS = (
    _unit("h", "1", "hr", "hrs", "hours", "std", "stunden", "heures"),
    Unit("min", Decimal(1) / Decimal(60), spellings=("min", "minutes", "minuten")),
    _unit("d", "24", "days", "tage", "jours"),
)
_LENGTH = (_unit("µm", "1", "um", "μm", "micron", "microns", "mikrometer"), _unit("mil", "25.4", "mils"))
_AGE = (
    _unit("days", "1", "d", "day", "tag", "tage", "t", "jour", "jours", "j"),
    _unit("weeks", "7", "w", "wk", "wks", "week", "woche", "wochen", "wo", "semaine", "semaines", "sem"),
)
_PERCENT = (_unit("%", "1", "pct", "percent", "prozent", "wt%", "gew.-%", "gew-%", "m-%"),)
_SPEED = (_unit("rpm", "1", "1/min", "u/min", "min-1", "tr/min", "upm"),)

QUANTITIES: Mapping[str, tuple[Unit, ...]] = {
    "viscosity_mpas": _VISCOSITY,
    "temperature_c": _TEMPERATURE,
    "mass_g": _MASS,
    "density_g_ml": _DENSITY,
    "efflux_s": _SECONDS,
    "dry_through_h": _HOURS,
    "film_um": _LENGTH,
    "age": _AGE,
    "speed_rpm": _SPEED,
    **dict.fromkeys(("torque_pct", "humidity_pct", "level_pct", "additive_pct", "fill_pct"), _PERCENT),
}
"""Column of ours → the units it may come in, ours first."""


def units_of(target: str) -> tuple[Unit, ...]:
    """Return the units that a column may come in; empty where it has none."""
    return QUANTITIES.get(target, ())


def unit_named(target: str, text: str) -> Unit | None:
    """Return the unit of a column that a text spells, or None."""
    wanted = _bare(text)
    for unit in units_of(target):
        # P and Pa·s, K and kg: case tells nothing where nobody kept to it, except of one letter
        if len(wanted) == 1 and wanted.isupper() and wanted.casefold() in ("k", "f", "c", "p"):
            if wanted.casefold() in (spelling.casefold() for spelling in unit.spellings):
                return unit
            continue
        if wanted.casefold() in (_bare(spelling).casefold() for spelling in unit.spellings):
            return unit
    return None


def unit_in(target: str, header: str) -> Unit | None:
    """Return the unit that a header says: in brackets, after a slash or "in", or as its last word."""
    for found in (
        re.search(r"[\[({]\s*([^\])}]+?)\s*[\])}]", header),
        re.search(r"\s(?:in|en)\s+(\S+(?:\s\S+)?)\s*$", header),
        re.search(r"\s*/\s*(\S+(?:\s\S+)?)\s*$", header),
        re.search(r"[\s_,;:]+(\S+)\s*$", header),
    ):
        unit = unit_named(target, found.group(1)) if found else None
        if unit is not None:
            return unit
    return None


def _bare(text: str) -> str:
    """Return a unit's text without what people write differently: dots in the middle, blanks, brackets."""
    plain = text.strip().strip("[](){}.").replace("⋅", "·").replace("∙", "·").replace("º", "°")
    return plain.replace("·", "").replace(" ", "")


def converted(value: Decimal, unit: Unit) -> Decimal:
    """Return a value in our unit, without digits that only the division made.

    >>> converted(Decimal("73.4"), unit_named("temperature_c", "°F"))
    Decimal('23')
    """
    found = (value + unit.shift) * unit.factor
    return Decimal(format(round(found, 9).normalize(), "f"))
