"""Instruments as the bench asks for them: range, cup, certificates and checks, as rows of plain values.

Viscosities are mPa·s, deviations %; instants are aware UTC. Of a fact that was typed more than once the one
typed last until an instant counts; before the first one the first.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import SQLModel

from stability.records.tables.base import table
from stability.records.tables.bench import Instrument
from stability.records.tables.instruments import (
    Calibration,
    CertificateDetail,
    CheckOil,
    InstrumentFact,
    OilCheck,
    SentinelCheck,
    SessionOverride,
    SpindleRange,
)

__all__ = [
    "FACTS",
    "CalibrationRow",
    "CheckRow",
    "InstrumentCard",
    "OilRow",
    "OverrideRow",
    "RangeRow",
    "calibrations_of",
    "cards",
    "checks_of",
    "facts_typed",
    "insert_row",
    "oils",
    "overrides_of",
    "put_instrument",
]

_instrument, _fact, _range = table(Instrument), table(InstrumentFact), table(SpindleRange)
_calibration, _detail, _oil = table(Calibration), table(CertificateDetail), table(CheckOil)
_oil_check, _sentinel, _override = table(OilCheck), table(SentinelCheck), table(SessionOverride)
FACTS = ("torque_constant", "speeds_rpm", "follows", "cup_factor", "limit_pct", "tolerance_pct")


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeRow:
    """What the manual says of one spindle."""

    spindle: str
    speed_rpm: float | None
    full_scale_mpas: float | None
    spindle_factor: float | None
    cell: str | None
    volume_ml: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentCard:
    """One instrument with what counts of it at an instant."""

    id: int
    instrument: str
    kind: str
    full_scale_mpas: float | None
    factor: float | None
    torque_constant: float | None = None
    speeds_rpm: tuple[float, ...] = ()
    follows: str | None = None
    cup_factor: float | None = None
    limit_pct: float | None = None
    tolerance_pct: float | None = None
    ranges: tuple[RangeRow, ...] = ()


@dataclass(frozen=True, slots=True)
class CalibrationRow:
    """One certificate; the tolerance is the one it was filed with."""

    instrument: str
    kind: str
    at: datetime
    due_at: datetime
    as_found_pct: float | None
    certificate: str | None
    entered_at: datetime
    certified_by: str | None
    as_found: str | None
    tolerance_pct: float | None


@dataclass(frozen=True, slots=True)
class CheckRow:
    """One check reading; `sample` is the sentinel's code and None for an oil."""

    instrument: str
    at: datetime
    expected_mpas: float
    read_mpas: float
    operator: str | None
    entered_at: datetime
    sample: str | None = None
    limit_pct: float | None = None


@dataclass(frozen=True, slots=True)
class OilRow:
    """One lot of certified oil."""

    oil: str
    certified_mpas: float
    limit_pct: float | None
    temperature_c: float | None
    until: datetime | None
    entered_at: datetime


@dataclass(frozen=True, slots=True)
class OverrideRow:
    """A named person let a held session go on."""

    instrument: str
    at: datetime
    person: str
    reason: str
    entered_at: datetime


def cards(
    connection: sa.Connection, *, at: datetime, named: Iterable[str] | None = None
) -> dict[str, InstrumentCard]:
    """Return the instruments on record, or those of these names whatever their case, by name."""
    query = sa.select(_instrument).order_by(_instrument.c.instrument)
    if named is not None:
        wanted = [name.strip() for name in named]
        # SQLite lowers ASCII only, so a name with other letters is also looked for as it was typed
        lowered = sa.func.lower(_instrument.c.instrument).in_([name.lower() for name in wanted])
        query = query.where(sa.or_(lowered, _instrument.c.instrument.in_(wanted)))
    rows = [dict(row) for row in connection.execute(query).mappings()]
    ids = [row["id"] for row in rows]
    facts = _facts(connection, ids, at)
    ranges = _ranges(connection, ids, at)
    return {
        row["instrument"]: InstrumentCard(**row, **facts.get(row["id"], {}), ranges=ranges.get(row["id"], ()))
        for row in rows
    }


def _in_force(connection: sa.Connection, model: sa.Table, ids: Sequence[int], at: datetime) -> list[Any]:
    """Return rows of instruments so that what counts at an instant comes last."""
    query = sa.select(model).where(model.c.instrument_id.in_(ids)).order_by(model.c.at, model.c.id)
    rows = connection.execute(query).mappings().all() if ids else []
    later = [row for row in rows if row["at"] > at]
    return [*reversed(later), *(row for row in rows if row["at"] <= at)]


def _facts(connection: sa.Connection, ids: Sequence[int], at: datetime) -> dict[int, dict[str, Any]]:
    found: dict[int, dict[str, Any]] = {}
    for row in _in_force(connection, _fact, ids, at):
        said = {name: row[name] for name in FACTS if row[name] is not None}
        if "speeds_rpm" in said:
            said["speeds_rpm"] = tuple(float(speed) for speed in said["speeds_rpm"].split())
        found.setdefault(row["instrument_id"], {}).update(said)
    return found


