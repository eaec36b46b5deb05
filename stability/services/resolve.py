"""The viscosity of an entry: as typed, from torque or from a cup, and whether two ways contradict each other.

Viscosities are mPa·s, torque % of full scale, times s, densities g/mL.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

import sqlalchemy as sa

from stability.bench.rotational import Measured, full_scale_mpas, range_of, viscosity_from_torque
from stability.errors import InputError
from stability.services.entry import ReadingEntry, Resolved, parse_viscosity
from stability.units import kinematic_to_dynamic, significant

if TYPE_CHECKING:
    from stability.records.instruments import InstrumentCard
    from stability.services.instruments import Means

__all__ = ["held_words", "resolved", "with_means"]

_TORQUE_PCT = (10.0, 100.0)
# Two ways of measuring one liquid agree far better than this; beyond it one was another cup or spindle.
_CONTRADICTS = 1.5
_EXPLAINS = 1.15


def with_means(connection: sa.Connection, entry: ReadingEntry) -> tuple[ReadingEntry, Means | None]:
    """Return an entry with its instrument and cup named as on record, and what is known of them."""
    if not (entry.instrument or entry.cup) or entry.taken_at is None:
        return entry, None
    from stability.services.instruments import means_for

    means = means_for(connection, instrument=entry.instrument, cup=entry.cup, at=entry.taken_at)
    if means.card is not None:
        entry = replace(entry, instrument=means.card.instrument)
    if means.cup is not None:
        entry = replace(entry, cup=means.cup.name)
    return entry, means


def held_words(connection: sa.Connection, means: Means | None, *, at: datetime, now: datetime) -> str | None:
    """Return why readings with an instrument are held at this moment, or None."""
    if means is None or not means.names:
        return None
    from stability.services.instruments import hold_on

    found = hold_on(connection, means.names, at=at, now=now)
    return None if found is None else f"the session with {found[0]} is held: {found[1].says}"


def resolved(entry: ReadingEntry, means: Means | None = None) -> Resolved:
    """Return the viscosity of an entry: as typed, else from torque, else from the cup, else none.

    What was read beside a typed number must not contradict it; `means` is what is on record of what it was
    measured with.

    Raises
    ------
    InputError
        If nothing gives a reading, a value lies outside its window, or two ways contradict each other.
    """
    if entry.viscosity_mpas is not None:
        value, over_range = parse_viscosity(entry.viscosity_mpas)
        uncertainty = None if over_range else _refuse_contradiction(entry, value, means)
        typed = str(entry.viscosity_mpas).strip()
        plain = repr(value) in (typed, f"{typed}.0")
        return Resolved(
            viscosity_mpas=value,
            uncertainty_mpas=uncertainty,
            over_range=over_range,
            text=None if plain else typed[:60],
        )
    if entry.torque_pct is not None:
        return _from_torque(entry, means)
    if entry.efflux_s is not None or entry.cup is not None:
        return _from_cup(entry, means)
    if entry.gel_grade is None:
        raise InputError(
            f"sample {entry.sample}: nothing to log",
            hint="a viscosity; or --spindle --speed --torque --instrument; or --cup --efflux --density; "
            "or --grade",
        )
    return Resolved(viscosity_mpas=None)


def _from_torque(entry: ReadingEntry, means: Means | None) -> Resolved:
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
    if means is None or means.card is None:
        raise InputError(
            f"instrument {entry.instrument!r} is not on record",
            hint="stability instrument add, or import a table of instruments; or give the viscosity",
        )
    measured = _measured(entry, means, means.card)
    return Resolved(
        viscosity_mpas=measured.viscosity_mpas,
        uncertainty_mpas=measured.uncertainty_mpas,
        rule="torque 2" if means.card.ranges else "torque 1",
        advice=measured.advice,
    )


def _measured(entry: ReadingEntry, means: Means, card: InstrumentCard) -> Measured:
    return viscosity_from_torque(
        _full_scale(entry, card),
        entry.torque_pct or 0.0,
        spindle=entry.spindle,
        speed_rpm=entry.speed_rpm,
        settings=means.settings,
    )


def _full_scale(entry: ReadingEntry, card: InstrumentCard) -> float:
    """Return the viscosity at full scale; ranges typed by spindle leave no room for one that is not there."""
    if card.ranges and entry.spindle and entry.speed_rpm:
        from stability.services.instruments import ranges_of

        found = range_of(
            entry.spindle, entry.speed_rpm, ranges=ranges_of(card), torque_constant=card.torque_constant
        )
        if found is None:
            known = ", ".join(dict.fromkeys(each.spindle for each in card.ranges))
            raise InputError(
                f"spindle {entry.spindle!r} of {card.instrument} has no range on record",
                hint=f"on record: {known}; stability instrument add {card.instrument} --spindle … adds one",
            )
        return found
    return full_scale_mpas(
        speed_rpm=entry.speed_rpm, full_scale_mpas=card.full_scale_mpas, factor=card.factor
    )


def _from_cup(entry: ReadingEntry, means: Means | None) -> Resolved:
    if entry.cup is None or entry.efflux_s is None or entry.density_g_ml is None:
        raise InputError("a cup reading needs --cup, --efflux [s] and --density [g/mL]")
    from stability.bench.cups import kinematic_viscosity

    own = means.cup if means else None
    kinematic = kinematic_viscosity(
        own.follows if own else entry.cup,
        entry.efflux_s,
        factor=own.factor if own else 1.0,
        own=means.own_cups if means else (),
    )
    return Resolved(
        viscosity_mpas=kinematic_to_dynamic(kinematic, entry.density_g_ml), rule="cup 2" if own else "cup 1"
    )


def _refuse_contradiction(entry: ReadingEntry, value: float, means: Means | None) -> float | None:
    """Refuse a number that what was read beside it contradicts; return its uncertainty where torque tells."""
    uncertainty = None
    for words, other, own in _other_ways(entry, means):
        if not 1 / _CONTRADICTS <= value / other <= _CONTRADICTS:
            raise InputError(
                f"viscosity {significant(value)} mPa·s, but {words} gives {significant(other)} mPa·s",
                hint=_decimal_slip(value, other) or _likely_slip(entry, value, means),
            )
        uncertainty = own or uncertainty
    return uncertainty


def _other_ways(entry: ReadingEntry, means: Means | None) -> Iterator[tuple[str, float, float | None]]:
    torque = entry.torque_pct
    card = means.card if means else None
    if torque is not None:
        low, high = _TORQUE_PCT
        known = card is not None and (
            card.ranges or card.full_scale_mpas or (card.factor and entry.speed_rpm)
        )
        if means is not None and card is not None and known:
            measured = _measured(entry, means, card)
            yield f"{torque:g} % torque", measured.viscosity_mpas, measured.uncertainty_mpas
        elif not low <= torque <= high:
            raise InputError(
                f"torque {torque:g} % is not within {low:g} to {high:g} %",
                hint="another spindle or speed, to land at 20–90 %; type >VALUE for over-range",
            )
    if entry.cup and entry.efflux_s and entry.density_g_ml and _equation_known(entry.cup, means):
        found = _from_cup(entry, means).viscosity_mpas or math.nan
        yield f"{entry.efflux_s:g} s from {entry.cup}", found, None


def _decimal_slip(value: float, other: float) -> str | None:
    for factor, words in ((10, "ten times too much"), (0.1, "a tenth")):
        if 1 / _EXPLAINS <= value / factor / other <= _EXPLAINS:
            return f"{words}? {significant(value / factor)} mPa·s would fit"
    return None


def _likely_slip(entry: ReadingEntry, value: float, means: Means | None) -> str:
    """Name the cup that would have given these seconds, and the seconds that this cup would have taken."""
    told = []
    if entry.cup and entry.efflux_s and entry.density_g_ml and _equation_known(entry.cup, means):
        from stability.bench.cups import CUPS, OwnCup, cup_named

        standard = OwnCup(entry.cup, cup_named(means.cup.follows if means and means.cup else entry.cup).name)
        this = means.cup if means and means.cup else standard
        others = means.own_cups if means and means.cup else tuple(OwnCup(name, name) for name in CUPS)
        kinematic = value / entry.density_g_ml
        for other in others:
            family = other.follows.split()[0] == this.follows.split()[0]
            ratio = other.viscosity(entry.efflux_s) / kinematic
            if family and other.follows != this.follows and 1 / _EXPLAINS <= ratio <= _EXPLAINS:
                told.append(f"{entry.efflux_s:g} s would fit {other.name}: was that the cup?")
        if this.covers(kinematic):
            told.append(f"{this.name} would take about {this.time(kinematic):.0f} s")
    return "; ".join(told) or "another cup, another spindle, or a slip in one of the numbers"


def _equation_known(cup: str, means: Means | None) -> bool:
    """Say whether a cup is a standard one, or one of the laboratory's with a standard that it follows."""
    if means is not None and means.cup is not None:
        return True
    from stability.bench.cups import cup_named

    try:
        cup_named(cup)
    except InputError:
        return False
    return True
