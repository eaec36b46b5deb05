"""Bringing tables and study files in: any order given, one transaction, all or nothing.

What others name comes first (stores before samples, samples before readings); the act is noted once.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from stability.errors import InputError
from stability.records.engine import Records
from stability.records.events import note
from stability.services.bring_cures import CureTaking
from stability.services.bring_ledger import Counted, Ledger
from stability.services.bring_readings import ReadingTaking
from stability.services.bring_tables import take_table
from stability.services.bring_temperatures import TemperatureTaking
from stability.services.faults import Faults, typed
from stability.services.sources import Sheet, Source, delimited_sheet, rows_sheet
from stability.services.studies import StudyFiled, StudyText, study_text, take_studies, text_of
from stability.services.tables import TABLES

__all__ = ["Brought", "Counted", "Source", "bring", "bring_rows", "bring_sheet"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Brought:
    """What an import did: rows per table, studies, and what should be known of it."""

    tables: Mapping[str, Counted]
    studies: tuple[StudyFiled, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def changed(self) -> bool:
        """Whether anything was written."""
        rows = any(counted.added or counted.completed for counted in self.tables.values())
        return rows or any(study.changed for study in self.studies)


@dataclass(slots=True)
class _Read:
    """The sources as sheets and study files, with the faults found while looking at them."""

    faults: Faults = field(default_factory=Faults)
    sheets: list[Sheet] = field(default_factory=list)
    studies: list[StudyText] = field(default_factory=list)


def bring(
    records: Records, sources: Sequence[Source], *, person: str, now: datetime, zone: ZoneInfo
) -> Brought:
    """Take files in: CSV and XLSX tables, TOML study files.

    Raises
    ------
    InputError
        With one line per fault; nothing was written.
    """
    read = _Read()
    for source in sources:
        _look_at(source, read, zone)
    digests = {source.name: hashlib.sha256(source.content).hexdigest() for source in sources}
    return _take_all(records, read, person=person, now=now, zone=zone, digests=digests)


def bring_rows(
    records: Records,
    tables: Mapping[str, Sequence[Mapping[str, Any]]],
    *,
    person: str,
    now: datetime,
    zone: ZoneInfo,
) -> Brought:
    """Take rows in that are in memory: table → rows with the columns of that table.

    Raises
    ------
    InputError
        With one line per fault; nothing was written.
    """
    read = _Read()
    for table, rows in tables.items():
        sheet = rows_sheet(table, rows, read.faults) if rows else None
        if sheet is not None:
            read.sheets.append(sheet)
    return _take_all(records, read, person=person, now=now, zone=zone, digests={})


def bring_sheet(
    records: Records, sheet: Sheet, *, person: str, now: datetime, zone: ZoneInfo, file: Mapping[str, str]
) -> Brought:
    """Take one sheet in whose rows were made from a file; `file` is the file's name → its digest.

    Raises
    ------
    InputError
        With one line per fault, those of making the rows too; nothing was written.
    """
    read = _Read(faults=sheet.faults, sheets=[sheet])
    return _take_all(records, read, person=person, now=now, zone=zone, digests=file)


def _look_at(source: Source, read: _Read, zone: ZoneInfo) -> None:
    from stability.services.spreadsheets import is_workbook, workbook_sheets

    if source.name.lower().endswith(".toml"):
        try:
            text = text_of(source)
        except InputError as exc:
            read.faults.add(str(exc), hint=exc.hint)
            return
        study = study_text(text, name=source.name, zone=zone, faults=read.faults)
        if study is not None:
            read.studies.append(study)
    elif is_workbook(source):
        read.sheets += workbook_sheets(source, read.faults)
    elif source.content.startswith(b"\xd0\xcf\x11\xe0"):
        read.faults.add(
            f"{source.name}: is an old or protected workbook; expected XLSX or CSV", hint="save it as XLSX"
        )
    else:
        sheet = delimited_sheet(source, read.faults)
        if sheet is not None:
            read.sheets.append(sheet)


def _take_all(
    records: Records,
    read: _Read,
    *,
    person: str,
    now: datetime,
    zone: ZoneInfo,
    digests: Mapping[str, str],
) -> Brought:
    try:
        with records.writing() as connection:
            ledger = Ledger(connection, person, now, zone, read.faults)
            filed = _take_in_order(ledger, read)
            ledger.faults.raise_if_any()
            brought = Brought(
                tables={name: ledger.counts[name] for name in TABLES if name in ledger.counts},
                studies=tuple(filed),
                notes=_notes(ledger, filed),
            )
            if brought.changed:
                _note(connection, brought, person=person, now=now, digests=digests)
    except sa.exc.IntegrityError as exc:
        raise InputError(
            f"the records refused a row: {str(exc.orig).splitlines()[0]}",
            hint="somebody else wrote at the same moment; import again",
        ) from exc
    return brought


def _take_in_order(ledger: Ledger, read: _Read) -> list[StudyFiled]:
    """Take everything in, in the order of what names what."""
    filed: list[StudyFiled] = []
    readings, cures = ReadingTaking(ledger), CureTaking(ledger)
    takes: dict[str, Callable[[Sheet], None]] = {
        "readings": readings.take,
        "cures": cures.take,
        "temperatures": TemperatureTaking(ledger).take,
    }
    for table in TABLES:
        if table == "samples":
            filed = take_studies(
                ledger.connection, read.studies, person=ledger.person, now=ledger.now, faults=ledger.faults
            )
            ledger.renew("study", [study.wanted.code for study in read.studies])
        for sheet in read.sheets:
            if sheet.spec.name != table:
                continue
            ledger.counted(table)
            if table in takes:
                takes[table](sheet)
            else:
                take_table(ledger, sheet)
    readings.finish()
    cures.finish()
    return filed


def _notes(ledger: Ledger, filed: Sequence[StudyFiled]) -> tuple[str, ...]:
    found = [
        f"{count} {table} without entered_at count as known from now on"
        for table, count in ledger.undated.items()
    ]
    found += ledger.notes
    for study in filed:
        for store in study.missing_stores:
            found.append(
                f"study {study.code} plans checks in store {typed(store)}, which is not on record yet"
            )
    return tuple(found)


def _note(
    connection: sa.Connection, brought: Brought, *, person: str, now: datetime, digests: Mapping[str, str]
) -> None:
    details = {
        "tables": {
            name: {"added": counted.added, "unchanged": counted.unchanged, "completed": counted.completed}
            for name, counted in brought.tables.items()
        },
        "studies": {study.code: study.version for study in brought.studies if study.changed},
        "files": dict(list(digests.items())[:500]),
    }
    subject = ", ".join(digests) or ", ".join(brought.tables)
    note(connection, at=now, person=person, verb="imported", subject=subject, details=details)
