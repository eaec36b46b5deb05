"""Taking drying tests in: identity is sample, time and humidity [%]; corrections as for readings."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from stability.records.intake import rows_of_samples
from stability.records.tables.measured import Cure
from stability.services.bring_batch import Batch
from stability.services.bring_corrections import CorrectionTaking
from stability.services.bring_ledger import NOT_WRITTEN, Ledger
from stability.services.bring_rows import shown
from stability.services.instants import iso
from stability.services.sources import Chunk, Sheet

__all__ = ["CureTaking"]

_CONTENT = ("film_um", "dry_through_h", "operator", "note")
_BESIDE = ("humidity_pct",)
_Identity = tuple[datetime, float]


class CureTaking:
    """All sheets of drying tests of one import."""

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger
        self._known: dict[str, dict[_Identity, dict[str, Any]]] = {}
        self._corrections = CorrectionTaking(ledger, Cure, "cures", _CONTENT, beside=_BESIDE)

    def take(self, sheet: Sheet) -> None:
        """Take one sheet in."""
        for chunk in sheet.chunks():
            batch = self._read(sheet, chunk).good().with_samples().in_time().known_in_time()
            self._take(self._without_corrections(batch))

    def _read(self, sheet: Sheet, chunk: Chunk) -> Batch:
        corrects = chunk.cells.get("corrects") or [""] * len(chunk.lines)
        hours = chunk.cells["dry_through_h"]
        # the hours of a correction may be empty: it sets the test aside
        chunk.cells["dry_through_h"] = [
            cell or ("1" if corrected else "") for cell, corrected in zip(hours, corrects, strict=True)
        ]
        columns = {name: sheet.values(chunk, name, self._ledger.zone) for name in sheet.spec.names}
        for row, cell in enumerate(hours):
            if not cell:
                columns["dry_through_h"][row] = None
        return Batch(self._ledger, sheet, chunk.lines, columns, chunk.bad)

    def _without_corrections(self, batch: Batch) -> Batch:
        for row in range(len(batch)):
            corrects, reason = batch["corrects"][row], batch["reason"][row]
            if corrects is not None and reason is None:
                batch.say(row, "reason", "is empty; a correction needs its reason")
            elif corrects is not None:
                self._corrections.keep(batch, row)
            elif reason is not None:
                batch.say(row, "reason", "stands without corrects; expected the time of the test it corrects")
        good = batch.good()
        return good.only([row for row, moment in enumerate(good["corrects"]) if moment is None])

    def _take(self, batch: Batch) -> None:
        self._load(set(batch["sample"]))
        fresh: list[int] = []
        for row in range(len(batch)):
            of_sample = self._known[batch["sample"][row]]
            identity = (batch["taken_at"][row], batch["humidity_pct"][row])
            if identity in of_sample:
                self._against(batch, row, of_sample[identity])
            else:
                entered_at = batch["entered_at"][row] or self._ledger.now
                of_sample[identity] = {
                    "entered_at": entered_at,
                    **{name: batch[name][row] for name in _CONTENT},
                }
                fresh.append(row)
        self._insert(batch.only(fresh))

    def _insert(self, fresh: Batch) -> None:
        self._ledger.counted("cures").added += len(fresh)
        if len(fresh):
            fresh.date()
            names = ("sample_id", "taken_at", *_BESIDE, *_CONTENT, "entered_at")
            columns = {name: fresh[name] for name in names}
            self._ledger.insert(Cure, {**columns, "entered_by": [self._ledger.person] * len(fresh)})

    def _against(self, batch: Batch, row: int, held: dict[str, Any]) -> None:
        told = batch["entered_at"][row]
        if told is not None and told != held["entered_at"]:
            since = iso(held["entered_at"])
            what = f"{iso(told)} contradicts {since}, since when this test is known; expected that time"
            batch.say(row, "entered_at", what)
            return
        for name in _CONTENT:
            if name in batch.sheet.header and batch[name][row] != held[name]:
                what = f"{shown(batch[name][row])} contradicts {shown(held[name])} told before for this test"
                batch.say(row, name, f"{what}; expected the same, or a row with corrects and reason")
                return
        self._ledger.counted("cures").unchanged += 1

    def _load(self, codes: set[str]) -> None:
        new = [code for code in codes if code not in self._known]
        self._known.update({code: {} for code in new})
        by_id = {self._ledger.samples[code].id: code for code in new}
        by_id.pop(NOT_WRITTEN, None)
        names = ("sample_id", "corrects_id", "taken_at", *_BESIDE, "entered_at", *_CONTENT)
        for values in rows_of_samples(self._ledger.connection, Cure, names, by_id):
            row = dict(zip(names, values, strict=True))
            if row["corrects_id"] is None:
                self._known[by_id[row["sample_id"]]][row["taken_at"], row["humidity_pct"]] = row

    def finish(self) -> None:
        """Take the corrections in."""
        self._load(self._corrections.codes)
        for _ in self._corrections.finish(self._originals):
            pass

    def _originals(self, code: str) -> dict[tuple[Any, ...], datetime]:
        return {identity: held["entered_at"] for identity, held in self._known.get(code, {}).items()}
