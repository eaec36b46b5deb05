"""A first mapping for a sheet: what its heads and cells prove; what they leave open becomes a question.

Nothing is settled here that the sheet does not prove or a head does not say.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import replace
from decimal import Decimal
from functools import partial

from stability.services.columns import Kind
from stability.services.mapping import LEFT_OUT, Across, SheetMap, Target
from stability.services.mapping_cells import (
    Dates,
    DecimalMark,
    Evidence,
    evidence,
    parse_date,
    parse_number,
)
from stability.services.mapping_grid import Grid, text_of_cell
from stability.services.mapping_heads import age_in, header_place, likeliest
from stability.services.mapping_units import Unit, unit_in, unit_named, units_of
from stability.services.tables import TABLES

__all__ = [
    "across_heads",
    "date_evidence",
    "is_date",
    "is_number",
    "mark_evidence",
    "number_texts",
    "proposal",
    "settled",
    "with_header",
    "without_unit",
]

_NUMBERS = (Kind.NUMBER, Kind.WHOLE, Kind.VISCOSITY)
_LEAST_ACROSS = 2
_WITH_UNIT = re.compile(r"([+-]?\d[\d.,'’\s]*?)\s*([^\d\s.,'’+-].*)", re.ASCII)


def with_header(grid: Grid, samples: Collection[str]) -> Grid:
    """Return a sheet with its header found: titles above it set aside, a row of units joined to it."""
    texts = [[text_of_cell(cell) for cell in cells] for _, cells in grid.rows[:31]]
    place = header_place(texts, samples)
    header = texts[place]
    below = texts[place + 1] if len(texts) > place + 1 else []
    if _is_units(below):
        width = max(len(header), len(below))
        header, below = (row + [""] * (width - len(row)) for row in (header, below))
        joined = [
            f"{head} [{unit.strip('[]() ')}]" if unit else head
            for head, unit in zip(header, below, strict=True)
        ]
        return grid.below(place, joined, skip=2)
    return grid.below(place, header)


def _is_units(row: Sequence[str]) -> bool:
    filled = [text for text in row if text]
    targets = (
        "viscosity_mpas",
        "temperature_c",
        "mass_g",
        "density_g_ml",
        "efflux_s",
        "torque_pct",
        "speed_rpm",
    )
    return bool(filled) and all(any(unit_named(target, text) for target in targets) for text in filled)


def proposal(grid: Grid, samples: Collection[str], *, table: str | None = None) -> SheetMap:
    """Return what a sheet with a header seems to be; what is not proven stays open."""
    across = _across(grid, samples) if table in (None, "readings") else None
    heads = grid.header
    values = None
    if across is not None:
        inside = across_heads(grid, SheetMap(across=across), samples)
        heads = tuple(head for head in heads if head not in inside)
        said = {unit.name for word in grid.preamble.split() if (unit := unit_named("viscosity_mpas", word))}
        values = Target("viscosity_mpas", said.pop()) if len(said) == 1 else None
    chosen = table or ("readings" if across else _table_of(heads))
    like = likeliest(chosen, heads)
    bare = SheetMap(table=chosen)
    columns = {
        head: _target(like[head], head)
        if head in like and _fits(grid, head, bare, like[head])
        else Target(LEFT_OUT)
        for head in heads
    }
    made = SheetMap(table=chosen, columns=columns, across=across, values=values)
    return settled(made, grid, samples)


def _fits(grid: Grid, head: str, sheet_map: SheetMap, column: str) -> bool:
    """Say whether a cell below a head can be what the head seems to say; empty ones can."""
    numbers, dates = is_number(sheet_map, column), is_date(sheet_map, column)
    if not (numbers or dates):
        return True
    place = grid.header.index(head)
    cells = [cells[place] for _, cells in grid.rows if text_of_cell(cells[place])][:200]
    ways: list[Callable[[str], object]] = [partial(parse_date, order=order) for order in Dates]
    if numbers:
        ways = [partial(parse_number, mark=mark) for mark in DecimalMark]
    target = Target(column)
    return not cells or any(
        way(without_unit(cell, target) if numbers else cell) is not None
        if isinstance(cell, str)
        else isinstance(cell, Decimal) == numbers
        for cell in cells
        for way in ways
    )


def _target(column: str, head: str) -> Target:
    known = units_of(column)
    unit = _unit_said(column, head)
    if unit is None and len(known) == 1:
        unit = known[0]
    return Target(column, unit.name if unit else None)


def _unit_said(column: str, head: str) -> Unit | None:
    # the head of an age is often nothing but its unit: "Week", "Tag"
    return unit_in(column, head) or (unit_named(column, head) if column == "age" else None)


def _table_of(heads: Sequence[str]) -> str:
    """Return the table whose needed columns the heads name best; readings where nothing tells."""

    def fit(table: str) -> tuple[int, int]:
        found = set(likeliest(table, heads).values())
        beside = {"age": "taken_at"}
        have = {beside.get(name, name) for name in found}
        return -len(set(TABLES[table].required) - have), len(found)

    return max(("readings", "cures", "samples", "temperatures"), key=fit)


def _across(grid: Grid, samples: Collection[str]) -> Across | None:
    """Return what stands across the sheet, if the heads of several columns are ages, dates or samples."""
    for kind in (Across.SAMPLES, Across.DATES, Across.AGES):
        if len(across_heads(grid, SheetMap(across=kind), samples)) >= _LEAST_ACROSS:
            return kind
    return None


def across_heads(grid: Grid, sheet_map: SheetMap, samples: Collection[str]) -> tuple[str, ...]:
    """Return the heads of the columns that stand for an age, a date or a sample."""
    tests: dict[Across, Callable[[str], bool]] = {
        Across.SAMPLES: lambda head: head in samples,
        Across.DATES: lambda head: any(parse_date(head, order) is not None for order in Dates),
        Across.AGES: lambda head: age_in(head) is not None,
    }
    if sheet_map.across is None:
        return ()
    inside = tests[sheet_map.across]
    return tuple(head for head in grid.header if inside(head) and head not in sheet_map.columns)


def is_number(sheet_map: SheetMap, column: str) -> bool:
    """Say whether the cells of a column of ours are numbers."""
    if column in ("age", LEFT_OUT, "time_of_day", "placed_at"):
        return column == "age"
    return TABLES[sheet_map.table].column(column).kind in _NUMBERS


def is_date(sheet_map: SheetMap, column: str) -> bool:
    """Say whether the cells of a column of ours are dates."""
    if column in (LEFT_OUT, "age", "time_of_day"):
        return False
    return column == "placed_at" or TABLES[sheet_map.table].column(column).kind is Kind.INSTANT


def _texts(grid: Grid, heads: Collection[str]) -> Iterator[str]:
    """Yield the texts that somebody typed below some heads; a workbook's own numbers and dates are clear."""
    places = [place for place, head in enumerate(grid.header) if head in heads]
    for _, cells in grid.rows:
        for place in places:
            cell = cells[place]
            if isinstance(cell, str) and cell.strip():
                yield cell.strip()


