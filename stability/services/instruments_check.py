"""Checks of instruments before a session, their control chart, and a named person's override of a hold.

Viscosities are mPa·s, deviations %; instants are aware UTC. A check that is off holds the readings of its
instrument from then on, and marks those since the last good check.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from stability.bench.control_chart import Chart, chart
from stability.bench.instruments import SENTINEL_LIMIT_PCT, Check, CheckKind
from stability.bench.session import Hold
from stability.errors import InputError
from stability.records.engine import Records
from stability.records.events import note
from stability.records.instruments import InstrumentCard, insert_row, oils
from stability.records.readings import SampleAtBench, readings_of
from stability.records.tables.instruments import OilCheck, SentinelCheck, SessionOverride
from stability.services.faults import typed
from stability.services.instruments import certificates_by_instrument, checks_by_instrument, held
from stability.services.instruments_file import card_named, not_ahead, positive
from stability.services.lookup import known_sample
from stability.services.release import named_person, told_reason
from stability.services.surroundings import expected_at

__all__ = ["Asked", "Charted", "CheckKind", "Checked", "chart_of", "check_instrument", "override_hold"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A check as typed: what was read, of which oil or certified value, or of which sentinel sample."""

    read_mpas: float
    at: datetime
    oil: str | None = None
    certified_mpas: float | None = None
    sentinel: str | None = None
    expected_mpas: float | None = None
    operator: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Charted:
    """The checks of one kind since the last certificate, and the chart of them."""

    instrument: str
    kind: CheckKind
    checks: tuple[Check, ...]
    chart: Chart


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What a check says: itself, the chart with it, and what is held now."""

    instrument: str
    check: Check
    charted: Charted
    hold: Hold | None


def check_instrument(
    records: Records, instrument: str, asked: Asked, *, person: str, now: datetime
) -> Checked:
    """Store a check and return what it says of the instrument.

    Raises
    ------
    InputError
        If the instrument, the oil or the sample is not on record, or a number is not positive.
    """
    positive({"a check reading": asked.read_mpas, "a certified value": asked.certified_mpas})
    positive({"an expected value": asked.expected_mpas})
    not_ahead(asked.at, now)
    with records.writing() as connection:
        card = card_named(connection, instrument, at=asked.at)
        own = {"instrument_id": card.id, "at": asked.at, "read_mpas": asked.read_mpas, "entered_at": now}
        own["operator"] = asked.operator or person
        try:
            if asked.sentinel is not None:
                _sentinel(connection, asked, own)
            else:
                certified = _certified(connection, card, asked, now=now)
                insert_row(connection, OilCheck, {**own, "certified_mpas": certified})
        except sa.exc.IntegrityError:
            raise InputError(
                f"{card.instrument} has a check of that very time", hint="give another --at"
            ) from None
        kind = CheckKind.OIL if asked.sentinel is None else CheckKind.SENTINEL
        charted = _charted(connection, card.instrument, kind, as_of=now)
        check = next(each for each in reversed(_checks(connection, card, kind, now)) if each.at == asked.at)
        details = {
            "kind": kind.value,
            "expected_mpas": check.expected_mpas,
            "read_mpas": check.read_mpas,
            "limit_pct": check.limit_pct,
            "good": check.good,
        }
        note(connection, at=now, person=person, verb="checked", subject=card.instrument, details=details)
        hold = held(connection, at=now, as_of=now, instrument=card.instrument).get(card.instrument)
    return Checked(instrument=card.instrument, check=check, charted=charted, hold=hold)


def _checks(connection: sa.Connection, card: InstrumentCard, kind: CheckKind, now: datetime) -> list[Check]:
    known = checks_by_instrument(connection, as_of=now, instrument=card.instrument)
    return [check for check in known.get(card.instrument, ()) if check.kind is kind]


def _certified(connection: sa.Connection, card: InstrumentCard, asked: Asked, *, now: datetime) -> float:
    """Return the certified value: of the lot named, as typed, or of this instrument's last check."""
    if asked.oil is not None:
        known = {lot.oil.casefold(): lot for lot in oils(connection, as_of=now)}
        lot = known.get(asked.oil.strip().casefold())
        if lot is None:
            raise InputError(
                f"oil {typed(asked.oil)} is not on record",
                hint="stability instrument oil NAME --certified MPAS puts a lot on record",
            )
        if lot.until is not None and asked.at > lot.until:
            raise InputError(f"oil {typed(lot.oil)} is past its date", hint="open a new lot")
        return lot.certified_mpas
    if asked.certified_mpas is not None:
        return asked.certified_mpas
    before = _checks(connection, card, CheckKind.OIL, now)
    if not before:
        raise InputError("which oil was read?", hint="--oil LOT, or --certified MPAS from its certificate")
    return before[-1].expected_mpas


