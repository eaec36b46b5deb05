"""Taking corrections in: each names the original by its time, gives a reason, and the original stays.

Whose time matches only an earlier correction's corrected time is led back to the original.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlmodel import SQLModel

from stability.records.intake import rows_of_samples
from stability.services.bring_batch import Batch
from stability.services.bring_ledger import NOT_WRITTEN, Ledger
from stability.services.faults import typed
from stability.services.instants import iso
from stability.services.sources import Sheet

__all__ = ["Correction", "CorrectionTaking"]

_Key = tuple[Any, ...]
Originals = Callable[[str], Mapping[_Key, datetime]]
"""Sample code → identity of each of its originals (its time first) → since when it is known."""
_SILENT = ("viscosity_text", "uncertainty_mpas", "rule", "entered_at")
"""How it was typed and computed, and when, does not make another correction."""
_VALUES = ("viscosity_mpas", "gel_grade", "dry_through_h")
_WAYS_TO_VALUES = ("torque_pct", "efflux_s")


@dataclass(frozen=True, slots=True)
class Correction:
    """One row that corrects; `sheet` is None where it was on record before."""

    code: str
    corrects: _Key
    values: Mapping[str, Any]
    sheet: Sheet | None = None
    line: int = 0

    def says(self) -> tuple[Any, ...]:
        """Return what makes it the same correction as another."""
        silent: tuple[str, ...] = _SILENT
        if all(self.values.get(name) is None for name in _VALUES):
            # it sets aside; what it carries over of the way to a value is not written out either
            silent += _WAYS_TO_VALUES
        said = (value for name, value in sorted(self.values.items()) if name not in silent)
        return tuple(value.strip() or None if isinstance(value, str) else value for value in said)


@dataclass(slots=True)
class _OfSample:
    """One sample's originals and corrections by identity."""

    ids: dict[_Key, int] = field(default_factory=dict)
    known_since: Mapping[_Key, datetime] = field(default_factory=dict)
    corrections: dict[_Key, dict[datetime, Correction]] = field(default_factory=dict)

    def root(self, wanted: _Key) -> _Key | None:
        """Return the original that a correction means."""
        if wanted in self.known_since:
            return wanted
        for root, made in self.corrections.items():
            if any((each.values["taken_at"], *root[1:]) == wanted for each in made.values()):
                return root
        return None


