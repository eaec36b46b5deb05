"""Instruments at the bench: what turns a reading into mPa·s, which setting would be better, what is held.

What a guided round or a single entry asks before and while it measures. Viscosities are mPa·s, speeds rpm;
instants are aware UTC.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from stability.bench.cups import OwnCup, cup_named
from stability.bench.instruments import (
    OIL_LIMIT_PCT,
    SENTINEL_LIMIT_PCT,
    Certificate,
    Check,
    CheckKind,
    found_tolerance_pct,
)
from stability.bench.rotational import Range, Setting, best_setting, settings_of
from stability.bench.session import Hold, Override, why_held
from stability.errors import InputError
from stability.records.instruments import (
    InstrumentCard,
    OilRow,
    calibrations_of,
    cards,
    checks_of,
    facts_typed,
    oils,
    overrides_of,
)

__all__ = [
    "Means",
    "advised_setting",
    "certificates_by_instrument",
    "checks_by_instrument",
    "held",
    "hold_on",
    "means_for",
    "own_cup",
    "ranges_of",
]

Typed = Sequence[tuple[datetime, datetime, float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Means:
    """What one reading was measured with; names are those on record, whatever their case when typed."""

    card: InstrumentCard | None = None
    settings: tuple[Setting, ...] = ()
    cup: OwnCup | None = None
    own_cups: tuple[OwnCup, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """The instruments on record that the reading rests on."""
        found = (self.card.instrument if self.card else None, self.cup.name if self.cup else None)
        return tuple(dict.fromkeys(name for name in found if name))


NOTHING = Means()


def means_for(connection: sa.Connection, *, instrument: str | None, cup: str | None, at: datetime) -> Means:
    """Return what is on record of an instrument and a cup as typed; what is not on record is left out."""
    typed = [name for name in (instrument, cup) if name]
    if not typed:
        return NOTHING
    # a cup is told with those that would do better, so all of them are wanted
    known = cards(connection, at=at, named=None if cup else typed)
    by_fold = {name.casefold(): card for name, card in known.items()}
    card = by_fold.get((instrument or "").strip().casefold())
    cups = {name: own for name, one in known.items() if (own := own_cup(one)) is not None}
    cup_card = by_fold.get((cup or "").strip().casefold())
    return Means(
        card=card,
        settings=() if card is None else _settings(card),
        cup=cups.get(cup_card.instrument) if cup_card else None,
        own_cups=tuple(cups.values()),
    )


def own_cup(card: InstrumentCard) -> OwnCup | None:
    """Return a cup on record with its factor; None for other instruments and where no standard is named."""
    if card.kind != "cup":
        return None
    try:
        follows = cup_named(card.follows or card.instrument).name
    except InputError:
        return None
    return OwnCup(card.instrument, follows, card.cup_factor or card.factor or 1.0)


def ranges_of(card: InstrumentCard) -> tuple[Range, ...]:
    """Return the spindle ranges of an instrument."""
    names = Range.__slots__
    return tuple(Range(**{name: getattr(row, name) for name in names}) for row in card.ranges)


def _settings(card: InstrumentCard) -> tuple[Setting, ...]:
    return settings_of(ranges_of(card), torque_constant=card.torque_constant, speeds_rpm=card.speeds_rpm)


def advised_setting(
    connection: sa.Connection,
    instrument: str,
    viscosity_mpas: float,
    *,
    at: datetime,
    spindle: str | None = None,
) -> Setting | None:
    """Return the spindle and speed of an instrument that lands a viscosity at 20–90 % torque, or None.

    The `spindle` used last is kept where it can: another one asks for a bridge reading.
    """
    card = means_for(connection, instrument=instrument, cup=None, at=at).card
    return None if card is None else best_setting(viscosity_mpas, _settings(card), spindle=spindle)


def hold_on(
    connection: sa.Connection, instruments: Iterable[str], *, at: datetime, now: datetime
) -> tuple[str, Hold] | None:
    """Return the first of these instruments whose session was held at an instant, and why; else None."""
    for name in instruments:
        found = held(connection, at=at, as_of=now, instrument=name).get(name)
        if found is not None:
            return name, found
    return None


def held(
    connection: sa.Connection, *, at: datetime, as_of: datetime, instrument: str | None = None
) -> dict[str, Hold]:
    """Return the instruments held at an instant, by what is known as of another."""
    checks = checks_by_instrument(connection, as_of=as_of, instrument=instrument)
    if all(check.good for own in checks.values() for check in own):
        return {}
    certificates = certificates_by_instrument(connection, as_of=as_of, instrument=instrument)
    allowed: dict[str, list[Override]] = {}
    for row in overrides_of(connection, as_of=as_of, instrument=instrument):
        override = Override(at=row.at, person=row.person, reason=row.reason)
        allowed.setdefault(row.instrument, []).append(override)
    found = {
        name: why_held(own, at=at, certificates=certificates.get(name, ()), overrides=allowed.get(name, ()))
        for name, own in checks.items()
    }
    return {name: hold for name, hold in found.items() if hold is not None}


def certificates_by_instrument(
    connection: sa.Connection, *, as_of: datetime, instrument: str | None = None
) -> dict[str, tuple[Certificate, ...]]:
    """Return the certificates known by an instant, each with the tolerance that was set when it was filed."""
    typed = facts_typed(connection, "tolerance_pct", as_of=as_of)
    found: dict[str, list[Certificate]] = {}
    for row in calibrations_of(connection, as_of=as_of, instrument=instrument):
        set_then = _set_by(typed.get(row.instrument, ()), row.at, row.entered_at)
        certificate = Certificate(
            at=row.at,
            due_at=row.due_at,
            entered_at=row.entered_at,
            as_found_pct=row.as_found_pct,
            tolerance_pct=row.tolerance_pct or set_then or found_tolerance_pct(row.kind),
            certificate=row.certificate,
        )
        found.setdefault(row.instrument, []).append(certificate)
    return {name: tuple(own) for name, own in found.items()}


def checks_by_instrument(
    connection: sa.Connection, *, as_of: datetime, instrument: str | None = None
) -> dict[str, tuple[Check, ...]]:
    """Return the checks known by an instant, each with the limit that was set when it was made."""
    typed = facts_typed(connection, "limit_pct", as_of=as_of)
    lots = {oil.certified_mpas: oil for oil in oils(connection, as_of=as_of)}
    found: dict[str, list[Check]] = {}
    for row in checks_of(connection, as_of=as_of, instrument=instrument):
        lot = None if row.sample else _known_then(lots.get(row.expected_mpas), row.entered_at)
        set_then = _set_by(typed.get(row.instrument, ()), row.at, row.entered_at)
        oil_limit = (lot.limit_pct if lot else None) or set_then or OIL_LIMIT_PCT
        check = Check(
            at=row.at,
            kind=CheckKind.SENTINEL if row.sample else CheckKind.OIL,
            expected_mpas=row.expected_mpas,
            read_mpas=row.read_mpas,
            entered_at=row.entered_at,
            limit_pct=(row.limit_pct or SENTINEL_LIMIT_PCT) if row.sample else oil_limit,
            standard=row.sample or (lot.oil if lot else None),
        )
        found.setdefault(row.instrument, []).append(check)
    return {name: tuple(own) for name, own in found.items()}


def _known_then(lot: OilRow | None, at: datetime) -> OilRow | None:
    return lot if lot is not None and lot.entered_at <= at else None


def _set_by(typed: Typed, at: datetime, known_at: datetime) -> float | None:
    """Return what was set by then: a wider limit that is typed afterwards acquits nothing."""
    return next((value for since, known, value in reversed(typed) if since <= at and known <= known_at), None)
