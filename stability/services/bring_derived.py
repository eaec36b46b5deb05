"""Viscosities [mPa·s] of imported readings that carry torque or a flow cup's seconds instead of a number."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from stability.errors import InputError
from stability.services.bring_batch import Batch
from stability.services.bring_ledger import Ledger
from stability.services.entry import ReadingEntry, Resolved
from stability.services.faults import typed
from stability.services.instruments import Means, means_for
from stability.services.resolve import resolved

__all__ = ["Derivation"]

_TORQUE = ("spindle", "speed_rpm", "torque_pct")
_CUP = ("cup", "efflux_s", "density_g_ml")


class Derivation:
    """Computes what a row does not say, with the rule that did it."""

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger
        self._means: dict[tuple[Any, ...], Means] = {}

    def fill(self, batch: Batch, *, corrections: bool = False) -> Batch:
        """Fill viscosities in and return the rows that say something; a correction may say nothing."""
        viscosities, grades = batch["viscosity_mpas"], batch["gel_grade"]
        batch.columns["rule"] = [None] * len(batch)
        batch.columns["uncertainty_mpas"] = [None] * len(batch)
        if None not in viscosities:
            return batch
        for row, (viscosity, grade) in enumerate(zip(viscosities, grades, strict=True)):
            if viscosity is None:
                self._fill_row(batch, row, graded=grade is not None, may_be_empty=corrections)
        return batch.good()

    def _fill_row(self, batch: Batch, row: int, *, graded: bool, may_be_empty: bool) -> None:
        values = {name: batch[name][row] for name in (*_TORQUE, *_CUP, "instrument", "taken_at")}
        by_torque = values["torque_pct"] is not None
        if not by_torque and values["efflux_s"] is None:
            if not graded and not may_be_empty:
                batch.say(row, "viscosity_mpas", f"nothing was measured; expected {_ONE_OF}")
            return
        try:
            found = self._resolved(values, _TORQUE if by_torque else _CUP)
        except InputError as exc:
            if not graded:  # a gel grade stands by itself
                column = "torque_pct" if by_torque else "efflux_s"
                batch.say(row, column, f"{exc}; expected {_ONE_OF}", hint=exc.hint)
            return
        batch["viscosity_mpas"][row], batch["rule"][row] = found.viscosity_mpas, found.rule
        batch["uncertainty_mpas"][row] = found.uncertainty_mpas

    def _resolved(self, values: Mapping[str, Any], needed: tuple[str, ...]) -> Resolved:
        _complete(values, needed)
        if needed is _TORQUE and values["instrument"] is None:
            raise InputError("the instrument is missing beside the torque")
        named = {name: values[name] for name in (*needed, "taken_at")}
        if needed is _TORQUE:
            named["instrument"] = values["instrument"]
        means = self._means_of(named)
        if needed is _TORQUE and means.card is None:
            raise InputError(f"the range of instrument {typed(values['instrument'])} is not on record")
        return resolved(ReadingEntry(sample="", **named), means)

    def _means_of(self, named: Mapping[str, Any]) -> Means:
        """Look an instrument and a cup up once for all readings of one day."""
        at: datetime = named["taken_at"]
        key = (named.get("instrument"), named.get("cup"), at.date())
        if key not in self._means:
            self._means[key] = means_for(self._ledger.connection, instrument=key[0], cup=key[1], at=at)
        return self._means[key]


_ONE_OF = (
    "viscosity_mpas; or spindle, speed_rpm, torque_pct and an instrument with its range on record; "
    "or cup, efflux_s, density_g_ml; or gel_grade"
)


def _complete(values: Mapping[str, Any], names: tuple[str, ...]) -> None:
    missing = [name for name in names if values[name] is None]
    if missing:
        raise InputError(f"{', '.join(missing)} is missing beside {', '.join(n for n in names if values[n])}")
