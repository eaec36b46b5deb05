"""Writing all tables and study files out, the same bytes for the same records; `stability import` reads them.

Times are ISO 8601 in UTC; numbers are written so that they come back exactly.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from stability.errors import InputError
from stability.records.engine import Records
from stability.records.outflow import StudyOut, rows_out, studies_out
from stability.services.cells import viscosities
from stability.services.instants import iso
from stability.services.study_file import stamped
from stability.services.tables import TABLES
from stability.services.whole_file import put_whole

__all__ = ["FORMATS", "Exported", "export", "table_bytes"]

FORMATS = ("csv", "xlsx")


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written: file → rows (a study file counts as one)."""

    folder: Path
    files: Mapping[str, int]


def export(records: Records, folder: Path, *, as_of: datetime, form: str = "csv") -> Exported:
    """Write every table and every version of every study, as known at an instant.

    Raises
    ------
    InputError
        If the folder cannot be made or written to.
    """
    with records.reading() as connection:
        studies = studies_out(connection, as_of=as_of)
        tables = {name: list(_rows(connection, name, as_of)) for name in TABLES}
    files = dict(_study_files(studies))
    counts = dict.fromkeys(files, 1)
    if form == "xlsx":
        from stability.services.spreadsheets import workbook_bytes

        book = {name: (TABLES[name].names, rows) for name, rows in tables.items()}
        files["stability.xlsx"] = workbook_bytes(book)
        counts["stability.xlsx"] = sum(map(len, tables.values()))
    else:
        for name, rows in tables.items():
            files[f"{name}.csv"] = _csv_bytes(TABLES[name].names, rows)
            counts[f"{name}.csv"] = len(rows)
    try:
        for file, content in files.items():
            put_whole(folder / file, content)
    except OSError as exc:
        raise InputError(
            f"export {folder}: {(exc.strerror or str(exc)).lower()}",
            hint="name a folder that you may write to",
        ) from exc
    return Exported(folder, counts)


def table_bytes(
    connection: sa.Connection, name: str, *, as_of: datetime, wanted: tuple[str, Collection[str]] | None
) -> bytes:
    """Return one table as CSV; `wanted` is a column and the values of the rows that are meant."""
    rows: Iterable[list[Any]] = _rows(connection, name, as_of)
    if wanted is not None:
        place = TABLES[name].names.index(wanted[0])
        rows = (row for row in rows if row[place] in wanted[1])
    return _csv_bytes(TABLES[name].names, list(rows))


def _rows(connection: sa.Connection, name: str, as_of: datetime) -> Iterator[list[Any]]:
    columns = TABLES[name].names
    for row in rows_out(connection, name, as_of=as_of):
        values = [_out(row.get(column)) for column in columns]
        if name == "readings" and row["viscosity_mpas"] is not None:
            values[columns.index("viscosity_mpas")] = _viscosity(row)
        elif name == "readings" and row["corrects"] is not None and row["gel_grade"] is None:
            # a correction without any value sets aside; a torque or a time carried over would make one of it
            values[columns.index("torque_pct")] = values[columns.index("efflux_s")] = ""
        yield values


def _out(value: Any) -> Any:
    if isinstance(value, datetime):
        return iso(value)
    return "" if value is None else value


def _viscosity(row: Mapping[str, Any]) -> str | float:
    """Return the viscosity as typed where that means the same, else as a number, `>` for over-range."""
    value, over_range, text = float(row["viscosity_mpas"]), int(row["over_range"]), row["viscosity_text"]
    if text is not None:
        faults: list[str] = []
        read = viscosities(
            TABLES["readings"].column("viscosity_mpas"), [text], lambda _row, what: faults.append(what)
        )
        if not faults and read[0] == [value] and read[1] == [over_range]:
            return value if read[2] == [None] else str(text)
    return f">{value!r}" if over_range else value


def _csv_bytes(header: Sequence[str], rows: Sequence[Sequence[Any]]) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    return text.getvalue().encode()


def _study_files(studies: Sequence[StudyOut]) -> Iterator[tuple[str, bytes]]:
    newest = {study.code: study.version for study in studies}
    for study in studies:
        older = "" if study.version == newest[study.code] else f".v{study.version}"
        text = stamped(study.source, study.entered_at)
        yield f"studies/{_file_name(study.code)}{older}.toml", text.encode("utf-8")


def _file_name(code: str) -> str:
    """Return a code as a file name on every system: signs other than . - _ and blanks are spelt out."""
    return re.sub(r"[^\w.\- ]", lambda found: f"%{ord(found[0]):02X}", code)
