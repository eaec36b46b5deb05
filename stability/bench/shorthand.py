"""Short answers at the bench, typed with one hand: what each word of a line means.

The grammar; words are parted by blanks, a sign of the unit settles what a number is:

    345            viscosity, mPa·s (or the number that is asked for: grade, temperature, mass, seconds)
    345 41.2       viscosity and torque, %         345 348, 345/348   two determinations
    345 41.2 23.1  viscosity, torque, °C           >50000             over range, a lower bound
    41.2%  t41.2   torque, %                       23.1C              temperature in the liquid, °C
    61.5s          efflux time, s                  g3                 gel grade 0–5
    m226.31  226.31g  mass before opening, g       m226.31/214.50     before opening and after closing, g
    336@10 300@100 two speeds, mPa·s @ rpm         thick              no number can be read: grade it

Words of the gel card stand for their grade (`strings` is 2). Where a bare number could be two things it is
not guessed: the fault says how to write either.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import fields, replace
from types import MappingProxyType

from stability.bench.answers import Answer, Asked, check_answer
from stability.errors import InputError

__all__ = ["GRADE_OF_WORD", "parse_answer"]

LONGEST_ANSWER = 200
GRADE_OF_WORD: Mapping[str, int] = MappingProxyType(
    {
        "runs": 0,
        "slow": 1,
        "slower": 1,
        "tongue": 2,
        "strings": 2,
        "lumps": 2,
        "sags": 3,
        "gelled": 4,
        "gel": 4,
        "hard": 5,
        "rings": 5,
    }
)
_ALIKE = 1.25
"""Two fillings of one tin lie nearer to each other than this; a torque seldom lies as near to a viscosity."""
_ROOM_C = (15.0, 31.0)
_TORQUE_NEAR = 1.25
_UNIT_APART = re.compile(r"(?<=[0-9.])\s*°?\s*(%|[cC])(?=\s|$)")
_BOTH_MASSES = re.compile(r"[0-9.]+/[0-9.]+")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")


def parse_answer(text: str, *, asked: Asked, full_scale_mpas: float | None = None) -> Answer:
    """Return what a line says; `full_scale_mpas` helps to tell a torque from anything else.

    >>> parse_answer("345 41.2", asked=Asked.VISCOSITY).torque_pct
    41.2
    >>> parse_answer("345 348 g1", asked=Asked.VISCOSITY).viscosities
    (345.0, 348.0)

    Raises
    ------
    InputError
        If a word cannot be understood, says something twice, or lies outside its rule.
    """
    if len(text) > LONGEST_ANSWER:
        raise InputError(f"an answer has at most {LONGEST_ANSWER} characters")
    found = Answer()
    bare: list[float] = []
    for word in _UNIT_APART.sub(r"\1", text).split():
        said = _masses(word) if asked is Asked.MASS and _BOTH_MASSES.fullmatch(word) else _marked(word)
        if said is None:
            bare.append(_number(word))
        else:
            found = _joined(found, said, word)
    found = _with_bare(found, bare, asked, full_scale_mpas)
    check_answer(found)
    return found


def _marked(word: str) -> Answer | None:
    """Return what a word says that carries its own mark, or None for a bare number."""
    low = word.casefold()
    if low == "thick":
        return Answer(thick=True)
    if low in GRADE_OF_WORD:
        return Answer(gel_grade=GRADE_OF_WORD[low])
    if low in ("%", "c", "s"):
        raise InputError(f"{word!r} stands alone: write it behind its number, without a blank")
    for pattern, make in _MARKS:
        told = pattern.fullmatch(low)
        if told:
            return make(told.group(1))
    return None


def _over(text: str) -> Answer:
    return Answer(viscosities=(_number(text),), over_range=True)


def _repeated(text: str) -> Answer:
    values = tuple(_number(part) for part in text.split("/"))
    if len(values) > 3:
        raise InputError(f"{text!r}: at most three determinations make one reading")
    return Answer(viscosities=values)


def _speed(text: str) -> Answer:
    value, rpm = text.split("@")
    return Answer(speeds=((_number(value), _number(rpm)),))


def _grade(text: str) -> Answer:
    return Answer(gel_grade=_whole_grade(text))


def _masses(text: str) -> Answer:
    before, _, after = text.partition("/")
    return Answer(mass_g=_number(before), mass_after_g=_number(after) if after else None)


_ANY = r"([^/@%>]+)"
_MARKS: tuple[tuple[re.Pattern[str], Callable[[str], Answer]], ...] = (
    (re.compile(r">(.+)"), _over),
    (re.compile(_ANY + "%"), lambda text: Answer(torque_pct=_number(text))),
    (re.compile(r"t([0-9.].*)"), lambda text: Answer(torque_pct=_number(text))),
    (re.compile(_ANY + "c"), lambda text: Answer(temperature_c=_number(text))),
    (re.compile(_ANY + "s"), lambda text: Answer(efflux_s=_number(text))),
    (re.compile(r"g(.*)"), _grade),
    (re.compile(r"m([0-9.].*)"), _masses),
    (re.compile(_ANY + "g"), _masses),
    (re.compile(r"([^/@]+@[^/@]+)"), _speed),
    (re.compile(r"([^/]+(?:/[^/]+)+)"), _repeated),
)


def _number(text: str) -> float:
    if "," in text and text.replace(",", "").replace(".", "").isdigit():
        raise InputError(f"{text!r} has a comma: write a decimal point, and no separators of thousands")
    if not _NUMBER.fullmatch(text):
        raise InputError(f"{text[:40]!r} is not understood", hint="? shows what can be typed")
    value = float(text)
    if not math.isfinite(value):
        raise InputError(f"{text[:40]!r} is not a finite number")
    return value


def _whole_grade(text: str) -> int:
    if text not in ("0", "1", "2", "3", "4", "5"):
        raise InputError(f"a gel grade is 0 to 5, got {text[:20]!r}", hint="g0 to g5; ? shows the card")
    return int(text)


def _joined(found: Answer, said: Answer, word: str) -> Answer:
    if said.speeds:
        return replace(found, speeds=found.speeds + said.speeds)
    changed = {f.name: getattr(said, f.name) for f in fields(said) if getattr(said, f.name) != f.default}
    if any(getattr(found, name) != getattr(Answer(), name) for name in changed):
        raise InputError(f"{word[:40]!r} says a thing that was said before in the same answer")
    return replace(found, **changed)


def _with_bare(found: Answer, bare: list[float], asked: Asked, full_scale_mpas: float | None) -> Answer:
    if not bare:
        return found
    # seconds that are marked leave the bare number for the viscosity beside them
    if asked is Asked.VISCOSITY or (asked is Asked.SECONDS and found.efflux_s is not None):
        return _viscosities(found, bare, full_scale_mpas)
    said = _first_bare(asked, bare[0])
    rest = bare[1:]
    if asked is Asked.MASS and rest:
        said, rest = replace(said, mass_after_g=rest[0]), rest[1:]
    if rest:
        raise InputError(f"{rest[0]:g} is one number too many: write what it is, for example 23.1C or g0")
    return _joined(found, said, f"{bare[0]:g}")


def _first_bare(asked: Asked, value: float) -> Answer:
    if asked is Asked.GRADE:
        return Answer(gel_grade=_whole_grade(f"{value:g}"))
    if asked is Asked.TEMPERATURE:
        return Answer(temperature_c=value)
    return Answer(mass_g=value) if asked is Asked.MASS else Answer(efflux_s=value)


def _viscosities(found: Answer, bare: list[float], full_scale_mpas: float | None) -> Answer:
    values = list(found.viscosities)
    if found.over_range or found.speeds:
        raise InputError(
            f"{bare[0]:g} beside another viscosity: write what it is, for example 41.2% or 23.1C"
        )
    for value in bare:
        if not values:
            values.append(value)
            continue
        name = _what(value, values[0], found, full_scale_mpas)
        if name == "viscosities":
            values.append(value)
        elif name == "torque_pct":
            found = replace(found, torque_pct=value)
        else:
            found = replace(found, temperature_c=value)
    if len(values) > 3:
        raise InputError("at most three determinations make one reading")
    return replace(found, viscosities=tuple(values))


def _what(value: float, first: float, found: Answer, full_scale_mpas: float | None) -> str:
    """Return what a further bare number is; where it could be two things, the fault says how to write it."""
    could = []
    if first > 0 and 1 / _ALIKE <= value / first <= _ALIKE:
        could.append("viscosities")
    if found.torque_pct is None and 10 <= value <= 100:
        could.append("torque_pct")
    if found.temperature_c is None and _ROOM_C[0] <= value <= _ROOM_C[1]:
        could.append("temperature_c")
    if "torque_pct" in could and full_scale_mpas and first > 0:
        near = 1 / _TORQUE_NEAR <= value / (100 * first / full_scale_mpas) <= _TORQUE_NEAR
        if near and could == ["torque_pct", "temperature_c"]:
            return "torque_pct"
        if not near and len(could) > 1:
            could.remove("torque_pct")
    if len(could) == 1:
        return could[0]
    shown = f"{value:g}"
    ways = {
        "viscosities": f"{first:g}/{shown} for two determinations",
        "torque_pct": f"{shown}% for torque",
        "temperature_c": f"{shown}C for the liquid's temperature",
    }
    meant = ", ".join(ways[name] for name in could or ways)
    raise InputError(f"{shown} behind {first:g} can be several things: write {meant}")
