"""`stability import FILE --map`: a foreign sheet proposed as ours, shown as understood, confirmed, taken in.

All talk goes to stderr; nothing is written before somebody has said yes.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stability.app import App
from stability.cli.bring import tell_brought
from stability.cli.edge import one_line
from stability.cli.options import warn
from stability.errors import InputError

if TYPE_CHECKING:
    from datetime import datetime

    from stability.services.mapping import SheetMap
    from stability.services.mapping_bring import Understood
    from stability.services.mapping_grid import Grid
    from stability.services.mapping_questions import Question
    from stability.services.sources import Source

__all__ = ["import_by_map"]

_CELL_SHOWN = 24


@dataclass(frozen=True, slots=True)
class _Work:
    """One file on its way through its mapping."""

    source: Source
    grid: Grid
    known: Mapping[str, datetime]
    asking: bool


def import_by_map(
    app: App, paths: Sequence[Path], name: str, *, answers: Mapping[str, Any], yes: bool
) -> None:
    """Read one file by the mapping of a name, made now if there is none, and take it in once confirmed."""
    from stability.services.mapping import load_map
    from stability.services.mapping_bring import bring_mapped, understood
    from stability.services.paths import sources_of

    sources = sources_of(paths)
    if len(sources) != 1:
        raise InputError(f"--map reads one file at a time, not {len(sources)}", hint="name one CSV or XLSX")
    folder, asking = _folder(app), not yes and sys.stdin.isatty() and sys.stderr.isatty()
    saved = load_map(folder, name) if name else None
    work, sheet_map = _begun(app, sources[0], saved, answers=answers, asking=asking)
    sheet_map = _settled(work, sheet_map)
    seen = understood(work.grid, sheet_map, known=work.known, zone=app.zone)
    _preview(seen)
    if not yes and not (asking and click.confirm(f"take {seen.rows} rows in", default=False, err=True)):
        raise InputError("nothing was written", hint=f"--yes takes the {seen.rows} rows in")
    name = _kept(folder, name or Path(sources[0].name).stem, sheet_map, saved, asking=asking and not name)
    brought = bring_mapped(
        app.records,
        work.source,
        work.grid,
        sheet_map,
        name=name,
        person=app.person,
        now=app.now,
        zone=app.zone,
    )
    tell_brought(app, brought, mapping=name)


def _folder(app: App) -> Path:
    """Return the folder of the settings file, where mappings lie too."""
    named = app.settings_file or os.environ.get("STABILITY_SETTINGS")
    return Path(named).parent if named else Path()


def _begun(
    app: App, source: Source, saved: SheetMap | None, *, answers: Mapping[str, Any], asking: bool
) -> tuple[_Work, SheetMap]:
    """Return the file's sheet with the mapping as saved, or as proposed, and as answered so far."""
    from stability.services.mapping_answers import with_answers
    from stability.services.mapping_bring import known_samples
    from stability.services.mapping_grid import grids_of
    from stability.services.mapping_propose import proposal, with_header

    encoding = answers.get("encoding") or (saved.encoding if saved else _encoding(source, asking=asking))
    known = known_samples(app.records, now=app.now)
    wanted = answers.get("sheet") or (saved.sheet if saved else None)
    grid = _sheet(grids_of(source, encoding=encoding), wanted, asking=asking)
    grid = with_header(grid, {*known, *(saved.columns if saved else ())})
    sheet_map = saved or proposal(grid, known, table=_table(answers))
    sheet_map = replace(sheet_map, encoding=encoding, sheet=grid.sheet)
    return _Work(source, grid, known, asking), with_answers(sheet_map, answers, grid)


def _table(answers: Mapping[str, Any]) -> str | None:
    from stability.services.tables import TABLES

    table: str | None = answers.get("table")
    if table is not None and table not in TABLES:
        raise InputError(f"{table!r} is no table of ours", hint=", ".join(TABLES))
    return table


def _encoding(source: Source, *, asking: bool) -> str:
    from stability.services.mapping_grid import ENCODINGS, is_utf

    if is_utf(source):
        return "utf-8"
    if not asking:
        raise InputError(
            f"{source.name}: is not UTF-8", hint=f"--encoding {' or '.join(ENCODINGS[1:])} says what it is"
        )
    line = next(line for line in source.content.splitlines() if not line.isascii())
    for name in ENCODINGS[1:]:
        warn(f"  {name}: {one_line(line.decode(name, 'replace'))[:100]}")
    warn("this file is not UTF-8; which of these lines is spelt right?")
    return str(click.prompt("encoding", type=click.Choice(ENCODINGS[1:]), err=True))


