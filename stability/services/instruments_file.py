"""Putting instruments on record, and what is typed of them later; every act is noted.

Ranges are mPa·s, speeds rpm, deviations %; instants are aware UTC. Nothing is changed: what is typed again
counts from then on, what counted before stays on record.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from stability.bench.cups import cup_named
from stability.bench.rotational import Range
from stability.errors import InputError
from stability.records.engine import Records
from stability.records.events import note
from stability.records.instruments import FACTS, InstrumentCard, cards, insert_row, put_instrument
from stability.records.tables.instruments import (
    InstrumentFact,
    SpindleRange,
)
from stability.services.faults import typed
from stability.services.lookup import nearest
from stability.services.tables_instruments import KINDS

__all__ = ["Facts", "Range", "add_instrument", "card_named", "not_ahead", "plain_text", "positive"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What is typed of an instrument; what is left out stays as it was."""

    torque_constant: float | None = None
    speeds_rpm: tuple[float, ...] = ()
    follows: str | None = None
    cup_factor: float | None = None
    limit_pct: float | None = None
    tolerance_pct: float | None = None
    ranges: tuple[Range, ...] = ()


def card_named(connection: sa.Connection, instrument: str, *, at: datetime) -> InstrumentCard:
    """Return an instrument by its name, whatever its case.

    Raises
    ------
    InputError
        If there is none of that name; the nearest are offered.
    """
    found = cards(connection, at=at, named=[instrument])
    if not found:
        names = tuple(cards(connection, at=at))
        hint = nearest(instrument, names) or "stability instrument add NAME --kind KIND puts it on record"
        raise InputError(f"instrument {typed(instrument)} is not on record", hint=hint)
    return next(iter(found.values()))


def add_instrument(  # noqa: PLR0913 - which instrument, what of it, and who says so when
    records: Records,
    instrument: str,
    facts: Facts,
    *,
    kind: str | None,
    person: str,
    at: datetime,
    now: datetime,
) -> InstrumentCard:
    """Put an instrument on record, or what is typed of one that is; return what counts of it now.

    Raises
    ------
    InputError
        If a new one has no kind, a number is not positive, or the cup it follows is not known.
    """
    name = plain_text(instrument, "an instrument's name")
    values = _checked(facts)
    not_ahead(at, now)
    with records.writing() as connection:
        known = next(iter(cards(connection, at=now, named=[name]).values()), None)
        if known is None:
            if kind is None:
                raise InputError(
                    f"instrument {typed(name)} is new and has no kind", hint="--kind " + "|".join(KINDS)
                )
            number = put_instrument(connection, name, {"kind": kind})
        elif kind not in (None, known.kind):
            raise InputError(
                f"{known.instrument} is on record as {known.kind}", hint="another kind is another instrument"
            )
        else:
            name, number = known.instrument, known.id
        _fits_kind(kind or (known.kind if known else ""), facts)
        _insert(connection, number, values, facts.ranges, at=at, now=now)
        details = {**values, "ranges": [asdict(each) for each in facts.ranges], "at": at}
        verb = "added instrument" if known is None else "typed of instrument"
        note(connection, at=now, person=person, verb=verb, subject=name, details=details)
        return cards(connection, at=max(at, now), named=[name])[name]


def _insert(
    connection: sa.Connection,
    number: int,
    values: Mapping[str, Any],
    ranges: tuple[Range, ...],
    *,
    at: datetime,
    now: datetime,
) -> None:
    own = {"instrument_id": number, "at": at, "entered_at": now}
    try:
        if values:
            insert_row(connection, InstrumentFact, {**values, **own})
        for each in ranges:
            insert_row(connection, SpindleRange, {**asdict(each), **own})
    except sa.exc.IntegrityError:
        raise InputError(
            "something was typed of this instrument for that very time", hint="give another --at"
        ) from None


def _checked(facts: Facts) -> dict[str, Any]:
    """Return the facts as stored; only what was typed."""
    numbers = ("torque_constant", "cup_factor", "limit_pct", "tolerance_pct")
    positive({name.replace("_", " "): getattr(facts, name) for name in numbers})
    for speed in facts.speeds_rpm:
        positive({"speed": speed})
    for each in facts.ranges:
        plain_text(each.spindle, "a spindle", longest=60)
        positive({"speed": each.speed_rpm, "full scale": each.full_scale_mpas})
        positive({"spindle factor": each.spindle_factor, "volume": each.volume_ml})
        if (each.full_scale_mpas is None) == (each.spindle_factor is None):
            raise InputError(f"spindle {typed(each.spindle)} needs a range at a speed, or a factor, not both")
    values: dict[str, Any] = {name: getattr(facts, name) for name in FACTS}
    values["speeds_rpm"] = " ".join(f"{speed:g}" for speed in facts.speeds_rpm) or None
    values["follows"] = cup_named(facts.follows).name if facts.follows else None
    return {name: value for name, value in values.items() if value is not None}


def _fits_kind(kind: str, facts: Facts) -> None:
    if kind != "cup" and (facts.follows or facts.cup_factor):
        raise InputError(f"only a cup follows a standard cup, not a {kind} instrument")
    if kind != "rotational" and (facts.ranges or facts.torque_constant or facts.speeds_rpm):
        raise InputError(f"spindles and speeds belong to a rotational instrument, not to a {kind}")


def positive(numbers: Mapping[str, float | None]) -> None:
    """Refuse numbers that are not positive; what is None was not typed."""
    for what, value in numbers.items():
        if value is not None and not (math.isfinite(value) and 0 < value < 1e300):
            raise InputError(f"{what} is a positive number, got {value:g}")


def plain_text(text: str, what: str, *, longest: int = 200) -> str:
    """Return a name without blanks at its ends; refuse what cannot be shown again."""
    words = text.strip()
    if not 0 < len(words) <= longest or not words.isprintable():
        raise InputError(
            f"{what} {typed(text)} cannot be kept; expected 1 to {longest} characters that print"
        )
    return words


def not_ahead(at: datetime, now: datetime) -> None:
    """Refuse a time that has not come yet."""
    if at > now:
        raise InputError("a time in the future", hint="check --at and the time zone")
