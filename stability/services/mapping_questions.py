"""What a sheet leaves open: each point as a question with its choices, and the option that answers it.

Nothing that is open is read; a question's default is only offered to a person.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial

from stability.board.words import date_words
from stability.services.faults import typed
from stability.services.mapping import LEFT_OUT, Across, SheetMap, Target, target_of
from stability.services.mapping_cells import Dates, DecimalMark, parse_date, parse_number
from stability.services.mapping_grid import Grid, text_of_cell
from stability.services.mapping_heads import age_in
from stability.services.mapping_propose import (
    across_heads,
    date_evidence,
    is_date,
    mark_evidence,
    number_texts,
)
from stability.services.mapping_units import units_of
from stability.services.tables import TABLES

__all__ = ["Question", "open_questions"]

NOTHING = "nothing"
_MOST_WORDS = 20
_GRADES = tuple(f"grade {number}" for number in range(6))
_VALUES = ("viscosity_mpas", "gel_grade", "efflux_s", "torque_pct")


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One open point; `option` is what answers it on a command line."""

    words: str
    choices: tuple[str, ...]
    option: str
    answered: Callable[[str], SheetMap]
    default: str | None = None


def open_questions(sheet_map: SheetMap, grid: Grid, samples: Collection[str]) -> tuple[Question, ...]:
    """Return what must be said before the sheet can be read."""
    return (
        *_columns(sheet_map, grid),
        *_units(sheet_map),
        *_across(sheet_map, grid, samples),
        *_marks(sheet_map, grid, samples),
        *_orders(sheet_map, grid, samples),
        *_clock(sheet_map, grid),
        *_words(sheet_map, grid, samples),
    )


def _columns(sheet_map: SheetMap, grid: Grid) -> Iterator[Question]:
    """Ask for the columns without which a row is none."""
    have = {target.column for target in sheet_map.columns.values()} | set(sheet_map.constants)
    if sheet_map.across in (Across.AGES, Across.DATES) or "age" in have:
        have.add("taken_at")
    if sheet_map.across is Across.SAMPLES:
        have.add("sample")
    free = tuple(head for head in grid.header if sheet_map.columns.get(head, Target("")).column == LEFT_OUT)
    wanted = [name for name in TABLES[sheet_map.table].required if name not in have]
    if sheet_map.table == "readings" and sheet_map.across is None and not have & set(_VALUES):
        wanted.append("viscosity_mpas")
    for name in wanted:
        yield Question(
            words=f"which column is {name}?",
            choices=free,
            option=f"--column 'HEAD={name}', or --set {name}=VALUE for all rows",
            answered=partial(_with_head, sheet_map, name),
        )


def _with_head(sheet_map: SheetMap, name: str, head: str) -> SheetMap:
    return sheet_map.with_column(head, target_of(sheet_map.table, name))


def _units(sheet_map: SheetMap) -> Iterator[Question]:
    for head, target in sheet_map.columns.items():
        units = units_of(target.column)
        if units and target.unit is None:
            yield Question(
                words=f"column {typed(head)} as {target.column}: in which unit?",
                choices=tuple(unit.name for unit in units),
                option=f"--column '{head}={target.column} in {units[0].name}'",
                answered=partial(_with_unit, sheet_map, head, target.column),
            )


def _with_unit(sheet_map: SheetMap, head: str, column: str, unit: str) -> SheetMap:
    return sheet_map.with_column(head, Target(column, unit))


def _across(sheet_map: SheetMap, grid: Grid, samples: Collection[str]) -> Iterator[Question]:
    heads = across_heads(grid, sheet_map, samples)
    if sheet_map.across is None or not heads:
        return
    if sheet_map.values is None or (units_of(sheet_map.values.column) and sheet_map.values.unit is None):
        units = [f"viscosity_mpas in {unit.name}" for unit in units_of("viscosity_mpas")]
        yield Question(
            words=f"what do the cells below {typed(heads[0])} to {typed(heads[-1])} hold?",
            choices=(*units, *(f"mass_g in {unit.name}" for unit in units_of("mass_g"))),
            option=f"--values '{units[0]}'",
            answered=partial(_with_values, sheet_map),
        )
    unsaid = [head for head in heads if (found := age_in(head)) and found[1] is None]
    if sheet_map.across is Across.AGES and unsaid and sheet_map.age_unit is None:
        yield Question(
            words=f"column {typed(unsaid[-1])}: an age in days or in weeks?",
            choices=("days", "weeks"),
            option="--ages days",
            answered=lambda unit: replace(sheet_map, age_unit=unit),
        )


