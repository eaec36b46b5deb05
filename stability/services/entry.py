"""A reading as it is typed at the bench, and what is wrong with it on its face.

Viscosities are mPa·s, temperatures °C, speeds rpm, torque % of full scale, times s, masses g.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from stability.bench.answers import LIQUID_C
from stability.errors import InputError

__all__ = ["ReadingEntry", "Resolved", "faults_on_its_face", "parse_number", "parse_viscosity"]

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

    `text` is what was typed where that is not plainly the number, the uncertainty that of the torque sensor.
    """

    viscosity_mpas: float | None
    uncertainty_mpas: float | None = None
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
    if degrees is not None and not LIQUID_C[0] <= degrees <= LIQUID_C[1]:
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