def _sentinel(connection: sa.Connection, asked: Asked, own: dict[str, object]) -> None:
    sample = known_sample(connection, asked.sentinel or "", at=asked.at)
    expected = asked.expected_mpas or _expected(connection, sample, asked.at)
    row = {**own, "sample": sample.sample, "expected_mpas": expected, "limit_pct": SENTINEL_LIMIT_PCT}
    insert_row(connection, SentinelCheck, row)


def _expected(connection: sa.Connection, sample: SampleAtBench, at: datetime) -> float:
    """Return what a sample ought to read: the middle of its expected band, else its last reading."""
    band = expected_at(connection, sample.id, sample.placed_at, at)
    if band is not None:
        return math.exp(band.ln_mean)
    before = [r for r in readings_of(connection, sample.id) if r.taken_at < at and r.viscosity_mpas]
    if not before or before[-1].viscosity_mpas is None:
        raise InputError(f"nothing is expected of {sample.sample} yet", hint="--expected MPAS")
    return before[-1].viscosity_mpas


def chart_of(
    records: Records, instrument: str, *, as_of: datetime, kind: CheckKind = CheckKind.OIL
) -> Charted:
    """Return the control chart of an instrument since its last certificate.

    Raises
    ------
    InputError
        If the instrument is not on record, or was not checked since.
    """
    with records.reading() as connection:
        card = card_named(connection, instrument, at=as_of)
        found = _charted(connection, card.instrument, kind, as_of=as_of)
    if not found.checks:
        raise InputError(
            f"{card.instrument} has no {kind.value} check since its last certificate",
            hint="stability instrument check stores one",
        )
    return found


def _charted(connection: sa.Connection, instrument: str, kind: CheckKind, *, as_of: datetime) -> Charted:
    certified = certificates_by_instrument(connection, as_of=as_of, instrument=instrument)
    since = max((each.at for each in certified.get(instrument, ())), default=None)
    known = checks_by_instrument(connection, as_of=as_of, instrument=instrument).get(instrument, ())
    checks = tuple(c for c in known if c.kind is kind and (since is None or c.at >= since))
    return Charted(instrument=instrument, kind=kind, checks=checks, chart=_chart(checks))


def _chart(checks: Sequence[Check]) -> Chart:
    """Return one chart of checks with limits of their own: each in shares of the tightest limit there is."""
    limit = min((check.limit_pct for check in checks), default=1.0)
    return chart([check.off_pct * limit / check.limit_pct for check in checks], limit_pct=limit)


def override_hold(records: Records, instrument: str, *, reason: str, person: str, now: datetime) -> Hold:
    """Let a held session go on: a named person says why; it lasts until the next check.

    Its readings stay conditional until they are released.

    Raises
    ------
    InputError
        If nobody is named, no reason is given, or nothing is held.
    """
    words = told_reason(reason, "an override")
    with records.writing() as connection:
        named_person(connection, person, "an override")
        card = card_named(connection, instrument, at=now)
        hold = held(connection, at=now, as_of=now, instrument=card.instrument).get(card.instrument)
        if hold is None:
            raise InputError(f"no session with {card.instrument} is held", hint="stability instrument list")
        row = {"instrument_id": card.id, "at": now, "person": person, "reason": words, "entered_at": now}
        insert_row(connection, SessionOverride, row)
        note(
            connection,
            at=now,
            person=person,
            verb="overrode hold",
            subject=card.instrument,
            details={"held": hold.says, "reason": words},
        )
    return hold
