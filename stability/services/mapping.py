"""How one laboratory's own sheet is read: its columns as ours, its units, its way with dates and numbers.

A mapping is a small TOML file that people may read and change; it is used again by its name.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from pathlib import Path
from typing import Any

from stability.errors import InputError
from stability.services.faults import nearest_name, typed
from stability.services.mapping_cells import Dates, DecimalMark, parse_clock
from stability.services.mapping_units import unit_named, units_of
from stability.services.tables import TABLES
from stability.services.whole_file import put_whole

__all__ = [
    "LEFT_OUT",
    "Across",
    "SheetMap",
    "Target",
    "checked",
    "load_map",
    "save_map",
    "target_of",
    "targets_of",
]

LEFT_OUT = "-"
"""Stands for a column that is not taken."""
_NAME = re.compile(r"[\w][\w .-]{0,59}")
_BESIDE = {
    "readings": ("age", "time_of_day", "placed_at"),
    "cures": ("age", "time_of_day", "placed_at"),
    "temperatures": ("time_of_day",),
    "samples": (),
}
"""Table → what a sheet may say in its own way instead of a column of ours."""


class Across(StrEnum):
    """What the heads of columns are, where values stand across the sheet."""

    AGES = "ages"
    DATES = "dates"
    SAMPLES = "samples"


@dataclass(frozen=True, slots=True)
class Target:
    """What a column becomes: one of our columns (or `age`, `time_of_day`), and the unit it comes in."""

    column: str
    unit: str | None = None

    @property
    def words(self) -> str:
        """The target as written in a mapping: "viscosity_mpas in Pa·s"."""
        return self.column if self.unit is None else f"{self.column} in {self.unit}"


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetMap:
    """One mapping. What is None was not said, and a file that needs it is refused."""

    table: str = "readings"
    columns: Mapping[str, Target] = field(default_factory=dict)
    """Head of a column in the file → target; left out where the column is `LEFT_OUT`."""
    decimal: DecimalMark | None = None
    dates: Dates | None = None
    time_of_day: str | None = None
    """Of dates without one, such as 12:00."""
    words: Mapping[str, str] = field(default_factory=dict)
    """A word in place of a number → "nothing" or "grade N"."""
    constants: Mapping[str, str] = field(default_factory=dict)
    """Column of ours → what stands there in every row."""
    across: Across | None = None
    values: Target | None = None
    """With `across`: what the cells hold."""
    age_unit: str | None = None
    """With ages across: days or weeks, where the heads do not say it."""
    encoding: str = "utf-8"
    sheet: str | None = None
    """Of a workbook with several."""

    def with_column(self, head: str, target: Target) -> SheetMap:
        """Return the mapping with one column changed."""
        return replace(self, columns={**self.columns, head: target})

    def headed(self, column: str) -> str | None:
        """Return the head of the column that becomes one of ours, or None."""
        return next((head for head, target in self.columns.items() if target.column == column), None)


def targets_of(table: str) -> tuple[str, ...]:
    """Return what the columns of a sheet may become."""
    return (*TABLES[table].names, *_BESIDE.get(table, ()))


def target_of(table: str, text: str) -> Target:
    """Return the target that a text such as "viscosity_mpas in Pa·s" names; "-" leaves the column out.

    Raises
    ------
    InputError
        If there is no such column, or it does not come in that unit.
    """
    name, _, unit_text = (part.strip() for part in text.partition(" in "))
    if name in (LEFT_OUT, ""):
        return Target(LEFT_OUT)
    if name not in targets_of(table):
        near = nearest_name(name, targets_of(table))
        raise InputError(
            f"{typed(name)} is no column of {table}",
            hint=f"did you mean {near}?" if near else f"one of {', '.join(targets_of(table))}, or -",
        )
    known = units_of(name)
    if not unit_text:
        return Target(name, known[0].name if len(known) == 1 else None)
    unit = unit_named(name, unit_text)
    if unit is None:
        expected = ", ".join(unit.name for unit in known)
        raise InputError(
            f"{name} does not come in {typed(unit_text)}",
            hint=f"one of {expected}" if expected else f"{name} has no unit",
        )
    return Target(name, unit.name)


def checked(sheet_map: SheetMap) -> SheetMap:
    """Return a mapping whose time of the day, words, constants and encoding mean something.

    Raises
    ------
    InputError
        With one line per fault.
    """
    faults = [
        f"word {typed(word)} = {typed(means)}; expected nothing, or grade 0 to grade 5"
        for word, means in sheet_map.words.items()
        if not re.fullmatch(r"nothing|grade [0-5]", means)
    ]
    faults += [
        f"{typed(name)} is no column of {sheet_map.table}"
        for name in sheet_map.constants
        if name not in targets_of(sheet_map.table)
    ]
    if sheet_map.time_of_day is not None and parse_clock(sheet_map.time_of_day) is None:
        faults.append(f"time of day {typed(sheet_map.time_of_day)}; expected one such as 10:00")
    if sheet_map.age_unit not in (None, "days", "weeks"):
        faults.append(f"ages in {typed(str(sheet_map.age_unit))}; expected days or weeks")
    for column in TABLES[sheet_map.table].names:
        heads = [head for head, target in sheet_map.columns.items() if target.column == column]
        if len(heads) > 1:
            faults.append(f"columns {' and '.join(map(typed, heads))} are both {column}; expected one")
    if faults:
        raise InputError(*faults)
    return sheet_map


def map_file(folder: Path, name: str) -> Path:
    """Return where the mapping of a name lies.

    Raises
    ------
    InputError
        If the name cannot be one of a file.
    """
    if not _NAME.fullmatch(name) or name.endswith("."):
        raise InputError(
            f"mapping name {typed(name)} cannot be used", hint="letters, digits, blanks, points and dashes"
        )
    return folder / "mappings" / f"{name}.toml"


def save_map(folder: Path, name: str, sheet_map: SheetMap) -> Path:
    """Write a mapping under its name and return where it lies.

    Raises
    ------
    InputError
        If the file cannot be written.
    """
    path = map_file(folder, name)
    try:
        put_whole(path, _as_toml(sheet_map).encode("utf-8"))
    except OSError as exc:
        raise InputError(f"mapping {path}: {(exc.strerror or str(exc)).lower()}") from exc
    return path


def load_map(folder: Path, name: str) -> SheetMap | None:
    """Return a mapping by its name, or None where there is none.

    Raises
    ------
    InputError
        If it cannot be read, or holds what no mapping holds.
    """
    path = map_file(folder, name)
    try:
        said = tomllib.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        return None
    except OSError as exc:
        raise InputError(f"mapping {path}: {(exc.strerror or str(exc)).lower()}") from exc
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as exc:
        raise InputError(f"mapping {path}: not TOML: {exc}", hint="make it again with --map") from exc
    try:
        return _understood(said)
    except InputError as exc:
        raise InputError(*(f"mapping {path}: {fault}" for fault in exc.faults), hint=exc.hint) from None
    except (ValueError, AttributeError, TypeError) as exc:
        raise InputError(f"mapping {path}: {exc}", hint="make it again with --map") from exc


_TEXTS = ("time_of_day", "age_unit", "sheet")


def _understood(said: Mapping[str, Any]) -> SheetMap:
    known = {"table", "decimal", "dates", "across", "values", "encoding", "columns", "words", "constants"}
    strange = sorted(set(said) - known - set(_TEXTS))
    if strange:
        raise InputError(f"{typed(strange[0])} is not known in a mapping", hint=", ".join(sorted(known)))
    table = said.get("table", "readings")
    if table not in TABLES:
        raise InputError(f"{typed(str(table))} is no table of ours", hint=", ".join(TABLES))
    made = SheetMap(
        table=table,
        columns={head: target_of(table, str(text)) for head, text in said.get("columns", {}).items()},
        decimal=DecimalMark(said["decimal"]) if "decimal" in said else None,
        dates=Dates(said["dates"]) if "dates" in said else None,
        words={str(word): str(means) for word, means in said.get("words", {}).items()},
        constants={str(name): str(value) for name, value in said.get("constants", {}).items()},
        across=Across(said["across"]) if "across" in said else None,
        values=target_of(table, said["values"]) if "values" in said else None,
        encoding=str(said.get("encoding", "utf-8")),
        **{name: str(said[name]) for name in _TEXTS if name in said},
    )
    return checked(made)


def _as_toml(sheet_map: SheetMap) -> str:
    lines = ["# How a sheet of this laboratory is read, made by `stability import FILE --map`.", ""]
    told = {
        "table": sheet_map.table,
        "sheet": sheet_map.sheet,
        "encoding": sheet_map.encoding,
        "decimal": sheet_map.decimal,
        "dates": sheet_map.dates,
        "time_of_day": sheet_map.time_of_day,
        "across": sheet_map.across,
        "values": sheet_map.values.words if sheet_map.values else None,
        "age_unit": sheet_map.age_unit,
    }
    lines += [f"{name} = {_quoted(str(value))}" for name, value in told.items() if value is not None]
    columns = {head: target.words for head, target in sheet_map.columns.items()}
    sections = {"columns": columns, "words": sheet_map.words, "constants": sheet_map.constants}
    for section, pairs in sections.items():
        if pairs:
            lines += ["", f"[{section}]", *(f"{_quoted(k)} = {_quoted(v)}" for k, v in pairs.items())]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    """Return a text as a basic string of TOML."""
    escapes = {'"': '\\"', "\\": "\\\\"}
    return '"' + "".join(escapes.get(c) or (c if c.isprintable() else f"\\U{ord(c):08X}") for c in text) + '"'
