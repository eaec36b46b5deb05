"""Answers given beforehand to what a mapping would ask: `HEAD=TARGET`, `TEXT=MEANING`, an order, a mark."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from stability.errors import InputError
from stability.services.faults import nearest_name, typed
from stability.services.mapping import SheetMap, checked, target_of
from stability.services.mapping_cells import Dates, DecimalMark
from stability.services.mapping_grid import Grid

__all__ = ["with_answers"]


def with_answers(sheet_map: SheetMap, answers: Mapping[str, Any], grid: Grid) -> SheetMap:
    """Return a mapping changed by what was said.

    Raises
    ------
    InputError
        If something said names no head of the sheet, or no column or unit of ours.
    """
    for head, text in _pairs(answers.get("columns", ()), "--column HEAD=OURS"):
        if head not in grid.header:
            near = nearest_name(head, grid.header)
            raise InputError(
                f"{grid.label}: no column {typed(head)}",
                hint=f"did you mean {near}?" if near else ", ".join(grid.header[:20]),
            )
        sheet_map = sheet_map.with_column(head, target_of(sheet_map.table, text))
    if answers.get("values"):
        sheet_map = replace(sheet_map, values=target_of(sheet_map.table, answers["values"]))
    if answers.get("decimal"):
        sheet_map = replace(sheet_map, decimal=DecimalMark(answers["decimal"]))
    if answers.get("dates"):
        sheet_map = replace(sheet_map, dates=Dates(answers["dates"]))
    words = dict(_pairs(answers.get("words", ()), "--word TEXT=MEANS"))
    constants = dict(_pairs(answers.get("constants", ()), "--set OURS=VALUE"))
    return checked(
        replace(
            sheet_map,
            words={**sheet_map.words, **words},
            constants={**sheet_map.constants, **constants},
            time_of_day=answers.get("time_of_day", sheet_map.time_of_day),
            age_unit=answers.get("age_unit", sheet_map.age_unit),
        )
    )


def _pairs(texts: Iterable[str], form: str) -> Iterable[tuple[str, str]]:
    for text in texts:
        left, sign, right = text.rpartition("=")
        if not sign or not left.strip():
            raise InputError(f"{typed(text)} says nothing", hint=form)
        yield left.strip(), right.strip()
