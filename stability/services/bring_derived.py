"""Viscosities [mPa·s] of imported readings that carry torque or a flow cup's seconds instead of a number."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from stability.bench.cups import kinematic_viscosity
from stability.bench.rotational import full_scale_mpas, viscosity_from_torque
from stability.errors import InputError
from stability.records.intake import on_record
from stability.records.tables.bench import Instrument
from stability.services.bring_batch import Batch
from stability.services.bring_ledger import Ledger
from stability.services.faults import typed
from stability.units import kinematic_to_dynamic

__all__ = ["Derivation"]

_TORQUE = ("spindle", "speed_rpm", "torque_pct")
_CUP = ("cup", "efflux_s", "density_g_ml")


class Derivation:
    """Computes what a row does not say, with the rule that did it."""

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger
        self._ranges: dict[str, Mapping[str, Any]] | None = None

    def fill(self, batch: Batch, *, corrections: bool = False) -> Batch:
        """Fill viscosities in and return the rows that say something; a correction may say nothing."""
        viscosities, grades = batch["viscosity_mpas"], batch["gel_grade"]
        batch.columns["rule"] = [None] * len(batch)
        if None not in viscosities:
            return batch
        for row, (viscosity, grade) in enumerate(zip(viscosities, grades, strict=True)):
            if viscosity is None:
                self._fill_row(batch, row, graded=grade is not None, may_be_empty=corrections)
        return batch.good()

    def _fill_row(self, batch: Batch, row: int, *, graded: bool, may_be_empty: bool) -> None:
        values = {name: batch[name][row] for name in (*_TORQUE, *_CUP, "instrument")}
        try:
            if values["torque_pct"] is not None:
                found, rule = self._by_torque(values), "torque 1"
            elif values["efflux_s"] is not None:
                found, rule = _by_cup(values), "cup 1"
            else:
                if not graded and not may_be_empty:
                    batch.say(row, "viscosity_mpas", f"nothing was measured; expected {_ONE_OF}")
                return
        except InputError as exc:
            if not graded:  # a gel grade stands by itself
                column = "torque_pct" if values["torque_pct"] is not None else "efflux_s"
                batch.say(row, column, f"{exc}; expected {_ONE_OF}", hint=exc.hint)
            return
        batch["viscosity_mpas"][row], batch["rule"][row] = found, rule

    def _by_torque(self, values: Mapping[str, Any]) -> float:
        _complete(values, _TORQUE)
        name = values["instrument"]
        if name is None:
            raise InputError("the instrument is missing beside the torque")
        if self._ranges is None:
            rows = on_record(self._ledger.connection, Instrument, ("instrument",))
            self._ranges = {str(key[0]): row for key, row in rows.items()}
        held = self._ranges.get(name)
        if held is None:
            raise InputError(f"the range of instrument {typed(name)} is not on record")
        full_scale = full_scale_mpas(
            speed_rpm=values["speed_rpm"], full_scale_mpas=held["full_scale_mpas"], factor=held["factor"]
        )
        return viscosity_from_torque(full_scale, values["torque_pct"]).viscosity_mpas


_ONE_OF = (
    "viscosity_mpas; or spindle, speed_rpm, torque_pct and an instrument with its range on record; "
    "or cup, efflux_s, density_g_ml; or gel_grade"
)


def _by_cup(values: Mapping[str, Any]) -> float:
    _complete(values, _CUP)
    return kinematic_to_dynamic(
        kinematic_viscosity(values["cup"], values["efflux_s"]), values["density_g_ml"]
    )


def _complete(values: Mapping[str, Any], names: tuple[str, ...]) -> None:
    missing = [name for name in names if values[name] is None]
    if missing:
        raise InputError(f"{', '.join(missing)} is missing beside {', '.join(n for n in names if values[n])}")
