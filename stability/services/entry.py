"""A reading as it is typed at the bench, and what is wrong with it on its face.

Viscosities are mPa·s, temperatures °C, speeds rpm, torque % of full scale, times s, masses g.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from stability.bench.rotational import full_scale_mpas, viscosity_from_torque
from stability.errors import InputError
from stability.records.readings import InstrumentRange
from stability.units import kinematic_to_dynamic, significant

__all__ = ["ReadingEntry", "Resolved", "faults_on_its_face", "parse_number", "parse_viscosity", "resolved"]

_POSITIVE = {
    "speed_rpm": ("speed", "rpm"),
    "efflux_s": ("efflux time", "s"),
    "density_g_ml": ("density", "g/mL"),
    "mass_g": ("mass", "g"),
}
_LONGEST = {
    "operator": 200,
    "instrument": 200,
    "spindle": 60,
    "cup": 60,
    "appearance": 500,
    "photo": 500,
    "note": 2000,
}
_FREE_TEXT = ("appearance", "photo", "note")
_LIQUID_C = (-50.0, 150.0)
_TORQUE_PCT = (10.0, 100.0)
# Two ways of measuring one liquid agree far better than this; beyond it one was another cup or spindle.
_CONTRADICTS = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingEntry:
    """The columns of the readings table as typed; `viscosity_mpas` may be text such as `>50000`."""

    sample: str
    taken_at: datetime | None = None
    viscosity_mpas: float | str | None = None
    temperature_c: float | None = None
    gel_grade: int | None = None
    operator: str | None = None
    instrument: str | None = None
    spindle: str | None = None
    speed_rpm: float | None = None
    torque_pct: float | None = None
    cup: str | None = None
    efflux_s: float | None = None
    density_g_ml: float | None = None
    mass_g: float | None = None
    appearance: str | None = None
    photo: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Resolved:
    """The viscosity of an entry, whether it is a lower bound, and the rule that computed it.

    `text` is what was typed where that is not plainly the number.
    """

    viscosity_mpas: float | None
    over_range: bool = False
    text: str | None = None
    rule: str | None = None
    advice: str | None = None


def parse_number(text: str) -> float:
    """Return a finite number written with a decimal point.

    Raises
    ------
    ValueError
        If it is anything else; the message says what.
    """
    typed = text.strip()
    if "," in typed and typed.replace(",", "").replace(".", "").lstrip("+-").isdigit():
        raise ValueError(f"{typed!r} has a comma: write a decimal point, and no separators of thousands")
    try:
        value = float(typed) if "_" not in typed else math.nan
    except ValueError:
        raise ValueError(f"{typed!r} is not a number") from None
    if not math.isfinite(value):
        raise ValueError(f"{typed!r} is not a finite number")
    return value


def parse_viscosity(typed: float | str) -> tuple[float, bool]:
    """Return a viscosity and whether it is only a lower bound (typed as `>50000`).

    Raises
    ------
    InputError
        If it is no positive number.
    """
    text = str(typed).strip()
    over_range = text.startswith(">")
    try:
        value = parse_number(text.removeprefix(">"))
    except ValueError as exc:
        raise InputError(
            f"viscosity {exc}", hint="mPa·s, for example 398, or >50000 for over-range"
        ) from None
    if not 0 < value < 1e300:
        raise InputError(
            f"viscosity {text} is not a positive number of mPa·s",
            hint="a gelled sample has no viscosity: give its grade instead (--grade 4)",
        )
    return value, over_range


def faults_on_its_face(entry: ReadingEntry) -> tuple[str, ...]:
    """Return what is wrong with an entry before anything else is known, one line each."""
    return tuple(_faults(entry))


def _faults(entry: ReadingEntry) -> Iterator[str]:
    for name, (words, unit) in _POSITIVE.items():
        value = getattr(entry, name)
        if value is not None and not (math.isfinite(value) and value > 0):
            yield f"{words} {value:g} is not a positive number of {unit}"
    degrees = entry.temperature_c
    if degrees is not None and not _LIQUID_C[0] <= degrees <= _LIQUID_C[1]:
        yield f"temperature {degrees:g} °C is not that of a liquid at the bench, -50 to 150 °C"
    grade = entry.gel_grade
    if grade is not None and (isinstance(grade, bool) or grade not in range(6)):
        yield f"gel grade {grade} is not one of 0 to 5"
    for name, longest in _LONGEST.items():
        text = getattr(entry, name)
        if text is not None and len(text) > longest:
            yield f"{name} has {len(text)} characters, at most {longest} are kept"
        if text is not None and not _prints(name, text):
            yield f"{name} {text!r} holds a character that does not print"


def _prints(name: str, text: str) -> bool:
    if name in _FREE_TEXT:  # lines, joiners and marks of any script are welcome; control characters are not
        return not any(unicodedata.category(c) in ("Cc", "Cs") and c not in "\n\r\t" for c in text)
    return text.isprintable()


def resolved(entry: ReadingEntry, instrument: InstrumentRange | None) -> Resolved:
    """Return the viscosity of an entry: as typed, else from torque, else from the cup, else none.

    What was read beside a typed number must not contradict it.

    Raises
    ------
    InputError
        If nothing gives a reading, a value lies outside its window, or two ways contradict each other.
    """
    if entry.viscosity_mpas is not None:
        value, over_range = parse_viscosity(entry.viscosity_mpas)
        if not over_range:
            _refuse_contradiction(entry, value, instrument)
        typed = str(entry.viscosity_mpas).strip()
        plain = repr(value) in (typed, f"{typed}.0")
        return Resolved(viscosity_mpas=value, over_range=over_range, text=None if plain else typed[:60])
    if entry.torque_pct is not None:
        return _from_torque(entry, instrument)
    if entry.efflux_s is not None or entry.cup is not None:
        return _from_cup(entry)
    if entry.gel_grade is None:
        raise InputError(
            f"sample {entry.sample}: nothing to log",
            hint="a viscosity; or --spindle --speed --torque --instrument; or --cup --efflux --density; "
            "or --grade",
        )
    return Resolved(viscosity_mpas=None)


def _from_torque(entry: ReadingEntry, instrument: InstrumentRange | None) -> Resolved:
    missing = [
        option
        for option, value in (
            ("--spindle", entry.spindle),
            ("--speed", entry.speed_rpm),
            ("--instrument", entry.instrument),
        )
        if value is None
    ]
    if missing:
        raise InputError(f"torque alone is no viscosity: {', '.join(missing)} is missing")
    if instrument is None:
        raise InputError(
            f"instrument {entry.instrument!r} is not on record",
            hint="import a table of instruments with its full_scale_mpas or factor, or give the viscosity",
        )
    measured = viscosity_from_torque(_full_scale(entry, instrument), entry.torque_pct or 0.0)
    return Resolved(viscosity_mpas=measured.viscosity_mpas, rule="torque 1", advice=measured.advice)


def _full_scale(entry: ReadingEntry, instrument: InstrumentRange) -> float:
    return full_scale_mpas(
        speed_rpm=entry.speed_rpm,
        full_scale_mpas=instrument.full_scale_mpas,
        factor=instrument.factor,
    )


def _from_cup(entry: ReadingEntry) -> Resolved:
    if entry.cup is None or entry.efflux_s is None or entry.density_g_ml is None:
        raise InputError("a cup reading needs --cup, --efflux [s] and --density [g/mL]")
    from stability.bench.cups import kinematic_viscosity

    kinematic = kinematic_viscosity(entry.cup, entry.efflux_s)
    return Resolved(viscosity_mpas=kinematic_to_dynamic(kinematic, entry.density_g_ml), rule="cup 1")


def _refuse_contradiction(entry: ReadingEntry, value: float, instrument: InstrumentRange | None) -> None:
    for words, other in _other_ways(entry, instrument):
        if not 1 / _CONTRADICTS <= value / other <= _CONTRADICTS:
            raise InputError(
                f"viscosity {significant(value)} mPa·s, but {words} gives {significant(other)} mPa·s",
                hint="another cup, another spindle, or a slip in one of the numbers",
            )


def _other_ways(entry: ReadingEntry, instrument: InstrumentRange | None) -> Iterator[tuple[str, float]]:
    torque = entry.torque_pct
    if torque is not None:
        low, high = _TORQUE_PCT
        if not low <= torque <= high:
            raise InputError(
                f"torque {torque:g} % is not within {low:g} to {high:g} %",
                hint="another spindle or speed, to land at 20–90 %; type >VALUE for over-range",
            )
        known = instrument is not None and (
            instrument.full_scale_mpas or (instrument.factor and entry.speed_rpm)
        )
        if instrument is not None and known:
            measured = viscosity_from_torque(_full_scale(entry, instrument), torque)
            yield f"{torque:g} % torque", measured.viscosity_mpas
    if entry.cup and entry.efflux_s and entry.density_g_ml and _equation_known(entry.cup):
        yield f"{entry.efflux_s:g} s from {entry.cup}", _from_cup(entry).viscosity_mpas or math.nan


def _equation_known(cup: str) -> bool:
    """Say whether a cup is a standard one, not one of the laboratory's own name."""
    from stability.bench.cups import cup_named

    try:
        cup_named(cup)
    except InputError:
        return False
    return True