def _sheet(grids: Sequence[Grid], wanted: str | None, *, asking: bool) -> Grid:
    names = [grid.sheet or "" for grid in grids]
    if len(grids) == 1 and wanted in (None, grids[0].sheet):
        return grids[0]
    if wanted is None and asking:
        wanted = click.prompt("which sheet", type=click.Choice(names), err=True)
    if wanted not in names:
        shown = ", ".join(names) or "none"
        told = "several sheets hold something" if wanted is None else f"there is no sheet {wanted!r}"
        raise InputError(told, hint=f"--sheet NAME, one of {shown}")
    return grids[names.index(wanted)]


def _settled(work: _Work, sheet_map: SheetMap) -> SheetMap:
    """Show the mapping and ask what is open, until nothing is and nobody wants a column changed."""
    from stability.services.mapping import checked
    from stability.services.mapping_propose import settled
    from stability.services.mapping_questions import open_questions

    while True:
        sheet_map = settled(sheet_map, work.grid, work.known)
        _show(work, sheet_map)
        questions = open_questions(sheet_map, work.grid, work.known)
        if questions and not work.asking:
            raise InputError(
                *(f"{question.words} ({question.option})" for question in questions),
                hint="answer with the options in brackets; on a terminal --map asks",
            )
        if questions:
            sheet_map = _asked(questions[0])
            continue
        changed = _changed(sheet_map) if work.asking else None
        if changed is None:
            return checked(sheet_map)
        sheet_map = changed


def _asked(question: Question) -> SheetMap:
    """Ask one question until it has an answer; a list is answered by its number or its words."""
    for number, choice in enumerate(question.choices, start=1):
        warn(f"  {number}  {one_line(choice)}")
    while True:
        typed = str(click.prompt(one_line(question.words), default=question.default, err=True)).strip()
        if typed.isascii() and typed.isdigit() and 1 <= int(typed) <= len(question.choices):
            typed = question.choices[int(typed) - 1]
        if not question.choices or typed in question.choices:
            return question.answered(typed)
        warn(f"one of {', '.join(map(one_line, question.choices))}")


def _changed(sheet_map: SheetMap) -> SheetMap | None:
    """Ask whether a column is meant otherwise; None where all is well."""
    from stability.services.mapping import target_of, targets_of

    heads = list(sheet_map.columns)
    typed = click.prompt(
        "a column to change (its number), or enter to go on", default="", show_default=False, err=True
    )
    if not typed.strip():
        return None
    if not typed.strip().isdigit() or not 1 <= int(typed) <= len(heads):
        warn(f"a number from 1 to {len(heads)}")
        return sheet_map
    head = heads[int(typed) - 1]
    warn(
        f"one of {', '.join(targets_of(sheet_map.table))}, with its unit: viscosity_mpas in cP; - leaves out"
    )
    try:
        return sheet_map.with_column(head, target_of(sheet_map.table, click.prompt(one_line(head), err=True)))
    except InputError as exc:
        warn("; ".join(filter(None, (*exc.lines, exc.hint))))
        return sheet_map


def _show(work: _Work, sheet_map: SheetMap) -> None:
    from stability.services.mapping_words import mapping_words

    for line in mapping_words(sheet_map, work.grid, work.known):
        warn(one_line(line))


def _preview(seen: Understood) -> None:
    """Show the first rows as they would be taken in."""
    rows = [["line", *seen.header], *([str(line), *cells] for line, cells in seen.first)]
    shown = [[one_line(cell)[:_CELL_SHOWN] for cell in row] for row in rows]
    widths = [max(len(row[place]) for row in shown) for place in range(len(shown[0]))]
    warn(f"the first of {seen.rows} rows as understood:")
    for row in shown:
        warn("  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())


def _kept(folder: Path, name: str, sheet_map: SheetMap, saved: SheetMap | None, *, asking: bool) -> str:
    """Save the mapping, if it is new or changed, and return its name."""
    from stability.services.mapping import save_map

    if asking:
        name = click.prompt("name of this mapping, for the next time", default=name, err=True)
    if sheet_map != saved:
        warn(f"mapping kept: {save_map(folder, name, sheet_map)}")
    return name
