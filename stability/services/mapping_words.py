"""A mapping in words, as shown before it is used: each column with a cell of it, and how cells read."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from stability.services.mapping import LEFT_OUT, SheetMap
from stability.services.mapping_cells import parse_number
from stability.services.mapping_grid import Grid, text_of_cell
from stability.services.mapping_propose import across_heads, date_evidence, mark_evidence

__all__ = ["mapping_words"]

_LONGEST = 30


def mapping_words(sheet_map: SheetMap, grid: Grid, samples: Collection[str]) -> Iterator[str]:
    """Yield one line a column, then how values across, numbers, dates and words are read."""
    yield f"{grid.label} as {sheet_map.table}:"
    width = max((min(len(head), _LONGEST) for head in sheet_map.columns), default=0)
    for number, (head, target) in enumerate(sheet_map.columns.items(), start=1):
        words = "left out" if target.column == LEFT_OUT else target.words
        example = _example(grid, head)
        yield f"  {number:2}  {head[:_LONGEST]:<{width}}  {words}" + (f"   ({example})" if example else "")
    inside = across_heads(grid, sheet_map, samples)
    if sheet_map.across is not None and inside:
        held = sheet_map.values.words if sheet_map.values else "not said yet"
        yield f"      {inside[0]} … {inside[-1]}: {len(inside)} {sheet_map.across} across, below them {held}"
    yield from (f"      {line}" for line in _ways(sheet_map, grid, samples))


def _example(grid: Grid, head: str) -> str:
    if head not in grid.header:
        return "not in this file"
    place = grid.header.index(head)
    texts = (text_of_cell(cells[place]) for _, cells in grid.rows)
    return next((text[:_LONGEST] for text in texts if text), "empty")


def _ways(sheet_map: SheetMap, grid: Grid, samples: Collection[str]) -> Iterator[str]:
    marks, order = mark_evidence(grid, sheet_map, samples), date_evidence(grid, sheet_map, samples)
    if sheet_map.decimal is not None:
        proof = marks.first if sheet_map.decimal == "comma" else marks.second
        shown = f", as {proof} shows" if proof else ""
        value = parse_number(marks.open, sheet_map.decimal) if marks.open else None
        read = f"; {marks.open} is read as {value.normalize():f}" if value is not None else ""
        yield f"decimal {sheet_map.decimal}{shown}{read}"
    if sheet_map.dates is not None:
        proof = order.first if sheet_map.dates == "day first" else order.second
        yield f"dates: {sheet_map.dates}" + (f", as {proof} shows" if proof else "")
    if sheet_map.time_of_day is not None:
        yield f"dates without a time: {sheet_map.time_of_day}"
    for word, means in sheet_map.words.items():
        yield f"{word!r} stands for {means}"
    for name, value_text in sheet_map.constants.items():
        yield f"{name} is {value_text} in all rows"
