"""What an import reads: files or rows in memory, as sheets whose table is told from the header.

A comma, a semicolon or a tab separates, whichever makes the header one of ours; UTF-8 with or without its
mark, and UTF-16 with one. Everything else is refused rather than guessed.
"""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import islice
from typing import Any

from stability.services.cells import values_of
from stability.services.columns import TableSpec
from stability.services.faults import Faults, nearest_name, typed
from stability.services.instants import iso
from stability.services.tables import TABLES

__all__ = ["Chunk", "Sheet", "Source", "delimited_sheet", "rows_sheet", "sheet_of"]

_CHUNK_ROWS = 10_000
Row = tuple[int, Sequence[str]]


@dataclass(frozen=True, slots=True)
class Source:
    """One file as it came: its name for people, and its bytes."""

    name: str
    content: bytes


@dataclass(slots=True)
class Chunk:
    """Some rows of a sheet as columns of stripped cells; `bad` are the rows with a fault told.

    `lines` are the lines in the file.
    """

    lines: list[int]
    cells: dict[str, list[str]]
    bad: set[int] = field(default_factory=set)


@dataclass(slots=True)
class Sheet:
    """A table to take in; its rows are read while they are taken."""

    label: str
    spec: TableSpec
    header: tuple[str, ...]
    rows: Iterator[Row]
    faults: Faults = field(repr=False)

    def say(self, line: int, column: str, what: str, *, hint: str | None = None) -> None:
        """Tell a fault of one cell."""
        self.faults.add(f"{self.label} line {line}, {column}: {what}", hint=hint)

    def chunks(self) -> Iterator[Chunk]:
        """Yield the rows as columns; rows of another length than the header are told and left out."""
        width = len(self.header)
        while some := list(islice(self.rows, _CHUNK_ROWS)):
            good = [row for row in some if len(row[1]) == width and any(row[1])]
            if len(good) != len(some):
                self._tell_lengths(some)
            if not good:
                continue
            columns = zip(*(cells for _, cells in good), strict=True)
            cells = {
                name: list(map(str.strip, column)) for name, column in zip(self.header, columns, strict=True)
            }
            yield Chunk([line for line, _ in good], cells)

    def _tell_lengths(self, some: Iterable[Row]) -> None:
        width = len(self.header)
        for line, cells in some:
            if len(cells) > width and any(cells[width:]):
                extra = typed(next(cell for cell in cells[width:] if cell))
                self.faults.add(
                    f"{self.label} line {line}: extra cell {extra}; expected {width} cells as in the header"
                )
            elif len(cells) != width and any(cells):
                self.faults.add(
                    f"{self.label} line {line}: {len(cells)} cells; expected {width} as in the header"
                )

    def values(self, chunk: Chunk, name: str, zone: Any) -> list[Any]:
        """Return the values of one column of a chunk; None where the column or the cell is missing."""
        cells = chunk.cells.get(name)
        if cells is None:
            return [None] * len(chunk.lines)
        column = self.spec.column(name)

        def say(row: int, what: str) -> None:
            chunk.bad.add(row)
            self.say(chunk.lines[row], name, what)

        if column.required and not all(cells):
            for row, cell in enumerate(cells):
                if not cell:
                    say(row, f"is empty; expected {column.expects}")
        return values_of(column, cells, zone=zone, say=say)


def sheet_of(label: str, header: Sequence[str], rows: Iterator[Row], faults: Faults) -> Sheet | None:
    """Return the sheet of a header, or None after its faults were told."""
    names = tuple(name.strip() for name in header)
    spec = _spec_of(names)
    if spec is None:
        shown = ", ".join(typed(name) for name in names[:8] if name)
        faults.add(
            f"{label} line 1: no table of ours has the columns {shown}; expected those of one of "
            f"{', '.join(TABLES)}",
            hint="the header row names the columns; stability export writes every table with its header",
        )
        return None
    before = faults.count
    _check_header(label, names, spec, faults)
    return Sheet(label, spec, names, rows, faults) if faults.count == before else None


def _spec_of(names: Sequence[str]) -> TableSpec | None:
    """Return the table that a header fits best; only a full fit goes on without faults."""
    known = set(names)

    def fit(spec: TableSpec) -> tuple[int, int]:
        missing = len(set(spec.required) - known)
        unknown = len(known - set(spec.names))
        return -(missing + unknown), len(known & set(spec.names))

    best = max(TABLES.values(), key=fit)
    return best if fit(best)[1] > 0 else None