def _ranges(connection: sa.Connection, ids: Sequence[int], at: datetime) -> dict[int, tuple[RangeRow, ...]]:
    names = RangeRow.__slots__
    found: dict[int, dict[tuple[str, float | None], RangeRow]] = {}
    rows = _in_force(connection, _range, ids, at)
    earlier = {(row["instrument_id"], row["spindle"]) for row in rows if row["at"] <= at}
    for row in rows:
        if row["at"] > at and (row["instrument_id"], row["spindle"]) in earlier:
            continue
        typed = RangeRow(**{name: row[name] for name in names})
        found.setdefault(row["instrument_id"], {})[typed.spindle, typed.speed_rpm] = typed
    return {number: tuple(own.values()) for number, own in found.items()}


def facts_typed(
    connection: sa.Connection, name: str, *, as_of: datetime
) -> dict[str, tuple[tuple[datetime, datetime, float], ...]]:
    """Return, per instrument, what was typed of one number: (since when, known when, value), oldest first."""
    value = _fact.c[name]
    query = (
        sa.select(_instrument.c.instrument, _fact.c.at, _fact.c.entered_at, value)
        .join(_instrument, _instrument.c.id == _fact.c.instrument_id)
        .where(value.is_not(None), _fact.c.at <= as_of, _fact.c.entered_at <= as_of)
        .order_by(_fact.c.at, _fact.c.id)
    )
    found: dict[str, list[tuple[datetime, datetime, float]]] = {}
    for instrument, at, known_at, number in connection.execute(query):
        found.setdefault(instrument, []).append((at, known_at, float(number)))
    return {instrument: tuple(rows) for instrument, rows in found.items()}


def calibrations_of(
    connection: sa.Connection, *, as_of: datetime, instrument: str | None = None
) -> tuple[CalibrationRow, ...]:
    """Return the certificates known by an instant, by instrument and day."""
    query = (
        sa.select(
            _instrument.c.instrument,
            _instrument.c.kind,
            *(_calibration.c[n] for n in ("at", "due_at", "as_found_pct", "certificate", "entered_at")),
            *(_detail.c[n] for n in ("certified_by", "as_found", "tolerance_pct")),
        )
        .join(_instrument, _instrument.c.id == _calibration.c.instrument_id)
        .outerjoin(
            _detail,
            sa.and_(
                _detail.c.instrument_id == _calibration.c.instrument_id, _detail.c.at == _calibration.c.at
            ),
        )
        .where(_calibration.c.at <= as_of, _calibration.c.entered_at <= as_of)
        .order_by(_instrument.c.instrument, _calibration.c.at)
    )
    if instrument is not None:
        query = query.where(_instrument.c.instrument == instrument)
    return tuple(CalibrationRow(*row) for row in connection.execute(query))


def checks_of(
    connection: sa.Connection, *, as_of: datetime, instrument: str | None = None
) -> tuple[CheckRow, ...]:
    """Return the oil and sentinel checks known by an instant, by instrument and time."""
    found = []
    for checked, columns in (
        (_oil_check, ("certified_mpas", "read_mpas", "operator", "entered_at")),
        (_sentinel, ("expected_mpas", "read_mpas", "operator", "entered_at", "sample", "limit_pct")),
    ):
        query = (
            sa.select(_instrument.c.instrument, checked.c.at, *(checked.c[name] for name in columns))
            .join(_instrument, _instrument.c.id == checked.c.instrument_id)
            .where(checked.c.at <= as_of, checked.c.entered_at <= as_of)
        )
        if instrument is not None:
            query = query.where(_instrument.c.instrument == instrument)
        found += [CheckRow(*row) for row in connection.execute(query)]
    return tuple(sorted(found, key=lambda check: (check.instrument, check.at)))


def overrides_of(
    connection: sa.Connection, *, as_of: datetime, instrument: str | None = None
) -> tuple[OverrideRow, ...]:
    """Return the overrides known by an instant, by instrument and time."""
    columns = (_override.c[name] for name in ("at", "person", "reason", "entered_at"))
    query = (
        sa.select(_instrument.c.instrument, *columns)
        .join(_instrument, _instrument.c.id == _override.c.instrument_id)
        .where(_override.c.at <= as_of, _override.c.entered_at <= as_of)
        .order_by(_instrument.c.instrument, _override.c.at)
    )
    if instrument is not None:
        query = query.where(_instrument.c.instrument == instrument)
    return tuple(OverrideRow(*row) for row in connection.execute(query))


def oils(connection: sa.Connection, *, as_of: datetime) -> tuple[OilRow, ...]:
    """Return the lots of check oil known by an instant, by name."""
    query = sa.select(*(_oil.c[name] for name in OilRow.__slots__)).where(_oil.c.entered_at <= as_of)
    return tuple(OilRow(*row) for row in connection.execute(query.order_by(_oil.c.oil)))


def put_instrument(connection: sa.Connection, instrument: str, values: Mapping[str, Any]) -> int:
    """Write a new instrument and return its number."""
    row = _instrument.insert().values(instrument=instrument, **values).returning(_instrument.c.id)
    return int(connection.execute(row).scalar_one())


def insert_row(connection: sa.Connection, model: type[SQLModel], values: Mapping[str, Any]) -> int:
    """Write one row of a table of instruments and return its number."""
    target = table(model)
    return int(connection.execute(target.insert().values(**values).returning(target.c.id)).scalar_one())
