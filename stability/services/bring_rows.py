"""Taking in the small tables row by row: identity, what contradicts, what completes, what is new.

A row says nothing about a column that its file does not have. The five tables that describe (stores,
thinners, lots, people, instruments) may fill what an earlier row left open; all others are append-only.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlmodel import SQLModel

from stability.records.intake import SampleOnRecord, complete, on_record
from stability.services.bring_ledger import Ledger
from stability.services.faults import typed
from stability.services.instants import iso
from stability.services.sources import Sheet

__all__ = [
    "Rule",
    "Tell",
    "Way",
    "id_of",
    "of_instrument",
    "of_sample",
    "own_time",
    "shown",
    "take_rows",
]

Tell = Callable[[str, str], None]
"""Tells a fault of the row at hand: column, what is wrong."""
Rule = Callable[[Ledger, dict[str, Any], Tell], None]
"""Judges one row and fills in what follows from the rest of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """How one table is taken: where its rows go and what makes two rows the same."""

    model: type[SQLModel]
    key: tuple[str, ...]
    renamed: Mapping[str, str] = field(default_factory=dict)
    defaults: Mapping[str, Any] = field(default_factory=dict)
    rule: Rule | None = None
    completes: bool = False
    remedy: str = "what is on record stays; stability correct corrects readings"

    def stored_name(self, column: str) -> str:
        """Return the name of a column in the database."""
        return self.renamed.get(column, column)


@dataclass(slots=True)
class _Taking:
    """One sheet on its way into its table."""

    ledger: Ledger
    sheet: Sheet
    way: Way
    stored: dict[tuple[Any, ...], dict[str, Any]]
    fresh: list[dict[str, Any]] = field(default_factory=list)

    def row(self, line: int, values: dict[str, Any]) -> None:
        """Take one row: tell its faults, or count it, or keep it for writing."""
        before = self.ledger.faults.count
        dated = values.get("entered_at") is not None

        def tell(column: str, what: str) -> None:
            self.sheet.say(line, column, what)

        if self.way.rule is not None:
            self.way.rule(self.ledger, values, tell)
        if self.ledger.faults.count != before:
            return
        key = tuple(values[name] for name in self.way.key)
        held = self.stored.get(key)
        if held is None:
            self.stored[key] = values
            self.fresh.append(values)
            self.ledger.counted(self.sheet.spec.name).added += 1
        else:
            self._against(line, values, held, dated=dated)

    def _against(self, line: int, values: Mapping[str, Any], held: dict[str, Any], *, dated: bool) -> None:
        said = [self.way.stored_name(column) for column in self.sheet.header]
        if not dated:
            said = [name for name in said if name != "entered_at"]
        if self.way.completes:
            said = [name for name in said if values[name] is not None]
        differing = [name for name in said if values[name] != held[name]]
        wrong = [name for name in differing if held[name] is not None or not self.way.completes]
        if wrong:
            self._contradicts(line, wrong[0], values, held)
        elif differing:
            self._complete(held, {name: values[name] for name in differing})
        else:
            self.ledger.counted(self.sheet.spec.name).unchanged += 1

    def _complete(self, held: dict[str, Any], gaps: Mapping[str, Any]) -> None:
        held.update(gaps)  # a row of this import is written later, with its gaps filled
        if "id" in held and not self.ledger.faults:
            complete(self.ledger.connection, self.way.model, held["id"], gaps)
        self.ledger.counted(self.sheet.spec.name).completed += 1

    def _contradicts(self, line: int, name: str, values: Mapping[str, Any], held: Mapping[str, Any]) -> None:
        column = next((c for c in self.sheet.spec.names if self.way.stored_name(c) == name), name)
        if name.endswith("_id"):
            what = "another one"
        else:
            what = f"{shown(held[name])}, not {shown(values.get(name))}"
        self.sheet.say(
            line,
            column,
            f"contradicts the row on record or above, which has {what}; expected the same row or a new one",
            hint=self.way.remedy,
        )


def take_rows(ledger: Ledger, sheet: Sheet, way: Way) -> list[dict[str, Any]]:
    """Take a sheet in; return its rows as they were read, those with faults too."""
    taking = _Taking(ledger, sheet, way, on_record(ledger.connection, way.model, way.key))
    seen: list[dict[str, Any]] = []
    for chunk in sheet.chunks():
        columns = {name: sheet.values(chunk, name, ledger.zone) for name in sheet.spec.names}
        names = [way.stored_name(name) for name in columns]
        for line, row in zip(chunk.lines, zip(*columns.values(), strict=True), strict=True):
            values = {
                name: way.defaults.get(name) if v is None else v for name, v in zip(names, row, strict=True)
            }
            seen.append(dict(values))
            # a required cell that could not be read was told already
            if all(values[way.stored_name(name)] is not None for name in sheet.spec.required):
                taking.row(line, values)
    _write(ledger, way, taking.fresh)
    return seen


def _write(ledger: Ledger, way: Way, fresh: list[dict[str, Any]]) -> None:
    if fresh:
        ledger.insert(way.model, {name: [row[name] for row in fresh] for name in fresh[0]})


def shown(value: Any) -> str:
    """Return a stored value for a fault."""
    if value is None:
        return "nothing"
    if isinstance(value, datetime):
        return iso(value)
    return typed(value) if isinstance(value, str) else f"{value:g}"


def own_time(ledger: Ledger, values: dict[str, Any], column: str, tell: Tell, *, ahead: bool = False) -> None:
    """Refuse the future; without `entered_at` the row is known at its own time, a sample may be before."""
    own: datetime = values[column]
    if own > ledger.now:
        tell(column, ledger.future(own))
    entered = values.get("entered_at")
    if entered is None:
        values["entered_at"] = own
    elif entered > ledger.now:
        tell("entered_at", ledger.future(entered))
    elif entered < own and not ahead:
        tell("entered_at", f"{iso(entered)} lies before {column}; expected a time from {iso(own)} on")


def id_of(ledger: Ledger, what: str, name: str, tell: Tell, *, column: str) -> int:
    """Return the number of what a row names, telling where it is not on record."""
    known = ledger.ids(what)
    if name not in known:
        tell(column, ledger.unknown(what, name, known))
    return known.get(name, 0)


def of_sample(
    ledger: Ledger, values: dict[str, Any], tell: Tell, column: str, *, may_end: bool = False
) -> SampleOnRecord | None:
    """Put the sample's id in; refuse what happened before it was placed or after it ended."""
    code, moment = values["sample_id"], values[column]
    sample = ledger.samples.get(code)
    if sample is None:
        tell("sample", ledger.unknown("sample", code, ledger.samples))
        return None
    values["sample_id"] = sample.id
    if moment < sample.placed_at:
        tell(
            column,
            f"{iso(moment)} lies before the sample was placed; expected from {iso(sample.placed_at)} on",
        )
    if sample.ended_at is not None and moment > sample.ended_at and not may_end:
        tell(column, f"{iso(moment)} lies after the sample's ending; expected until {iso(sample.ended_at)}")
    return sample


def of_instrument(ledger: Ledger, values: dict[str, Any], tell: Tell) -> None:
    """Put the instrument's id in."""
    values["instrument_id"] = id_of(ledger, "instrument", values["instrument_id"], tell, column="instrument")