def _with_values(sheet_map: SheetMap, text: str) -> SheetMap:
    column, _, unit = text.partition(" in ")
    return replace(sheet_map, values=Target(column, unit or None))


def _marks(sheet_map: SheetMap, grid: Grid, samples: Collection[str]) -> Iterator[Question]:
    found = mark_evidence(grid, sheet_map, samples)
    shown = found.open or found.second
    if sheet_map.decimal is not None or shown is None:
        return
    ways = [parse_number(shown, mark) for mark in (DecimalMark.COMMA, DecimalMark.POINT)]
    told = " or ".join(f"{way.normalize():f}" for way in ways if way is not None)
    if found.open is None:
        told = f"{typed(found.first or '')} and {typed(found.second or '')} contradict each other"
    yield Question(
        words=f"{typed(shown)}: {told}? which mark stands before decimals",
        choices=tuple(DecimalMark),
        option="--decimal comma",
        answered=lambda mark: replace(sheet_map, decimal=DecimalMark(mark)),
    )


def _orders(sheet_map: SheetMap, grid: Grid, samples: Collection[str]) -> Iterator[Question]:
    found = date_evidence(grid, sheet_map, samples)
    shown = found.open or found.first
    if sheet_map.dates is not None or shown is None:
        return
    one, other = (parse_date(shown, order) for order in Dates)
    yield Question(
        words=f"{typed(shown)}: {date_words(one)} or {date_words(other)}?"
        if one is not None and other is not None
        else f"{typed(found.first or '')} and {typed(found.second or '')} contradict each other",
        choices=tuple(Dates),
        option="--dates 'day first'",
        answered=lambda order: replace(sheet_map, dates=Dates(order)),
    )


def _clock(sheet_map: SheetMap, grid: Grid) -> Iterator[Question]:
    """Ask for the time of the day where dates have none."""
    if sheet_map.time_of_day is not None or sheet_map.headed("time_of_day"):
        return
    heads = [head for head, target in sheet_map.columns.items() if is_date(sheet_map, target.column)]
    places = [place for place, head in enumerate(grid.header) if head in heads]
    texts = (text_of_cell(cells[place]) for _, cells in grid.rows for place in places)
    bare = next((text for text in texts if _is_bare_date(text)), None)
    if bare is None and sheet_map.across is Across.DATES:
        bare = "the heads"
    if bare is not None:
        yield Question(
            words=f"{typed(bare)} has no time of the day: at what time, such as 10:00?",
            choices=(),
            option="--time-of-day 10:00",
            answered=lambda clock: replace(sheet_map, time_of_day=clock),
            default="12:00",
        )


def _is_bare_date(text: str) -> bool:
    found = [parse_date(text, order) for order in Dates]
    return any(day is not None and not isinstance(day, datetime) for day in found)


def _words(sheet_map: SheetMap, grid: Grid, samples: Collection[str]) -> Iterator[Question]:
    """Ask what words in place of numbers stand for."""
    seen: dict[str, Target] = {}
    for text, target in number_texts(grid, sheet_map, samples):
        readable = any(parse_number(text, mark) is not None for mark in DecimalMark)
        if not readable and text not in sheet_map.words and not any(c.isdigit() for c in text):
            seen.setdefault(text, target)
    for text, target in list(seen.items())[:_MOST_WORDS]:
        grades = _GRADES if target.column == "viscosity_mpas" else ()
        yield Question(
            words=f"{typed(text)} in place of a number: what does it stand for?",
            choices=(NOTHING, *grades),
            option=f"--word '{text}={NOTHING}'",
            answered=partial(_with_word, sheet_map, text),
        )


def _with_word(sheet_map: SheetMap, text: str, means: str) -> SheetMap:
    return replace(sheet_map, words={**sheet_map.words, text: means})
