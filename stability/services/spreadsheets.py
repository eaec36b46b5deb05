"""Workbooks (XLSX) in and out: every sheet is a table; what is written is the same bytes every time.

A formula is refused: its last result may be stale, and the cell would not say so.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime, time
from typing import Any

from stability.services.faults import Faults, typed
from stability.services.sources import Row, Sheet, Source, sheet_of

__all__ = ["is_workbook", "opened_workbook", "tell_formula", "workbook_bytes", "workbook_sheets"]

_MOST_BYTES = 1_000_000_000
_FIXED = (1980, 1, 1, 0, 0, 0)  # the earliest date a zip can hold
_FIXED_ISO = "1980-01-01T00:00:00Z"


def is_workbook(source: Source) -> bool:
    """Say whether a file is to be read as a workbook, by its content or its name."""
    return source.content.startswith(b"PK\x03\x04") or source.name.lower().endswith((".xlsx", ".xlsm"))


def workbook_sheets(source: Source, faults: Faults) -> list[Sheet]:
    """Return the sheets of a workbook that hold anything; their faults are told."""
    book = opened_workbook(source, faults)
    if book is None:
        return []
    found: list[Sheet] = []
    empty = True
    for page in book.worksheets:
        label = f"{source.name} sheet {page.title}"
        page.reset_dimensions()  # a stale size in the file would cut rows or cells off
        rows = _rows(label, page, faults)
        first = next(rows, None)
        if first is None:
            continue
        empty = False
        header = list(first[1])
        while header and not header[-1].strip():
            header.pop()
        sheet = sheet_of(label, header, _fitted(rows, len(header)), faults)
        if sheet is not None:
            found.append(sheet)
    if empty:
        faults.add(f"{source.name}: is empty; expected a sheet with a header row and rows")
    return found


def opened_workbook(source: Source, faults: Faults) -> Any:
    """Return a workbook to read, or None after its faults were told."""
    import openpyxl

    hint = "save it as XLSX, or as CSV UTF-8"
    try:
        with zipfile.ZipFile(io.BytesIO(source.content)) as packed:
            size = sum(item.file_size for item in packed.infolist())
        if size > _MOST_BYTES:
            faults.add(
                f"{source.name}: unpacks to {size / 1e9:.1f} GB; expected less than 1 GB", hint="split it"
            )
            return None
        return openpyxl.load_workbook(io.BytesIO(source.content), read_only=True, data_only=False)
    except Exception as exc:  # openpyxl lets KeyError, ParseError, BadZipFile and more through
        faults.add(
            f"{source.name}: is not an XLSX workbook that can be read ({exc}); expected one", hint=hint
        )
        return None


def _rows(label: str, page: Any, faults: Faults) -> Iterator[Row]:
    try:
        for line, cells in enumerate(page.iter_rows(), start=1):
            before = faults.count
            row = [_text(label, cell, faults) for cell in cells]
            if any(row) and faults.count == before:
                yield line, row
    except Exception as exc:  # a damaged sheet shows while it is read
        faults.add(f"{label}: cannot be read ({exc}); expected an XLSX sheet")


def _fitted(rows: Iterator[Row], width: int) -> Iterator[Row]:
    """Give every row the header's length: a workbook does not store empty cells at the end."""
    for line, cells in rows:
        held = list(cells)
        while len(held) > width and not held[-1]:
            held.pop()
        yield line, held + [""] * (width - len(held))


def tell_formula(label: str, cell: Any, faults: Faults) -> bool:
    """Tell a cell that holds a formula, and say whether it does."""
    if cell.data_type != "f":
        return False
    faults.add(
        f"{label} cell {cell.coordinate}: {typed(str(cell.value))} is a formula; expected a value",
        hint="paste as values and import again",
    )
    return True


def _text(label: str, cell: Any, faults: Faults) -> str:
    value = cell.value
    if value is None:
        return ""
    if tell_formula(label, cell, faults):
        return ""
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))  # a lot typed as 417 must not become 417.0
    return str(value)


def workbook_bytes(tables: Mapping[str, tuple[Sequence[str], Iterable[Sequence[Any]]]]) -> bytes:
    """Return a workbook with one sheet a table: header first, numbers as numbers, all else as text."""
    import openpyxl

    book = openpyxl.Workbook(write_only=True)
    book.properties.creator = "stability"
    for name, (header, rows) in tables.items():
        page = book.create_sheet(name)
        page.append(list(header))
        for row in rows:
            page.append([_cell(page, value) for value in row])
    packed = io.BytesIO()
    book.save(packed)
    return _repacked(packed.getvalue())


def _cell(page: Any, value: Any) -> Any:
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    if isinstance(value, float) and float(f"{value:.16g}") != value:
        exact: Any = WriteOnlyCell(page, value=value)
        exact._value = repr(value)  # openpyxl writes 16 digits, and this number needs the 17th
        return exact
    if not isinstance(value, str):
        return value
    clean = ILLEGAL_CHARACTERS_RE.sub("\ufffd", value)
    if not clean.startswith(("=", "#")):
        return clean
    cell = WriteOnlyCell(page, value=clean)
    cell.data_type = "s"  # text stays text: a leading = would be taken for a formula, #N/A for an error
    return cell


def _repacked(content: bytes) -> bytes:
    """Return the same workbook with fixed dates, so that the same tables are the same bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in sorted(old.namelist(), key=lambda n: (n != "[Content_Types].xml", n)):
            part = old.read(name)
            if name == "docProps/core.xml":
                part = re.sub(
                    rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*", rb"\g<1>" + _FIXED_ISO.encode(), part
                )
            item = zipfile.ZipInfo(name, date_time=_FIXED)
            item.compress_type = zipfile.ZIP_DEFLATED
            item.external_attr = 0o600 << 16
            new.writestr(item, part)
    return out.getvalue()
