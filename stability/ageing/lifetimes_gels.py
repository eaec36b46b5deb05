"""Tins whose gel was looked for, none of them measured: between which two looks each one gelled.

A tin's time is its exposure at the last look without gel and at the first one with it (days [d] and mean x
[mol/kJ] per bin), so that logs and take-outs count; calendar ages [d] are kept beside. Many blends at once:
arrays (problems, tins, bins), padded with weight 0.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stability.ageing.arrays import distinct_temperatures
from stability.ageing.lifetimes_ends import HistoryEnds
from stability.ageing.lifetimes_likelihood import Seen
from stability.errors import InputError
from stability.units import SAME_TEMPERATURE_C

__all__ = ["GelTins", "TinGel", "assemble_gels"]

Array = npt.NDArray[np.float64]

AT_ONCE_DAYS = 1.0 / 24.0
"""A tin that was gelled at its first look, within the hour, is taken to have gelled within an hour, [d]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TinGel:
    """One tin: what it had been through when it had not gelled yet, and when it first had."""

    sample: str
    store: str
    temperature_c: float
    fluid_age_days: float
    """Age at the last look without gel; 0: there was none."""
    fluid_days: npt.ArrayLike = ()
    """Exposure at that look, (bins,), [d]."""
    fluid_x: npt.ArrayLike = ()
    gelled_age_days: float | None = None
    """Age at the first look with gel; None: it has not gelled."""
    gelled_days: npt.ArrayLike = ()
    gelled_x: npt.ArrayLike = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class GelTins:
    """The tins of many blends, (problems, tins) unless said otherwise; build with `assemble_gels`."""

    storage_c: float
    samples: tuple[tuple[str, ...], ...]
    stores: tuple[tuple[str, ...], ...]
    """Names of the stores of each problem."""
    store_temperature_c: tuple[Array, ...]
    ends: HistoryEnds
    seen: Seen
    weight: Array
    store: npt.NDArray[np.intp]
    """Index into the problem's stores."""
    fluid_age_days: Array
    gelled_age_days: Array
    """Infinite where a tin has not gelled."""

    @property
    def gelled(self) -> npt.NDArray[np.bool_]:
        """Which tins have gelled."""
        return np.asarray(self.seen.high & (self.weight > 0.0))

    @property
    def temperature_c(self) -> Array:
        """Temperature of each tin's store, [°C]; that of storage where there is no tin."""
        found = np.full(self.weight.shape, self.storage_c)
        for row, temperatures in enumerate(self.store_temperature_c):
            if temperatures.size:
                found[row] = np.where(self.weight[row] > 0.0, temperatures[self.store[row]], self.storage_c)
        return found

    @property
    def storage_store(self) -> npt.NDArray[np.intp]:
        """Index of the store that stands for the storage temperature, (problems,); −1: none within 2.5 °C."""
        found = np.full(len(self.stores), -1)
        for row, temperatures in enumerate(self.store_temperature_c):
            distance = np.abs(temperatures - self.storage_c)
            if distance.size and distance.min() <= SAME_TEMPERATURE_C:
                found[row] = int(np.argmin(distance))
        return found

    @property
    def temperatures(self) -> npt.NDArray[np.intp]:
        """How many temperatures, more than 2.5 °C apart, each problem has tins at, (problems,)."""
        found = np.zeros(len(self.stores), dtype=np.intp)
        for row, temperatures in enumerate(self.store_temperature_c):
            used = np.unique(self.store[row][self.weight[row] > 0.0])
            found[row] = distinct_temperatures(temperatures[used])
        return found


def assemble_gels(problems: Sequence[Sequence[TinGel]], storage_c: float) -> GelTins:
    """Return the tins of many blends as padded arrays.

    A tin without any look, and without age at its only look, says nothing and stays in with no weight.

    Raises
    ------
    InputError
        A tin that gelled before it was last seen fluid, or an age or exposure that is no number.
    """
    faults = [fault for tins in problems for tin in tins for fault in _faults(tin)]
    if faults:
        raise InputError(*faults)
    count, width = len(problems), max((len(tins) for tins in problems), default=0) or 1
    bins = max(
        (np.size(d) for tins in problems for t in tins for d in (t.fluid_days, t.gelled_days)), default=0
    )
    exposure = np.zeros((4, count, width, bins or 1))
    fluid, gelled = np.zeros((count, width)), np.full((count, width), np.inf)
    store = np.zeros((count, width), dtype=np.intp)
    weight = np.zeros((count, width))
    names: list[tuple[str, ...]] = []
    temperatures: list[Array] = []
    for p, tins in enumerate(problems):
        known = {tin.store: tin.temperature_c for tin in tins}
        names.append(tuple(known))
        temperatures.append(np.array(list(known.values()), dtype=np.float64))
        for i, tin in enumerate(tins):
            store[p, i] = names[p].index(tin.store)
            fluid[p, i] = tin.fluid_age_days
            gelled[p, i] = np.inf if tin.gelled_age_days is None else tin.gelled_age_days
            _fill(exposure[:, p, i], tin)
            weight[p, i] = float(tin.gelled_age_days is not None or exposure[0, p, i].sum() > 0.0)
    return GelTins(
        storage_c=storage_c,
        samples=tuple(tuple(tin.sample for tin in tins) for tins in problems),
        stores=tuple(names),
        store_temperature_c=tuple(temperatures),
        ends=HistoryEnds(*exposure),
        seen=Seen(np.zeros(weight.shape, dtype=bool), exposure[0].sum(axis=-1) > 0.0, np.isfinite(gelled)),
        weight=weight,
        store=store,
        fluid_age_days=fluid,
        gelled_age_days=gelled,
    )


def _fill(exposure: Array, tin: TinGel) -> None:
    """Write a tin's exposures (days and x without gel, days and x with) into (4, bins)."""
    for place, values in enumerate((tin.fluid_days, tin.fluid_x, tin.gelled_days, tin.gelled_x)):
        row = np.asarray(values, dtype=np.float64)
        exposure[place, : row.size] = row
    if tin.gelled_age_days is not None and exposure[2].sum() < AT_ONCE_DAYS:
        exposure[2, 0] = AT_ONCE_DAYS


def _faults(tin: TinGel) -> list[str]:
    ages = [tin.fluid_age_days] + ([] if tin.gelled_age_days is None else [tin.gelled_age_days])
    found = [
        f"sample {tin.sample}: age {age} days, expected a finite number, 0 or more"
        for age in ages
        if not (np.isfinite(age) and age >= 0.0)
    ]
    pairs = ((tin.fluid_days, tin.fluid_x), (tin.gelled_days, tin.gelled_x))
    for days, x in (tuple(np.asarray(part, dtype=np.float64) for part in pair) for pair in pairs):
        if days.shape != x.shape or not (
            np.isfinite(days).all() and np.isfinite(x).all() and (days >= 0).all()
        ):
            found.append(f"sample {tin.sample}: an exposure is negative, not finite or incomplete")
    if not found and ages[-1] < ages[0]:
        found.append(f"sample {tin.sample} gelled by day {ages[1]:g}, before it was last seen fluid")
    return found
