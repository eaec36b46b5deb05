"""Taking readings in by the ten thousand: whole columns at a time, one small entry kept per reading.

Originals are written as they come; corrections wait until all originals are known (`finish`).
Viscosities are mPa·s.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from itertools import repeat
from typing import Any, NamedTuple

from stability.records.intake import rows_of_samples
from stability.records.readings import MEASURED
from stability.records.tables.bench import Reading
from stability.services.bring_batch import Batch
from stability.services.bring_corrections import CorrectionTaking
from stability.services.bring_derived import Derivation
from stability.services.bring_ledger import NOT_WRITTEN, Ledger
from stability.services.bring_rows import shown
from stability.services.bring_steps import Point, tell_wrong_steps
from stability.services.cells import viscosities
from stability.services.instants import iso
from stability.services.sources import Chunk, Sheet

__all__ = ["CONTENT", "ReadingTaking"]

CONTENT = tuple(name for name in MEASURED if name not in ("viscosity_text", "uncertainty_mpas", "rule"))
"""What a reading says; two rows of one identity are the same if they agree in it."""
_STORED = ("id", "corrects_id", "sample_id", "taken_at", "entered_at", *CONTENT)
_CORRECTS, _TAKEN = _STORED.index("corrects_id"), _STORED.index("taken_at")
_SOFT_GRADE = 2  # from this grade on a leap of the viscosity is no slip of the unit


class _Held(NamedTuple):
    """A reading known to this import; `sheet` is None where it was on record before."""

    content: int  # the hash of what it says: whole rows would not fit for a million readings
    entered_at: datetime
    viscosity_mpas: float | None
    gel_grade: int | None
    sheet: Sheet | None
    line: int


class ReadingTaking:
    """All sheets of readings of one import."""

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger
        self._derivation = Derivation(ledger)
        self._known: dict[str, dict[datetime, _Held]] = {}
        self._rows: dict[str, dict[datetime, Sequence[Any]]] = {}  # whole rows, only where some differ
        self._counting: dict[str, dict[datetime, Point]] = {}  # what corrections on record made of readings
        self._corrections = CorrectionTaking(
            ledger, Reading, "readings", (*CONTENT, "viscosity_text", "uncertainty_mpas", "rule")
        )

    def take(self, sheet: Sheet) -> None:
        """Take one sheet in."""
        for chunk in sheet.chunks():
            batch = self._read(sheet, chunk)
            originals = self._without_corrections(batch.good().with_samples().in_time().known_in_time())
            if len(originals):
                self._take(self._derivation.fill(originals))

    def _read(self, sheet: Sheet, chunk: Chunk) -> Batch:
        columns: dict[str, list[Any]] = {}
        for name in sheet.spec.names:
            if name != "viscosity_mpas":
                columns[name] = sheet.values(chunk, name, self._ledger.zone)

        def say(row: int, what: str) -> None:
            chunk.bad.add(row)
            sheet.say(chunk.lines[row], "viscosity_mpas", what)

        cells = chunk.cells.get("viscosity_mpas") or [""] * len(chunk.lines)
        found = viscosities(sheet.spec.column("viscosity_mpas"), cells, say)
        columns["viscosity_mpas"], columns["over_range"], columns["viscosity_text"] = found
        return Batch(self._ledger, sheet, chunk.lines, columns, chunk.bad)

    def _without_corrections(self, batch: Batch) -> Batch:
        """Put corrections aside for later and return the originals."""
        corrects = batch["corrects"]
        if corrects.count(None) == len(batch):
            for row, reason in enumerate(batch["reason"]):
                if reason is not None:
                    batch.say(
                        row, "reason", "stands without corrects; expected the time of the reading it corrects"
                    )
            return batch.good()
        for row in range(len(batch)):
            if corrects[row] is not None and batch["reason"][row] is None:
                batch.say(row, "reason", "is empty; a correction needs its reason")
        good = batch.good()
        rows = [row for row, moment in enumerate(good["corrects"]) if moment is not None]
        filled = self._derivation.fill(good.only(rows), corrections=True)
        for row in range(len(filled)):
            self._corrections.keep(filled, row)
        others = good.only([row for row, moment in enumerate(good["corrects"]) if moment is None])
        return self._without_corrections(others) if len(others) else others

    def _take(self, batch: Batch) -> None:
        if not len(batch):
            return
        self._load(set(batch["sample"]))
        entered = [moment or self._ledger.now for moment in batch["entered_at"]]
        said = list(map(hash, zip(*(batch[name] for name in CONTENT), strict=True)))
        held = map(
            _Held._make,
            zip(
                said,
                entered,
                batch["viscosity_mpas"],
                batch["gel_grade"],
                repeat(batch.sheet),
                batch.lines,
                strict=False,
            ),
        )
        again: list[int] = []
        known = self._known
        for row, (code, taken_at, reading) in enumerate(
            zip(batch["sample"], batch["taken_at"], held, strict=True)
        ):
            of_sample = known[code]
            if taken_at in of_sample:
                again.append(row)
            else:
                of_sample[taken_at] = reading
        for row in again:
            self._against(batch, row, said[row])
        self._insert(batch, again)

    def _insert(self, batch: Batch, again: list[int]) -> None:
        fresh = batch
        if again:
            left_out = set(again)
            fresh = batch.only([row for row in range(len(batch)) if row not in left_out])
        self._ledger.counted("readings").added += len(fresh)
        if not len(fresh):
            return
        fresh.date()
        names = (
            "sample_id",
            "taken_at",
            *CONTENT,
            "viscosity_text",
            "uncertainty_mpas",
            "entered_at",
            "rule",
        )
        columns = {name: fresh[name] for name in names}
        self._ledger.insert(Reading, {**columns, "entered_by": [self._ledger.person] * len(fresh)})

    def _against(self, batch: Batch, row: int, said: int) -> None:
        """Hold a row against the reading of its identity: the same is counted, another one is told."""
        held = self._known[batch["sample"][row]][batch["taken_at"][row]]
        told = batch.columns["entered_at"][row]
        if told is not None and told != held.entered_at:
            batch.say(
                row,
                "entered_at",
                f"{iso(told)} contradicts {iso(held.entered_at)}, since when this reading is known; "
                "expected that time",
            )
            return
        stored = {} if said == held.content else self._stored(batch, row)
        differing = [
            name
            for name in batch.sheet.header
            if name in CONTENT and _bare(batch[name][row]) != _bare(stored.get(name))
        ]
        if said == held.content or (
            stored and not differing and stored["over_range"] == batch["over_range"][row]
        ):
            self._ledger.counted("readings").unchanged += 1
            return
        name = differing[0] if differing else "viscosity_mpas"
        against = f"{shown(stored[name])} on record" if stored else "another row above"
        batch.say(
            row,
            name,
            f"{shown(batch[name][row])} contradicts {against} for this sample and time; "
            "expected the same values, or a correction",
            hint="stability correct SAMPLE corrects a reading; the original stays",
        )

    def _stored(self, batch: Batch, row: int) -> Mapping[str, Any]:
        code, taken_at = batch["sample"][row], batch["taken_at"][row]
        if code not in self._rows:
            found = rows_of_samples(self._ledger.connection, Reading, _STORED, {batch["sample_id"][row]})
            self._rows[code] = {values[_TAKEN]: values for values in found if values[_CORRECTS] is None}
        values = self._rows[code].get(taken_at)
        return {} if values is None else dict(zip(_STORED, values, strict=True))

    def _load(self, codes: Collection[str]) -> None:
        """Get to know the readings on record of some samples."""
        new = [code for code in codes if code not in self._known]
        self._known.update({code: {} for code in new})
        by_id = {self._ledger.samples[code].id: code for code in new}
        by_id.pop(NOT_WRITTEN, None)
        roots: dict[int, tuple[str, datetime]] = {}
        rows = rows_of_samples(self._ledger.connection, Reading, _STORED, by_id)
        for number, corrects, sample_id, taken_at, entered_at, *content in rows:
            code = by_id[sample_id]
            viscosity, grade = content[0], content[3]
            if corrects is None:
                roots[number] = (code, taken_at)
                said = hash(tuple(content))
                self._known[code][taken_at] = _Held(said, entered_at, viscosity, grade, None, 0)
            elif corrects in roots:
                _, root_taken_at = roots[corrects]
                point = Point(taken_at, viscosity, (grade or 0) >= _SOFT_GRADE, None, 0)
                self._counting.setdefault(code, {})[root_taken_at] = point

    def finish(self) -> None:
        """Take the corrections in, then hold every new reading against its neighbours."""
        self._load(self._corrections.codes)
        for code, taken_at, correction in self._corrections.finish(self._originals):
            values = correction.values
            soft = (values["gel_grade"] or 0) >= _SOFT_GRADE
            point = Point(
                values["taken_at"], values["viscosity_mpas"], soft, correction.sheet, correction.line
            )
            self._counting.setdefault(code, {})[taken_at] = point
        for code, of_sample in self._known.items():
            counting = self._counting.get(code, {})
            points = [
                counting.get(taken_at)
                or Point(
                    taken_at, held.viscosity_mpas, (held.gel_grade or 0) >= _SOFT_GRADE, held.sheet, held.line
                )
                for taken_at, held in of_sample.items()
            ]
            tell_wrong_steps(points)

    def _originals(self, code: str) -> dict[tuple[Any, ...], datetime]:
        return {(taken_at,): held.entered_at for taken_at, held in self._known.get(code, {}).items()}


def _bare(value: Any) -> Any:
    """Return a value for comparison: blanks at the ends of a text do not make another reading."""
    return value.strip() or None if isinstance(value, str) else value
