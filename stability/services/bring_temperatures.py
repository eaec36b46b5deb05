"""Taking in store temperatures [°C]: a later `entered_at` re-bases a logged point."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime
from typing import Any

from stability.records.intake import temperatures_on_record
from stability.records.tables.measured import StoreTemperature
from stability.services.bring_ledger import Ledger
from stability.services.instants import iso
from stability.services.sources import Chunk, Sheet

__all__ = ["TemperatureTaking"]

_Told = dict[datetime, float]


class TemperatureTaking:
    """All temperature sheets of one import."""

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger
        self._known: dict[int, dict[datetime, _Told]] = {}  # store → instant → entered_at → °C

    def take(self, sheet: Sheet) -> None:
        """Take one sheet in."""
        for chunk in sheet.chunks():
            self._take(sheet, chunk)

    def _take(self, sheet: Sheet, chunk: Chunk) -> None:
        columns = [sheet.values(chunk, name, self._ledger.zone) for name in sheet.spec.names]
        stores = self._ledger.ids("store")
        fresh: list[tuple[int, datetime, float, datetime]] = []
        for line, store, at, temperature_c, entered_at in zip(chunk.lines, *columns, strict=True):
            if store is None or at is None or temperature_c is None:
                continue  # told already
            if store not in stores:
                sheet.say(line, "store", self._ledger.unknown("store", store, stores))
            elif self._in_time(sheet, line, at, entered_at):
                told = self._told(stores[store], at)
                if self._is_new(sheet, line, told, at=at, temperature_c=temperature_c, entered_at=entered_at):
                    told[entered_at or at] = temperature_c
                    fresh.append((stores[store], at, temperature_c, entered_at or at))
        self._ledger.counted("temperatures").added += len(fresh)
        if fresh:
            names = ("store_id", "at", "temperature_c", "entered_at")
            values: dict[str, list[Any]] = {
                n: list(v) for n, v in zip(names, zip(*fresh, strict=True), strict=True)
            }
            self._ledger.insert(StoreTemperature, values)

    def _told(self, store_id: int, at: datetime) -> _Told:
        if store_id not in self._known:
            held: dict[datetime, _Told] = defaultdict(dict)
            for moment, temperature_c, entered_at in temperatures_on_record(
                self._ledger.connection, store_id
            ):
                held[moment][entered_at] = temperature_c
            self._known[store_id] = held
        return self._known[store_id][at]

    def _in_time(self, sheet: Sheet, line: int, at: datetime, entered_at: datetime | None) -> bool:
        now = self._ledger.now
        if at > now:
            sheet.say(line, "at", self._ledger.future(at))
        elif entered_at is not None and entered_at > now:
            sheet.say(line, "entered_at", self._ledger.future(entered_at))
        elif entered_at is not None and entered_at < at:
            sheet.say(
                line, "entered_at", f"{iso(entered_at)} lies before at; expected a time from {iso(at)} on"
            )
        else:
            return True
        return False

    def _is_new(
        self,
        sheet: Sheet,
        line: int,
        told: _Told,
        *,
        at: datetime,
        temperature_c: float,
        entered_at: datetime | None,
    ) -> bool:
        """Say whether a row is to be written; a contradiction is told."""
        if not told or (entered_at is not None and entered_at not in told):
            return True
        held = told.get(entered_at or at)
        if held == temperature_c or (entered_at is None and temperature_c in told.values()):
            self._ledger.counted("temperatures").unchanged += 1
            return False
        before = held if held is not None else next(reversed(told.values()))
        sheet.say(
            line,
            "temperature_c",
            f"{temperature_c:g} °C contradicts {before:g} °C told before for that time; expected the same",
            hint="a later entered_at re-bases a logged point; the earlier one stays",
        )
        return False
