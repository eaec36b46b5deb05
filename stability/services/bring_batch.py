"""Some rows of one sheet as columns of values, and the checks that readings and cures share."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from operator import gt, lt
from typing import Any

from stability.services.bring_ledger import FAR, Ledger
from stability.services.instants import iso
from stability.services.sources import Sheet

__all__ = ["Batch"]


@dataclass(slots=True)
class Batch:
    """Rows as columns; `bad` rows had a fault told and go no further."""

    ledger: Ledger
    sheet: Sheet
    lines: list[int]
    columns: dict[str, list[Any]]
    bad: set[int] = field(default_factory=set)

    def __len__(self) -> int:
        return len(self.lines)

    def __getitem__(self, name: str) -> list[Any]:
        return self.columns[name]

    def say(self, row: int, column: str, what: str, *, hint: str | None = None) -> None:
        """Tell a fault of one row."""
        self.bad.add(row)
        self.sheet.say(self.lines[row], column, what, hint=hint)

    def only(self, rows: Sequence[int]) -> Batch:
        """Return some of the rows, in their order."""
        picked = {name: [values[row] for row in rows] for name, values in self.columns.items()}
        return Batch(self.ledger, self.sheet, [self.lines[row] for row in rows], picked)

    def good(self) -> Batch:
        """Return the rows without a fault."""
        if not self.bad:
            return self
        return self.only([row for row in range(len(self)) if row not in self.bad])

    def with_samples(self) -> Batch:
        """Put the samples' ids in and return the rows whose sample is on record."""
        known = self.ledger.samples
        found = [known.get(code) for code in self["sample"]]
        if not all(found):
            for row, sample in enumerate(found):
                if sample is None:
                    self.say(row, "sample", self.ledger.unknown("sample", self["sample"][row], known))
        self.columns["_sample"] = found
        good = self.good()
        good.columns["sample_id"] = [sample.id for sample in good["_sample"]]
        return good

    def in_time(self) -> Batch:
        """Return the rows taken after the placing, before the ending and not in the future."""
        taken, now = self["taken_at"], self.ledger.now
        placed = [sample.placed_at for sample in self["_sample"]]
        ended = [sample.ended_at or FAR for sample in self["_sample"]]
        if taken and max(taken) > now:
            self._tell((row, self.ledger.future(moment)) for row, moment in enumerate(taken) if moment > now)
        if any(map(lt, taken, placed)):
            self._tell(
                (row, f"{iso(moment)} lies before the sample was placed; expected from {iso(placed[row])} on")
                for row, moment in enumerate(taken)
                if moment < placed[row]
            )
        if any(map(gt, taken, ended)):
            self._tell(
                (row, f"{iso(moment)} lies after the sample's ending; expected until {iso(ended[row])}")
                for row, moment in enumerate(taken)
                if moment > ended[row]
            )
        return self.good()

    def _tell(self, found: Iterable[tuple[int, str]]) -> None:
        for row, what in found:
            self.say(row, "taken_at", what)

    def known_in_time(self) -> Batch:
        """Return the rows that became known after they were taken and not in the future."""
        now = self.ledger.now
        for row, (entered_at, taken_at) in enumerate(zip(self["entered_at"], self["taken_at"], strict=True)):
            if entered_at is None:
                continue
            if entered_at < taken_at:
                self.say(
                    row,
                    "entered_at",
                    f"{iso(entered_at)} lies before taken_at; expected a time from {iso(taken_at)} on",
                )
            elif entered_at > now:
                self.say(row, "entered_at", self.ledger.future(entered_at))
        return self.good()

    def date(self) -> None:
        """Let the rows without a time of entry be known from now on, and count them."""
        told = self["entered_at"]
        if None in told:
            self.ledger.undated[self.sheet.spec.name] += told.count(None)
            self.columns["entered_at"] = [moment or self.ledger.now for moment in told]