class CorrectionTaking:
    """All corrections of one table in one import."""

    def __init__(
        self,
        ledger: Ledger,
        model: type[SQLModel],
        table: str,
        content: tuple[str, ...],
        *,
        beside: tuple[str, ...] = (),
    ) -> None:
        self._ledger, self._model, self._table = ledger, model, table
        self._said = ("taken_at", "reason", *(name for name in content if name not in beside))
        self._beside = beside  # what identifies an original beside sample and time
        self._waiting: list[Correction] = []
        self._samples: dict[str, _OfSample] = {}

    @property
    def codes(self) -> set[str]:
        """The samples that are corrected."""
        return {correction.code for correction in self._waiting}

    def keep(self, batch: Batch, row: int) -> None:
        """Put one row aside until all originals are known."""
        key = (batch["corrects"][row], *(batch[name][row] for name in self._beside))
        values = {name: batch[name][row] for name in (*self._said, "entered_at")}
        self._waiting.append(Correction(batch["sample"][row], key, values, batch.sheet, batch.lines[row]))

    def finish(self, originals: Originals) -> Iterator[tuple[str, datetime, Correction]]:
        """Write what is new; yield sample, original's time and the correction that now counts of each."""
        if not self._waiting:
            return
        self._load(originals)
        now = self._ledger.now
        fresh: list[tuple[int, Correction]] = []
        for waiting in sorted(self._waiting, key=lambda c: c.values["entered_at"] or now):
            found = self._settled(waiting)
            if found is not None:
                fresh.append(found)
        self._ledger.counted(self._table).added += len(fresh)
        self._insert(fresh)
        for code, of_sample in self._samples.items():
            for root, made in of_sample.corrections.items():
                if made:
                    yield code, root[0], made[max(made)]

    def _settled(self, waiting: Correction) -> tuple[int, Correction] | None:
        """Return a new correction with its original's id; None if it is on record or has a fault."""
        of_sample = self._samples[waiting.code]
        root = of_sample.root(waiting.corrects)
        if root is None:
            self._tell(
                waiting,
                "corrects",
                f"no original of sample {typed(waiting.code)} was taken at {iso(waiting.corrects[0])}; "
                "expected the taken_at of what it corrects",
            )
            return None
        made = of_sample.corrections.setdefault(root, {})
        told = waiting.values["entered_at"]
        same = [each for each in made.values() if each.says() == waiting.says()]
        if (told is None and same) or (told in made and made[told] in same):
            self._ledger.counted(self._table).unchanged += 1
            return None
        entered_at = told or self._ledger.now
        if not self._in_order(waiting, entered_at, of_sample.known_since[root], made):
            return None
        if told is None:
            self._ledger.undated[self._table] += 1
        settled = Correction(
            waiting.code, root, {**waiting.values, "entered_at": entered_at}, waiting.sheet, waiting.line
        )
        made[entered_at] = settled
        return of_sample.ids.get(root, NOT_WRITTEN), settled

    def _in_order(
        self,
        waiting: Correction,
        entered_at: datetime,
        known_since: datetime,
        made: Mapping[datetime, Correction],
    ) -> bool:
        if entered_at in made:
            self._tell(
                waiting,
                "entered_at",
                f"another correction of the same original is known since {iso(entered_at)}; "
                "expected the same values, or a time of its own",
            )
        elif entered_at < known_since:
            self._tell(
                waiting,
                "entered_at",
                f"{iso(entered_at)} lies before the original became known; "
                f"expected from {iso(known_since)} on",
            )
        else:
            return True
        return False

    def _tell(self, correction: Correction, column: str, what: str) -> None:
        if correction.sheet is not None:
            correction.sheet.say(correction.line, column, what)

    def _insert(self, fresh: list[tuple[int, Correction]]) -> None:
        if not fresh:
            return
        columns: dict[str, list[Any]] = {
            name: [correction.values[name] for _, correction in fresh] for name in (*self._said, "entered_at")
        }
        columns["sample_id"] = [self._ledger.samples[correction.code].id for _, correction in fresh]
        columns["corrects_id"] = [number for number, _ in fresh]
        columns["entered_by"] = [self._ledger.person] * len(fresh)
        for position, name in enumerate(self._beside, start=1):
            columns[name] = [correction.corrects[position] for _, correction in fresh]
        self._ledger.insert(self._model, columns)

    def _load(self, originals: Originals) -> None:
        """Get to know originals and corrections of the samples concerned, those just written too."""
        self._samples = {code: _OfSample(known_since=originals(code)) for code in self.codes}
        by_id = {self._ledger.samples[code].id: code for code in self._samples}
        by_id.pop(NOT_WRITTEN, None)
        names = ("id", "corrects_id", "sample_id", *self._beside, *self._said, "entered_at")
        rows = [
            dict(zip(names, row, strict=True))
            for row in rows_of_samples(self._ledger.connection, self._model, names, by_id)
        ]
        roots: dict[int, _Key] = {}
        for values in rows:
            if values["corrects_id"] is None:
                key = (values["taken_at"], *(values[name] for name in self._beside))
                roots[values["id"]] = key
                self._samples[by_id[values["sample_id"]]].ids[key] = values["id"]
        for values in rows:
            if values["corrects_id"] is not None:
                code, key = by_id[values["sample_id"]], roots[values["corrects_id"]]
                said = {name: values[name] for name in (*self._said, "entered_at")}
                made = self._samples[code].corrections.setdefault(key, {})
                made[values["entered_at"]] = Correction(code, key, said)
