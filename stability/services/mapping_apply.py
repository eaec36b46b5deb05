"""A foreign sheet read by its mapping: rows with our columns, each with the line it stands on.

What cannot be read as the mapping says is told with line, head and cell; then nothing is taken.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from stability.services.faults import Faults, nearest_name, typed
from stability.services.mapping import LEFT_OUT, Across, SheetMap, Target
from stability.services.mapping_cells import Dates, DecimalMark, parse_clock, parse_date, parse_number
from stability.services.mapping_grid import Cell, Grid, text_of_cell
from stability.services.mapping_heads import age_in
from stability.services.mapping_propose import across_heads, is_date, is_number, without_unit
from stability.services.mapping_units import converted, unit_named
from stability.services.sources import Sheet
from stability.services.tables import TABLES

__all__ = ["read_by_map", "tell_strange_heads"]

_BESIDE = ("age", "time_of_day", "placed_at")


def tell_strange_heads(
    grid: Grid, sheet_map: SheetMap, samples: Mapping[str, datetime], faults: Faults
) -> None:
    """Tell heads that the mapping does not know, and heads that it misses."""
    inside = across_heads(grid, sheet_map, samples)
    for head in grid.header:
        empty = all(not text_of_cell(cells[grid.header.index(head)]) for _, cells in grid.rows)
        if head not in sheet_map.columns and head not in inside and not empty:
            near = nearest_name(head, [h for h in sheet_map.columns if h not in grid.header])
            faults.add(
                f"{grid.label}: column {typed(head)} is not in the mapping"
                + (f"; is it {typed(near)} by another name?" if near else ""),
                hint=f"--column '{head}=…' says what it is, --column '{head}=-' leaves it out",
            )
    for head, target in sheet_map.columns.items():
        if target.column != LEFT_OUT and head not in grid.header:
            faults.add(f"{grid.label}: column {typed(head)} of the mapping is missing")
    if sheet_map.across is not None and not inside:
        faults.add(f"{grid.label}: no column is headed by one of the {sheet_map.across} of the mapping")


def read_by_map(
    grid: Grid, sheet_map: SheetMap, *, samples: Mapping[str, datetime], zone: ZoneInfo, faults: Faults
) -> Sheet:
    """Return a sheet of ours, its rows read while they are taken; `samples` are known codes → placed at."""
    reader = _Reader(grid, sheet_map, samples, zone, faults)
    spec = TABLES[sheet_map.table]
    said = {target.column for target in sheet_map.columns.values()} | set(sheet_map.constants)
    if sheet_map.values is not None:
        said.add(sheet_map.values.column)
    said |= {"taken_at"} if sheet_map.across in (Across.AGES, Across.DATES) or "age" in said else set()
    said |= {"sample"} if sheet_map.across is Across.SAMPLES else set()
    said |= {"gel_grade"} if any(means.startswith("grade") for means in sheet_map.words.values()) else set()
    header = tuple(name for name in spec.names if name in said)
    rows = ((line, [row.get(name, "") for name in header]) for line, row in reader.rows())
    return Sheet(grid.label, spec, header, rows, faults)


class _NotReadError(Exception):
    """A cell that cannot be read as the mapping says."""


@dataclass(slots=True)
class _Reader:
    grid: Grid
    sheet_map: SheetMap
    samples: Mapping[str, datetime]
    zone: ZoneInfo
    faults: Faults
    _columns: list[tuple[int, str, Target]] = field(default_factory=list)
    _across: list[tuple[int, str]] = field(default_factory=list)

    def rows(self) -> Iterator[tuple[int, dict[str, str]]]:
        """Yield line and cells by our columns; values across give a row each, empty ones none."""
        inside = across_heads(self.grid, self.sheet_map, self.samples)
        for place, head in enumerate(self.grid.header):
            target = self.sheet_map.columns.get(head, Target(LEFT_OUT))
            if head in inside:
                self._across.append((place, head))
            elif target.column != LEFT_OUT:
                self._columns.append((place, head, target))
        for row in self.grid.rows:
            before = self.faults.count
            found = list(self._row(*row))
            if self.faults.count == before:
                yield from ((row[0], one) for one in found)

    def _row(self, line: int, cells: tuple[Cell, ...]) -> Iterator[dict[str, str]]:
        if any(text_of_cell(cell) for cell in cells[len(self.grid.header) :]):
            self.faults.add(f"{self.grid.label} line {line}: more cells than the header has")
            return
        own: dict[str, str] = {}
        for place, head, target in self._columns:
            self._put(own, (line, head), cells[place], target)
        if self.sheet_map.across is None:
            if any(own.values()):
                yield from self._finished(line, own)
            return
        for place, head in self._across:
            if text_of_cell(cells[place]):
                one = self._at_head(own, (line, head), cells[place])
                yield from self._finished(line, one)

    def _at_head(self, own: Mapping[str, str], where: tuple[int, str], cell: Cell) -> dict[str, str]:
        """Return a row with what stands below a head that is an age, a date or a sample."""
        one, head = dict(own), where[1]
        self._put(one, where, cell, self.sheet_map.values or Target(LEFT_OUT))
        if self.sheet_map.across is Across.SAMPLES:
            one["sample"] = head
        elif self.sheet_map.across is Across.DATES:
            self._put(one, where, head, Target("taken_at"))
        else:
            number, unit = age_in(head) or (Decimal(0), None)
            unit = unit or self.sheet_map.age_unit or "days"
            one["age"] = format(number * (7 if unit == "weeks" else 1), "f")
        return one

    def _put(self, row: dict[str, str], where: tuple[int, str], cell: Cell, target: Target) -> None:
        if not text_of_cell(cell) or target.column == LEFT_OUT:
            return
        try:
            self._read(row, cell, target)
        except _NotReadError as exc:
            line, head = where
            self.faults.add(
                f"{self.grid.label} line {line}, {head}: {typed(text_of_cell(cell))} {exc}",
                hint="correct the file, or say how it is meant (--map without a name asks)",
            )

    def _read(self, row: dict[str, str], cell: Cell, target: Target) -> None:
        column = target.column
        if is_number(self.sheet_map, column):
            self._read_number(row, cell, target)
        elif is_date(self.sheet_map, column):
            row[column] = self._date(cell)
        elif column == "time_of_day":
            row[column] = self._clock(cell).isoformat()
        else:
            row[column] = text_of_cell(cell)

    def _read_number(self, row: dict[str, str], cell: Cell, target: Target) -> None:
        over = isinstance(cell, str) and target.column == "viscosity_mpas" and cell.strip().startswith(">")
        if isinstance(cell, Decimal):
            number: Decimal | None = cell
        elif not isinstance(cell, str):
            raise _NotReadError("is a date or a time; expected a number")
        else:
            text = without_unit(cell.strip(), target)
            if text in self.sheet_map.words:
                means = self.sheet_map.words[text]
                row.update({"gel_grade": means[-1]} if means.startswith("grade") else {})
                return
            number = self._number(text)
        unit = unit_named(target.column, target.unit) if target.unit else None
        if number is None:
            raise _NotReadError("is not a number")
        if unit is not None:
            if abs(number.adjusted()) > 12 and number:
                raise _NotReadError("is not a number that could have been measured")
            if unit.by_density:
                row["_by_density"] = target.column
            number = converted(number, unit)
        row[target.column] = (">" if over else "") + format(number.normalize(), "f")

    def _number(self, text: str) -> Decimal | None:
        if self.sheet_map.decimal is not None:
            found = parse_number(text, self.sheet_map.decimal)
            if found is None and any(parse_number(text, mark) is not None for mark in DecimalMark):
                raise _NotReadError(f"is no number with a decimal {self.sheet_map.decimal}")
            return found
        ways = [parse_number(text, mark) for mark in DecimalMark]
        if ways[0] != ways[1]:
            raise _NotReadError(
                "has two meanings: the mapping does not say which mark stands before decimals"
            )
        return ways[0]

    def _clock(self, cell: Cell) -> time:
        if isinstance(cell, time):
            return cell
        found = parse_clock(text_of_cell(cell))
        if found is None:
            raise _NotReadError("is not a time of the day")
        return found

    def _date(self, cell: Cell) -> str:
        """Return a date or a time in ISO 8601, local to the site where it says no offset."""
        if isinstance(cell, Decimal | time):
            raise _NotReadError("is a number, not a date; give its column the format of a date")
        if isinstance(cell, date):
            return cell.isoformat()
        orders = [self.sheet_map.dates] if self.sheet_map.dates else list(Dates)
        ways = {parse_date(cell, order) for order in orders}
        if len(ways) > 1:
            raise _NotReadError("has two meanings: the mapping does not say whether day or month comes first")
        found = ways.pop()
        if found is None:
            order = f" with the {self.sheet_map.dates}" if self.sheet_map.dates else ""
            raise _NotReadError(f"is not a date{order}")
        return found.isoformat()

    def _finished(self, line: int, row: Mapping[str, str]) -> Iterator[dict[str, str]]:
        """Yield a row with constants, its time put together, and what only the density makes ours."""
        made = {**self.sheet_map.constants, **row}
        try:
            self._dated(made)
            self._by_density(made)
        except _NotReadError as exc:
            self.faults.add(f"{self.grid.label} line {line}: {exc}")
            return
        yield {name: text for name, text in made.items() if name not in _BESIDE or name in self._spec_names}

    @property
    def _spec_names(self) -> tuple[str, ...]:
        return TABLES[self.sheet_map.table].names

    def _dated(self, made: dict[str, str]) -> None:
        clock = made.get("time_of_day") or self.sheet_map.time_of_day
        for name in ("taken_at", "at", "placed_at", "entered_at"):
            text = made.get(name, "")
            if len(text) == len("2025-03-04"):
                if clock is None:
                    raise _NotReadError(f"{text} has no time of the day, and the mapping says none")
                made[name] = f"{text}T{(parse_clock(clock) or time(12)).isoformat()}"
        if made.get("age") and not made.get("taken_at"):
            made["taken_at"] = self._at_age(made)

    def _at_age(self, made: Mapping[str, str]) -> str:
        """Return when a sample had an age: days of the calendar, at the time of the day it was placed."""
        code = made.get("sample", "")
        placed_at = self.samples.get(code)
        try:
            age = timedelta(days=float(made["age"]))
            if made.get("placed_at"):
                return (datetime.fromisoformat(made["placed_at"]) + age).isoformat()
            if placed_at is not None:
                return (placed_at.astimezone(self.zone).replace(tzinfo=None) + age).isoformat()
        except (ValueError, OverflowError):
            raise _NotReadError(f"an age of {made['age']} days lies beyond the calendar") from None
        raise _NotReadError(
            f"sample {typed(code)} is not on record: nobody knows when it was {made['age']} days old"
        )

    def _by_density(self, made: dict[str, str]) -> None:
        column = made.pop("_by_density", "")
        if not column:
            return
        density = made.get("density_g_ml")
        if not density:
            raise _NotReadError("a kinematic viscosity (mm²/s) needs the density beside it")
        value = made[column].removeprefix(">")
        over = ">" if made[column].startswith(">") else ""
        made[column] = over + format((Decimal(value) * Decimal(density)).normalize(), "f")
