"""Cells of one column to values, a whole column at a time: the fast way first, cell by cell where it fails.

An empty cell is None. A cell that cannot be read is None too, and is told through `say(row, text)`.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from stability.services.columns import Column, Kind
from stability.services.faults import typed
from stability.services.instants import in_utc, instant_of

__all__ = ["Say", "values_of", "viscosities"]

Say = Callable[[int, str], None]
_LINES_ALLOWED = str.maketrans("", "", "\n\r\t")


def values_of(column: Column, cells: Sequence[str], *, zone: ZoneInfo, say: Say) -> list[Any]:
    """Return the values of a column's stripped cells (a viscosity column: see `viscosities`)."""
    if not any(cells):
        return [None] * len(cells)
    if column.kind is Kind.NUMBER:
        return _numbers(column, cells, say)
    if column.kind is Kind.INSTANT:
        return _instants(column, cells, zone, say)
    if column.kind is Kind.WORD:
        return _words(column, cells, say)
    if column.kind is Kind.WHOLE:
        return [None if v is None else int(v) for v in _wholes(column, cells, say)]
    return _texts(column, cells, say)


def _numbers(column: Column, cells: Sequence[str], say: Say) -> list[float | None]:
    joined = "".join(cells)
    if joined.isascii() and "_" not in joined:  # float() would read 1_000 and digits of other scripts
        try:
            values = [float(cell) if cell else None for cell in cells]
        except ValueError:
            pass
        else:
            if _all_admitted(column, values):
                return values
    return [_number(column, cell, row, say) if cell else None for row, cell in enumerate(cells)]


def _all_admitted(column: Column, values: Sequence[float | None]) -> bool:
    real = [value for value in values if value is not None]
    if not math.isfinite(sum(real)):  # one NaN or infinity is enough
        return False
    return column.admits(min(real)) and column.admits(max(real))


def _number(column: Column, cell: str, row: int, say: Say) -> float | None:
    value = _float(cell)
    if value is None:
        say(row, f"{typed(cell)} {_why_no_number(cell)}; expected {column.expects}")
    elif not math.isfinite(value):
        say(row, f"{typed(cell)} is not a finite number; expected {column.expects}")
    elif not column.admits(value):
        say(row, f"{typed(cell)} is out of bounds; expected {column.expects}")
    else:
        return value
    return None


def _float(cell: str) -> float | None:
    if not cell.isascii() or "_" in cell:
        return None
    try:
        return float(cell)
    except ValueError:
        return None


def _why_no_number(cell: str) -> str:
    bare = cell.replace(",", "").replace(".", "").lstrip("+->")
    if "," in cell and bare.isdigit():
        return "has a comma (a decimal point is wanted, and no separators of thousands)"
    return "is not a number"


def _wholes(column: Column, cells: Sequence[str], say: Say) -> list[float | None]:
    values = _numbers(column, cells, say)
    for row, value in enumerate(values):
        if value is not None and value != int(value):
            say(row, f"{typed(cells[row])} is not a whole number; expected {column.expects}")
            values[row] = None
    return values


def _instants(column: Column, cells: Sequence[str], zone: ZoneInfo, say: Say) -> list[datetime | None]:
    parse = datetime.fromisoformat
    try:
        moments = [parse(cell) if cell else None for cell in cells]
        return [m if m is None or m.tzinfo is UTC else in_utc(m, zone) for m in moments]
    except ValueError:
        return [_instant(column, cell, row, zone=zone, say=say) for row, cell in enumerate(cells)]


def _instant(column: Column, cell: str, row: int, *, zone: ZoneInfo, say: Say) -> datetime | None:
    if not cell:
        return None
    try:
        datetime.fromisoformat(cell)
    except ValueError:
        say(row, f"{typed(cell)} is not a time; expected {column.expects}")
        return None
    try:
        return instant_of(cell, zone)
    except ValueError as exc:
        say(row, f"{exc}; expected {column.expects}")
        return None


def _words(column: Column, cells: Sequence[str], say: Say) -> list[str | None]:
    words = {word: word for word in column.words}
    try:
        return [words[cell.casefold()] if cell else None for cell in cells]
    except KeyError:
        for row, cell in enumerate(cells):
            if cell and cell.casefold() not in words:
                say(row, f"{typed(cell)} is not known here; expected {column.expects}")
        return [words.get(cell.casefold()) for cell in cells]


def _texts(column: Column, cells: Sequence[str], say: Say) -> list[str | None]:
    free = column.kind is Kind.TEXT
    joined = "".join(cells)
    prints = (joined.translate(_LINES_ALLOWED) if free else joined).isprintable()
    if prints and max(map(len, cells)) <= column.longest:
        return [cell or None for cell in cells]
    return [_text(column, cell, row, say) if cell else None for row, cell in enumerate(cells)]


def _text(column: Column, cell: str, row: int, say: Say) -> str | None:
    if len(cell) > column.longest:
        say(row, f"{typed(cell)} has {len(cell)} characters; expected at most {column.longest}")
        return None
    if column.kind is Kind.TEXT:
        # joiners and marks of any script are welcome in free text; control characters are not
        bad = any(unicodedata.category(c) in ("Cc", "Cs") for c in cell.translate(_LINES_ALLOWED))
    else:
        bad = not cell.isprintable()
    if bad:
        say(row, f"{typed(cell)} holds a character that does not print; expected text that prints")
        return None
    return cell


def viscosities(
    column: Column, cells: Sequence[str], say: Say
) -> tuple[list[float | None], list[int], list[str | None]]:
    """Return values, over-range marks and the texts as typed where they are not plainly the number."""
    if not any(cells):
        return [None] * len(cells), [0] * len(cells), [None] * len(cells)
    if ">" not in "".join(cells):
        values = _numbers(column, cells, say)
        return values, [0] * len(cells), list(map(_as_typed, cells, values))
    over = [int(cell.startswith(">")) for cell in cells]
    bare = [cell[1:].strip() if mark else cell for cell, mark in zip(cells, over, strict=True)]
    for row, mark in enumerate(over):
        if mark and not bare[row]:
            say(row, f"{typed(cells[row])} is not a number; expected {column.expects}")
    values = _numbers(column, bare, say)
    texts = [
        cell if mark else _as_typed(cell, value)
        for cell, mark, value in zip(cells, over, values, strict=True)
    ]
    return values, [mark if value is not None else 0 for mark, value in zip(over, values, strict=True)], texts


def _as_typed(cell: str, value: float | None) -> str | None:
    if value is None:
        return None
    plain = repr(value)
    return None if plain in (cell, f"{cell}.0") else cell[:60]
