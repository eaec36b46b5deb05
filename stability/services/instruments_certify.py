"""Filing certificates and lots of check oil; every act is noted.

Viscosities are mPa·s, of cups mm²/s, deviations %; instants are aware UTC.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime

import sqlalchemy as sa

from stability.bench.cups import kinematic_viscosity
from stability.bench.instruments import found_good, found_tolerance_pct
from stability.errors import InputError
from stability.records.engine import Records
from stability.records.events import note
from stability.records.instruments import InstrumentCard, insert_row
from stability.records.tables.instruments import Calibration, CertificateDetail, CheckOil, InstrumentFact
from stability.services.faults import typed
from stability.services.instruments import own_cup
from stability.services.instruments_file import card_named, not_ahead, plain_text, positive

__all__ = ["Certified", "CertifiedAs", "OilLot", "certify", "file_oil"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Certified:
    """One certificate as typed; a cup's factor follows from an oil's seconds (mm²/s and s)."""

    at: datetime
    due_at: datetime
    as_found_pct: float | None = None
    as_found: str | None = None
    certificate: str | None = None
    certified_by: str | None = None
    tolerance_pct: float | None = None
    cup_factor: float | None = None
    certified_mm2_s: float | None = None
    efflux_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CertifiedAs:
    """A certificate as filed: what was found, how far it may be off, and the factor that follows."""

    instrument: str
    at: datetime
    due_at: datetime
    as_found_pct: float | None
    tolerance_pct: float
    cup_factor: float | None

    @property
    def found_good(self) -> bool:
        """Whether the instrument was found within its tolerance."""
        return found_good(self.as_found_pct, self.tolerance_pct)


@dataclass(frozen=True, slots=True, kw_only=True)
class OilLot:
    """A lot of certified oil; `limit_pct` is how far a reading of it may be off."""

    oil: str
    certified_mpas: float
    limit_pct: float | None = None
    temperature_c: float | None = None
    until: datetime | None = None


def certify(
    records: Records, instrument: str, asked: Certified, *, person: str, now: datetime
) -> CertifiedAs:
    """File a certificate; what it found off makes the readings since the last good check conditional.

    Raises
    ------
    InputError
        If it is not on record, the times do not follow each other, or there is one of that time.
    """
    not_ahead(asked.at, now)
    if asked.due_at <= asked.at:
        raise InputError("a certificate is due after its own day", hint="--at and --due")
    with records.writing() as connection:
        card = card_named(connection, instrument, at=asked.at)
        as_found, factor = _of_cup(card, asked)
        filed = CertifiedAs(
            instrument=card.instrument,
            at=asked.at,
            due_at=asked.due_at,
            as_found_pct=as_found,
            tolerance_pct=asked.tolerance_pct or card.tolerance_pct or found_tolerance_pct(card.kind),
            cup_factor=factor,
        )
        positive({"tolerance": filed.tolerance_pct, "factor": factor})
        try:
            _write(connection, card, filed, asked, now=now)
        except sa.exc.IntegrityError:
            raise InputError(f"{card.instrument} has a certificate of that very time") from None
        note(
            connection,
            at=now,
            person=person,
            verb="certified",
            subject=card.instrument,
            details=asdict(filed),
        )
    return filed


def file_oil(records: Records, lot: OilLot, *, person: str, now: datetime) -> None:
    """Put a lot of check oil on record.

    Raises
    ------
    InputError
        If a number is not positive, or a lot of that name is on record.
    """
    name = plain_text(lot.oil, "a lot of oil")
    positive({"certified viscosity": lot.certified_mpas, "limit": lot.limit_pct})
    try:
        with records.writing() as connection:
            insert_row(connection, CheckOil, {**asdict(lot), "oil": name, "entered_at": now})
            note(connection, at=now, person=person, verb="filed check oil", subject=name, details=asdict(lot))
    except sa.exc.IntegrityError:
        raise InputError(
            f"oil {typed(name)} is on record", hint="another certificate is another lot"
        ) from None


def _of_cup(card: InstrumentCard, asked: Certified) -> tuple[float | None, float | None]:
    """Return as-found deviation [%] and factor: as typed, or from the seconds an oil took in a cup."""
    if asked.certified_mm2_s is None and asked.efflux_s is None:
        return asked.as_found_pct, asked.cup_factor
    cup = own_cup(card)
    if cup is None or asked.certified_mm2_s is None or asked.efflux_s is None:
        raise InputError(
            "a cup's factor follows from an oil's viscosity and its seconds in a cup of a standard",
            hint="--certified-mm2s and --efflux together; stability instrument add NAME --follows 'Ford 4'",
        )
    positive({"certified viscosity": asked.certified_mm2_s})
    by_equation = kinematic_viscosity(cup.follows, asked.efflux_s)
    found = 100 * (by_equation * cup.factor / asked.certified_mm2_s - 1)
    return round(found, 3), round(asked.certified_mm2_s / by_equation, 5)


def _write(
    connection: sa.Connection, card: InstrumentCard, filed: CertifiedAs, asked: Certified, *, now: datetime
) -> None:
    own = {"instrument_id": card.id, "at": filed.at, "due_at": filed.due_at, "entered_at": now}
    insert_row(
        connection, Calibration, {**own, "as_found_pct": filed.as_found_pct, "certificate": asked.certificate}
    )
    detail = {
        "instrument_id": card.id,
        "at": filed.at,
        "certified_by": asked.certified_by,
        "as_found": asked.as_found,
        "tolerance_pct": filed.tolerance_pct,
        "entered_at": now,
    }
    insert_row(connection, CertificateDetail, detail)
    if filed.cup_factor is not None:
        fact = {"instrument_id": card.id, "at": filed.at, "cup_factor": filed.cup_factor, "entered_at": now}
        insert_row(connection, InstrumentFact, fact)
