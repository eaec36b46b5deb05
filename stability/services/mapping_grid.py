"""A foreign sheet as rows of cells: texts as typed, or the numbers and dates that a workbook holds.

Nothing is understood here yet; lines are those of the file.
"""

from __future__ import annotations

import codecs
import csv
import io
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any

from stability.errors import InputError
from stability.services.faults import Faults
from stability.services.sources import Source
from stability.services.spreadsheets import is_workbook, opened_workbook, tell_formula

__all__ = ["ENCODINGS", "Cell", "Grid", "GridRow", "grids_of", "is_utf", "text_of_cell"]

Cell = str | Decimal | datetime | date | time
GridRow = tuple[int, tuple[Cell, ...]]

ENCODINGS = ("utf-8", "cp1252", "cp1250", "latin-1")
"""Ways of writing letters that old programs used beside UTF-8 (cp1252: Windows, Western Europe)."""
_SEPARATORS = ";,\t|"
_MOST_ROWS = 200_000
_MOST_COLUMNS = 2_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """One sheet; `header` is empty until it was found, `preamble` is what stood above it."""

    label: str
    sheet: str | None
    rows: Sequence[GridRow]
    header: tuple[str, ...] = ()
    preamble: str = ""

    def below(self, place: int, header: Sequence[str], *, skip: int = 1) -> Grid:
        """Return the grid whose header is the row of this place, with heads that are all different."""
        above = [text_of_cell(cell) for _, cells in self.rows[:place] for cell in cells]
        seen: Counter[str] = Counter()
        heads = []
        for number, head in enumerate(header, start=1):
            name = " ".join(head.split()) or f"column {number}"
            seen[name] += 1
            heads.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
        width = len(heads)
        rows = [(line, _fitted(cells, width)) for line, cells in self.rows[place + skip :]]
        return replace(self, rows=rows, header=tuple(heads), preamble=" ".join(filter(None, above)))


def _fitted(cells: tuple[Cell, ...], width: int) -> tuple[Cell, ...]:
    """Return a row of the header's length: cells beyond it stay, so that they can be told."""
    return (*cells, *("" for _ in range(width - len(cells))))


def text_of_cell(cell: Cell) -> str:
    """Return a cell as text, as one would type it."""
    if isinstance(cell, str):
        return cell.strip()
    return format(cell, "f") if isinstance(cell, Decimal) else cell.isoformat()


def is_utf(source: Source) -> bool:
    """Say whether a file is a workbook or text in UTF-8 or UTF-16."""
    if is_workbook(source):
        return True
    try:
        _decoded(source.content, "utf-8")
    except UnicodeDecodeError:
        return False
    return True


def grids_of(source: Source, *, encoding: str) -> tuple[Grid, ...]:
    """Return the sheets of a file that hold anything.

    Raises
    ------
    InputError
        If the file cannot be read, holds formulas, or is too large to be a sheet of somebody's own.
    """
    found = _workbook(source) if is_workbook(source) else (_delimited(source, encoding),)
    filled = tuple(grid for grid in found if grid.rows)
    if not filled:
        raise InputError(f"{source.name}: is empty; expected a header row and rows")
    for grid in filled:
        if len(grid.rows) > _MOST_ROWS or max(len(cells) for _, cells in grid.rows) > _MOST_COLUMNS:
            raise InputError(
                f"{grid.label}: has more than {_MOST_ROWS} rows or {_MOST_COLUMNS} columns", hint="split it"
            )
    return filled


def _delimited(source: Source, encoding: str) -> Grid:
    try:
        text = _decoded(source.content, encoding)
    except (UnicodeDecodeError, LookupError) as exc:
        raise InputError(
            f"{source.name}: is not {encoding} ({exc})", hint=f"--encoding {', '.join(ENCODINGS[1:])}"
        ) from None
    if "\x00" in text:
        raise InputError(f"{source.name}: holds NUL characters; expected a text file or a workbook")
    separator = _separator(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    rows: list[GridRow] = []
    begins = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                rows.append((begins, tuple(cells)))
            begins = reader.line_num + 1
    except csv.Error as exc:
        raise InputError(f"{source.name} line {reader.line_num}: {exc}; expected quotes that close") from None
    return Grid(label=source.name, sheet=None, rows=rows)


def _decoded(content: bytes, encoding: str) -> str:
    if content.startswith((codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)):
        return content.decode("utf-32")
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return content.decode("utf-16")
    return content.decode("utf-8-sig" if encoding == "utf-8" else encoding)


def _separator(text: str) -> str:
    """Return the separator that cuts most lines into the same number of cells, more than one."""
    lines = [line for line in text.splitlines()[:60] if line.strip()]

    def evenness(separator: str) -> tuple[float, int]:
        widths: Counter[int] = Counter()
        for line in lines:
            try:
                cells = next(csv.reader([line], delimiter=separator), [])
            except csv.Error:
                cells = []
            widths[len(cells)] += len(cells) > 1
        width, lines_so = widths.most_common(1)[0] if widths else (0, 0)
        return lines_so / max(len(lines), 1), width

    return max(_SEPARATORS, key=evenness)


def _workbook(source: Source) -> tuple[Grid, ...]:
    faults = Faults()
    book = opened_workbook(source, faults)
    faults.raise_if_any()
    found = []
    for page in book.worksheets:
        page.reset_dimensions()
        label = f"{source.name} sheet {page.title}"
        found.append(Grid(label=label, sheet=page.title, rows=list(_page_rows(label, page, faults))))
    faults.raise_if_any()
    return tuple(found)


def _page_rows(label: str, page: Any, faults: Faults) -> Iterator[GridRow]:
    try:
        for line, cells in enumerate(page.iter_rows(), start=1):
            row = [_workbook_cell(label, cell, faults) for cell in cells]
            while row and row[-1] == "":
                row.pop()
            if row:
                yield line, tuple(row)
    except Exception as exc:  # a damaged sheet shows while it is read
        faults.add(f"{label}: cannot be read ({exc}); expected an XLSX sheet")


def _workbook_cell(label: str, cell: Any, faults: Faults) -> Cell:
    value = cell.value
    if value is None:
        return ""
    if tell_formula(label, cell, faults):
        return ""
    if isinstance(value, datetime) and value.time() == time(0):
        return value.date()  # a workbook keeps every date with midnight
    if isinstance(value, bool) or not isinstance(value, int | float | datetime | date | time):
        return str(value)
    if isinstance(value, int | float):
        whole = isinstance(value, int) or (value.is_integer() and abs(value) < 1e15)
        return Decimal(int(value)) if whole else Decimal(repr(value)) if abs(value) < 1e300 else str(value)
    return value