def number_texts(grid: Grid, sheet_map: SheetMap, samples: Collection[str]) -> Iterator[tuple[str, Target]]:
    """Yield the texts that should be numbers, with what they become; signs and units around them removed."""
    columns = {
        head: target for head, target in sheet_map.columns.items() if is_number(sheet_map, target.column)
    }
    if sheet_map.values is not None:
        columns.update(dict.fromkeys(across_heads(grid, sheet_map, samples), sheet_map.values))
    for head, target in columns.items():
        for text in _texts(grid, {head}):
            yield without_unit(text, target), target


def without_unit(text: str, target: Target) -> str:
    """Return a number without a > before it and the unit of its column behind it."""
    bare = text.removeprefix(">").strip()
    found = _WITH_UNIT.fullmatch(bare)
    unit = unit_named(target.column, found[2]) if found else None
    return found[1].strip() if found and unit is not None and unit.name == target.unit else bare


def mark_evidence(grid: Grid, sheet_map: SheetMap, samples: Collection[str]) -> Evidence:
    """Return what the numbers prove of the decimal mark: first the comma, second the point."""
    texts = (text for text, _ in number_texts(grid, sheet_map, samples))
    return evidence(
        texts, partial(parse_number, mark=DecimalMark.COMMA), partial(parse_number, mark=DecimalMark.POINT)
    )


def date_evidence(grid: Grid, sheet_map: SheetMap, samples: Collection[str]) -> Evidence:
    """Return what the dates prove of their order: first the day in front, second the month."""
    heads = {head for head, target in sheet_map.columns.items() if is_date(sheet_map, target.column)}
    across = across_heads(grid, sheet_map, samples) if sheet_map.across is Across.DATES else ()
    return evidence(
        (*_texts(grid, heads), *across),
        partial(parse_date, order=Dates.DAY_FIRST),
        partial(parse_date, order=Dates.MONTH_FIRST),
    )


def settled(sheet_map: SheetMap, grid: Grid, samples: Collection[str]) -> SheetMap:
    """Return the mapping with the decimal mark and the order of dates where the sheet proves them."""
    marks, order = mark_evidence(grid, sheet_map, samples), date_evidence(grid, sheet_map, samples)
    if sheet_map.decimal is None and not marks.contradicts_itself and (marks.first or marks.second):
        sheet_map = replace(sheet_map, decimal=DecimalMark.COMMA if marks.first else DecimalMark.POINT)
    if sheet_map.dates is None and not order.contradicts_itself and (order.first or order.second):
        sheet_map = replace(sheet_map, dates=Dates.DAY_FIRST if order.first else Dates.MONTH_FIRST)
    return sheet_map
