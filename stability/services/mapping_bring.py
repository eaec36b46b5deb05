"""Bringing a foreign sheet in by its mapping: looked through first, then taken whole or not at all."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from stability.records.engine import Records
from stability.records.history import samples
from stability.services.bring import Brought, bring_sheet
from stability.services.faults import Faults
from stability.services.mapping import SheetMap
from stability.services.mapping_apply import read_by_map, tell_strange_heads
from stability.services.mapping_grid import Grid
from stability.services.sources import Source

__all__ = ["Understood", "bring_mapped", "known_samples", "understood"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Understood:
    """A sheet as its mapping reads it: our columns, the first rows, and how many there are."""

    header: tuple[str, ...]
    first: Sequence[tuple[int, Sequence[str]]]
    rows: int


def known_samples(records: Records, *, now: datetime) -> Mapping[str, datetime]:
    """Return the codes of all samples on record, with when each was placed."""
    with records.reading() as connection:
        return {facts.sample: facts.placed_at for facts in samples(connection, as_of=now)}


def understood(
    grid: Grid, sheet_map: SheetMap, *, known: Mapping[str, datetime], zone: ZoneInfo, most: int = 5
) -> Understood:
    """Read a whole sheet by its mapping, without taking anything in.

    Raises
    ------
    InputError
        If the heads are not those of the mapping, or a cell cannot be read as it says; one line each.
    """
    faults = Faults()
    tell_strange_heads(grid, sheet_map, known, faults)
    faults.raise_if_any()
    sheet = read_by_map(grid, sheet_map, samples=known, zone=zone, faults=faults)
    rows = list(sheet.rows)
    faults.raise_if_any()
    return Understood(header=sheet.header, first=rows[:most], rows=len(rows))


def bring_mapped(  # noqa: PLR0913 - what is read how, and who brings it
    records: Records,
    source: Source,
    grid: Grid,
    sheet_map: SheetMap,
    *,
    name: str,
    person: str,
    now: datetime,
    zone: ZoneInfo,
) -> Brought:
    """Take a sheet in by its mapping, through the import that our own tables go through.

    Raises
    ------
    InputError
        With one line per fault; nothing was written.
    """
    known = known_samples(records, now=now)
    sheet = read_by_map(grid, sheet_map, samples=known, zone=zone, faults=Faults())
    file = {f"{source.name} by mapping {name}": hashlib.sha256(source.content).hexdigest()}
    return bring_sheet(records, sheet, person=person, now=now, zone=zone, file=file)