def _check_header(label: str, names: Sequence[str], spec: TableSpec, faults: Faults) -> None:
    for position, name in enumerate(names, start=1):
        if name in names[: position - 1]:
            faults.add(f"{label} line 1: column {typed(name)} stands there twice; expected once")
        elif name not in spec.names:
            near = nearest_name(name, spec.names)
            offered = f"did you mean {near}?" if near else f"expected {', '.join(spec.names)}"
            what = f"column {typed(name)} is unknown" if name else f"column {position} has no name"
            faults.add(f"{label} line 1: {what} in {spec.name}; {offered}")
    for name in spec.required:
        if name not in names:
            faults.add(
                f"{label} line 1: column {name} is missing; {spec.name} needs {', '.join(spec.required)}"
            )


def delimited_sheet(source: Source, faults: Faults) -> Sheet | None:
    """Return the sheet of a CSV file, or None after its faults were told."""
    text = _decoded(source, faults)
    if text is None:
        return None
    if not text.strip():
        faults.add(f"{source.name}: is empty; expected a header row and rows")
        return None
    separator = _separator(source.name, text, faults)
    if separator is None:
        return None
    rows = _rows(source.name, text, separator, faults)
    first = next(rows, None)
    if first is None:
        return None
    return sheet_of(source.name, first[1], rows, faults)


def _decoded(source: Source, faults: Faults) -> str | None:
    content = source.content
    encoding = "utf-8-sig"
    if content.startswith((codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)):
        encoding = "utf-32"
    elif content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        encoding = "utf-16"
    hint = "save the file as CSV UTF-8"
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError as exc:
        line = content.count(b"\n", 0, exc.start) + 1
        faults.add(
            f"{source.name} line {line}: byte 0x{content[exc.start]:02x} is not UTF-8; expected UTF-8",
            hint=hint,
        )
        return None
    if "\x00" in text:
        faults.add(f"{source.name}: holds NUL characters; expected a text file in UTF-8", hint=hint)
        return None
    return text


def _separator(name: str, text: str, faults: Faults) -> str | None:
    """Return the one separator that splits the header into known columns."""
    header = next(line for line in text.splitlines() if line.strip())
    known = {column for spec in TABLES.values() for column in spec.names}

    def columns(separator: str) -> int:
        cells = next(csv.reader([header], delimiter=separator), [])
        return len({cell.strip() for cell in cells} & known) if len(cells) > 1 else 0

    found = [separator for separator in ",;\t" if separator in header]
    known_by = {separator: columns(separator) for separator in found}
    fits = [separator for separator, count in known_by.items() if count == max(known_by.values())]
    if len(fits) == 1:
        return fits[0]
    if not found:
        return ","  # a single column: the header's own check says what is missing
    faults.add(
        f"{name} line 1: the separator is not clear from {typed(header)}; expected commas",
        hint="one of comma, semicolon or tab, the same in every line",
    )
    return None


def _rows(name: str, text: str, separator: str, faults: Faults) -> Iterator[Row]:
    """Yield the rows that are not blank with the line each begins on."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    begins = 1
    try:
        for cells in reader:
            if cells:
                yield begins, cells
            begins = reader.line_num + 1
    except csv.Error as exc:
        faults.add(
            f"{name} line {reader.line_num}: {exc}; expected quotes that close and cells of common length"
        )


def rows_sheet(table: str, rows: Sequence[Mapping[str, Any]], faults: Faults) -> Sheet | None:
    """Return the sheet of rows in memory: keys are columns, values texts, numbers, instants or None."""
    names = tuple(dict.fromkeys(name for row in rows for name in row))
    numbered = (
        (number, [_cell(row.get(name)) for name in names]) for number, row in enumerate(rows, start=1)
    )
    if table not in TABLES:
        faults.add(f"{table}: no table of ours; expected one of {', '.join(TABLES)}")
        return None
    before = faults.count
    _check_header(table, names, TABLES[table], faults)
    return Sheet(table, TABLES[table], names, numbered, faults) if faults.count == before else None


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime) and value.tzinfo is not None:
        return iso(value)
    if isinstance(value, datetime):
        return value.isoformat()
    return str(value)
