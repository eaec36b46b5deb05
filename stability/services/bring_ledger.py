"""What an import keeps while it runs: the transaction, who and when, faults, counts, and what names mean."""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlmodel import SQLModel

from stability.records.intake import (
    SampleOnRecord,
    insert_columns,
    last_reading_times,
    names_of,
    samples_on_record,
)
from stability.records.tables.bench import Instrument, Store, Thinner
from stability.records.tables.design import Study
from stability.services.faults import Faults, typed
from stability.services.instants import iso

__all__ = ["FAR", "NOT_WRITTEN", "Counted", "Ledger"]

FAR = datetime.max.replace(tzinfo=UTC)
NOT_WRITTEN = -1
"""The id of what stands in a row with a fault: named by others, it shall not give faults of its own."""

_OFFERED = 50
_NAMED: Mapping[str, tuple[type[SQLModel], str]] = {
    "study": (Study, "code"),
    "store": (Store, "store"),
    "instrument": (Instrument, "instrument"),
    "thinner": (Thinner, "thinner"),
}
_ADD_FIRST = {
    "study": "stability study FILE files it, or import its TOML file with the rest",
    "store": "a table of stores (store, temperature_c) brings it",
    "sample": "a table of samples brings it",
    "instrument": "a table of instruments (instrument, kind) brings it",
}


@dataclass(slots=True)
class Counted:
    """Rows of one table: new, already on record as they are, and on record with gaps that were filled."""

    added: int = 0
    unchanged: int = 0
    completed: int = 0


@dataclass(slots=True)
class Ledger:
    """One import as it goes on."""

    connection: sa.Connection
    person: str
    now: datetime
    zone: ZoneInfo
    faults: Faults = field(default_factory=Faults)
    counts: dict[str, Counted] = field(default_factory=dict)
    undated: Counter[str] = field(default_factory=Counter)
    notes: list[str] = field(default_factory=list)
    _ids: dict[str, dict[str, int]] = field(default_factory=dict)
    _samples: dict[str, SampleOnRecord] | None = None
    _last: dict[int, datetime] | None = None

    def counted(self, table: str) -> Counted:
        """Return the counts of one table."""
        return self.counts.setdefault(table, Counted())

    def ids(self, what: str) -> dict[str, int]:
        """Return name → id of studies, stores, instruments or thinners."""
        if what not in self._ids:
            self._ids[what] = names_of(self.connection, *_NAMED[what])
        return self._ids[what]

    @property
    def samples(self) -> dict[str, SampleOnRecord]:
        """All samples by code, those of this import too."""
        if self._samples is None:
            self._samples = samples_on_record(self.connection)
        return self._samples

    @property
    def last_readings(self) -> dict[int, datetime]:
        """Sample id → when its last reading on record was taken, before the readings of this import."""
        if self._last is None:
            self._last = last_reading_times(self.connection)
        return self._last

    def insert(self, model: type[SQLModel], columns: Mapping[str, list[object]]) -> None:
        """Write rows, unless there was a fault: then nothing is written and only faults are looked for."""
        if not self.faults:
            insert_columns(self.connection, model, columns)

    def renew(self, what: str, mentioned: Collection[str]) -> None:
        """Take note of names that a table brought; after a fault they stand for nothing written."""
        if self.faults:
            known = self.ids(what)
            for name in mentioned:
                known.setdefault(name, NOT_WRITTEN)
        else:
            self._ids.pop(what, None)

    def renew_samples(self, mentioned: Mapping[str, datetime | None] | None = None) -> None:
        """Read samples and endings again; after a fault only add those that were mentioned."""
        if not self.faults:
            self._samples = None
            return
        for code, placed_at in (mentioned or {}).items():
            beginning = placed_at or datetime.min.replace(tzinfo=UTC)
            self.samples.setdefault(code, SampleOnRecord(NOT_WRITTEN, code, beginning, None))

    def unknown(self, what: str, name: str, known: Collection[str]) -> str:
        """Return the fault of a name that is not on record, with the nearest one that is."""
        # looking for the nearest takes milliseconds a name: enough for the lines that are shown
        near = difflib.get_close_matches(name, known, n=1) if self.faults.count < _OFFERED else []
        offered = f"did you mean {typed(near[0])}?" if near else f"expected a {what} on record"
        self.faults.hint = self.faults.hint or _ADD_FIRST.get(what)
        return f"{what} {typed(name)} is not on record; {offered}"

    def future(self, moment: datetime) -> str:
        """Return the fault of a time that has not come yet."""
        return f"{iso(moment)} lies in the future; expected a time until {iso(self.now)}"
