"""All rows of the tables that go out, as known at an instant, in one order whatever the database."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType
from typing import Any

import sqlalchemy as sa

from stability.records.tables import table
from stability.records.tables.bench import (
    Ending,
    Instrument,
    Person,
    Reading,
    Sample,
    SampleMove,
    Store,
    Thinner,
)
from stability.records.tables.design import Lot, Study, StudyVersion
from stability.records.tables.instruments import (
    Calibration,
    CertificateDetail,
    CheckOil,
    InstrumentFact,
    OilCheck,
    ReadingRelease,
    SentinelCheck,
    SessionOverride,
    SpindleRange,
)
from stability.records.tables.measured import Cure, MethodChange, Outing, StoreTemperature

__all__ = ["StudyOut", "rows_out", "studies_out"]

_study, _version, _sample, _store = table(Study), table(StudyVersion), table(Sample), table(Store)
_instrument, _reading, _cure = table(Instrument), table(Reading), table(Cure)


@dataclass(frozen=True, slots=True)
class StudyOut:
    """One version of a study as filed."""

    code: str
    version: int
    source: str
    entered_at: datetime


@dataclass(frozen=True, slots=True)
class _Out:
    """A query, what orders its rows, and the columns that say when a row was true and known."""

    query: sa.Select[Any]
    key: tuple[str, ...]
    times: tuple[sa.Column[Any], ...] = ()


def _plain(model: Any, *key: str, renamed: Mapping[str, str] | None = None) -> Callable[[], _Out]:
    target, others = table(model), renamed or {}
    columns = [c.label(others.get(c.name, c.name)) for c in target.c if c.name != "id"]
    return lambda: _Out(sa.select(*columns), key)


def _samples() -> _Out:
    columns = [c for c in _sample.c if c.name not in ("id", "study_id", "store_id")]
    query = sa.select(_study.c.code.label("study"), _store.c.store, *columns)
    query = query.join(_study, _study.c.id == _sample.c.study_id).join(
        _store, _store.c.id == _sample.c.store_id
    )
    return _Out(query, ("sample",), (_sample.c.placed_at, _sample.c.entered_at))


def _of_sample(model: Any, own: str, *key: str) -> Callable[[], _Out]:
    target = table(model)

    def made() -> _Out:
        columns = [c for c in target.c if c.name not in ("id", "sample_id")]
        query = sa.select(_sample.c.sample, *columns).join(_sample, _sample.c.id == target.c.sample_id)
        return _Out(query, ("sample", *key), (target.c[own], target.c.entered_at))

    return made


def _corrected(target: sa.Table, *key: str) -> Callable[[], _Out]:
    def made() -> _Out:
        original = target.alias("original")
        query = (
            sa.select(
                _sample.c.sample,
                original.c.taken_at.label("corrects"),
                *(c for c in target.c if c.name != "id"),
            )
            .join(_sample, _sample.c.id == target.c.sample_id)
            .outerjoin(original, original.c.id == target.c.corrects_id)
        )
        return _Out(query, ("sample", "root", *key, "entered_at"), (target.c.taken_at, target.c.entered_at))

    return made


def _moves() -> _Out:
    move = table(SampleMove)
    query = (
        sa.select(_sample.c.sample, move.c.at, _store.c.store.label("to_store"), move.c.entered_at)
        .join(_sample, _sample.c.id == move.c.sample_id)
        .join(_store, _store.c.id == move.c.to_store_id)
    )
    return _Out(query, ("sample", "at"), (move.c.at, move.c.entered_at))


def _temperatures() -> _Out:
    logged = table(StoreTemperature)
    query = sa.select(_store.c.store, logged.c.at, logged.c.temperature_c, logged.c.entered_at)
    query = query.join(_store, _store.c.id == logged.c.store_id)
    return _Out(query, ("store", "at", "entered_at"), (logged.c.at, logged.c.entered_at))


def _changes() -> _Out:
    change = table(MethodChange)
    return _Out(sa.select(change), ("at", "what", "study", "instrument"), (change.c.at, change.c.entered_at))


def _of_instrument(model: Any, *key: str) -> Callable[[], _Out]:
    target = table(model)

    def made() -> _Out:
        query = sa.select(
            _instrument.c.instrument, *(c for c in target.c if c.name not in ("id", "instrument_id"))
        )
        query = query.join(_instrument, _instrument.c.id == target.c.instrument_id)
        return _Out(query, ("instrument", *key, "at"), (target.c.at, target.c.entered_at))

    return made


def _oils() -> _Out:
    oil = table(CheckOil)
    return _Out(sa.select(*(c for c in oil.c if c.name != "id")), ("oil",), (oil.c.entered_at,))


def _releases() -> _Out:
    released = table(ReadingRelease)
    own = (c for c in released.c if c.name not in ("id", "sample_id", "instrument_id"))
    query = (
        sa.select(_sample.c.sample, _instrument.c.instrument, *own)
        .join(_sample, _sample.c.id == released.c.sample_id)
        .join(_instrument, _instrument.c.id == released.c.instrument_id)
    )
    key = ("sample", "taken_at", "instrument", "at")
    return _Out(query, key, (released.c.at, released.c.entered_at))


_OUT: Mapping[str, Callable[[], _Out]] = MappingProxyType(
    {
        "stores": _plain(Store, "store"),
        "thinners": _plain(Thinner, "thinner", renamed={"thinner_class": "class"}),
        "lots": _plain(Lot, "lot", "kind"),
        "people": _plain(Person, "person"),
        "instruments": _plain(Instrument, "instrument"),
        "instrument_facts": _of_instrument(InstrumentFact),
        "spindles": _of_instrument(SpindleRange, "spindle", "speed_rpm"),
        "oils": _oils,
        "samples": _samples,
        "moves": _moves,
        "endings": _of_sample(Ending, "at", "at"),
        "readings": _corrected(_reading),
        "cures": _corrected(_cure, "humidity_pct"),
        "temperatures": _temperatures,
        "outings": _of_sample(Outing, "back_at", "out_at"),
        "changes": _changes,
        "calibrations": _of_instrument(Calibration),
        "oil_checks": _of_instrument(OilCheck),
        "certificates": _of_instrument(CertificateDetail),
        "sentinel_checks": _of_instrument(SentinelCheck),
        "overrides": _of_instrument(SessionOverride),
        "releases": _releases,
    }
)


def rows_out(connection: sa.Connection, name: str, *, as_of: datetime) -> Iterator[Mapping[str, Any]]:
    """Yield the rows of one table known by an instant, in the order of what identifies them.

    Sorted here and not by the database: the order of texts would follow its language.
    """
    out = _OUT[name]()
    query = out.query
    for moment in out.times:
        query = query.where(moment <= as_of)
    rows = [dict(row) for row in connection.execute(query).mappings()]
    if "root" in out.key:
        for row in rows:
            row["root"] = row["corrects"] or row["taken_at"]
    yield from sorted(rows, key=lambda row: tuple((row[part] is not None, row[part]) for part in out.key))


def studies_out(connection: sa.Connection, *, as_of: datetime) -> tuple[StudyOut, ...]:
    """Return all versions of all studies known by an instant, and of each study at least the first."""
    query = (
        sa.select(_study.c.code, _version.c.version, _version.c.source, _version.c.entered_at)
        .join(_version, _version.c.study_id == _study.c.id)
        .where(sa.or_(_version.c.entered_at <= as_of, _version.c.version == 1))
    )
    found = [StudyOut(*row) for row in connection.execute(query)]
    return tuple(sorted(found, key=lambda study: (study.code, study.version)))
