"""The one place where tins and their readings become padded arrays.

Viscosities are [mPa·s] outside and natural logarithms inside; times [d]; x [mol/kJ].
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from stability.errors import InputError
from stability.units import SAME_TEMPERATURE_C

__all__ = ["BlendReadings", "Kind", "TinHistory", "assemble", "distinct_temperatures"]

Array = npt.NDArray[np.float64]

FRESH_DAYS = 0.5
"""A tin that has stood for less counts as fresh, [d]."""


class Kind(IntEnum):
    """What a reading says of the viscosity."""

    MEASURED = 0
    RIGHT_CENSORED = 1
    """At least this much: gelled, or over the instrument's range."""
    INTERVAL = 2
    """Between two values: thickened, not measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TinHistory:
    """One tin: where it stands, and its readings in parallel sequences."""

    sample: str
    store: str
    temperature_c: float
    """Nominal temperature of the store, [°C]."""
    ages_days: Sequence[float]
    viscosities_mpas: Sequence[float]
    """Measured value, or the lower bound of a reading that is not a number."""
    days: Array
    """Exposure at each reading, (readings, bins), [d]."""
    x: Array
    """Mean x of each bin, (readings, bins), [mol/kJ]."""
    kinds: Sequence[Kind] | None = None
    """None: all are measured."""
    uppers_mpas: Sequence[float] | None = None
    """Upper bounds of interval readings, [mPa·s]; ignored elsewhere."""
    openings: Sequence[int] | None = None
    """How often the tin had been opened before each reading; None: not known, taken as never."""
    sessions: Sequence[int] | None = None
    """Number of the day of each reading (any count of days); None: not known."""
    steps: Sequence[Sequence[float]] | None = None
    """Per reading 0 or 1 for each recorded change that has a step of its own; None: there are none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BlendReadings:
    """All readings of one blend (n readings, K stores), ready for a fit."""

    samples: tuple[str, ...]
    stores: tuple[str, ...]
    store_temperature_c: Array
    """(K,), [°C]."""
    storage_c: float
    """Storage temperature of the claim, [°C]."""
    tin: npt.NDArray[np.intp]
    """Index into `samples`, (n,)."""
    store: npt.NDArray[np.intp]
    """Index into `stores`, (n,)."""
    kind: npt.NDArray[np.int8]
    ln_viscosity: Array
    """ln η of a measured reading, of the lower bound otherwise, (n,)."""
    ln_upper: Array
    """ln of the upper bound; infinite unless the kind is INTERVAL, (n,)."""
    days: Array
    """(n, bins), [d], padded with 0."""
    x: Array
    """(n, bins), [mol/kJ], padded with 0."""
    age_days: Array
    """Calendar age, (n,), [d]."""
    openings: Array = field(default_factory=lambda: np.zeros(0))
    """How often its tin had been opened before each reading, (n,); empty: not known."""
    session: npt.NDArray[np.intp] = field(default_factory=lambda: np.zeros(0, dtype=np.intp))
    """Index into `session_days` of the day of each reading, (n,); empty: not known."""
    session_days: npt.NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    """Numbers of the days on which there are readings, ascending."""
    steps: Array = field(default_factory=lambda: np.zeros((0, 0)))
    """1 where a reading was made after a recorded change of method, (n, changes)."""
    levels: Array = field(default_factory=lambda: np.zeros((0, 0)))
    """1 for the readings of each lot but the first, which has no level of its own, (n, lots − 1)."""

    @property
    def measured(self) -> npt.NDArray[np.bool_]:
        """Which readings are numbers, (n,)."""
        return np.asarray(self.kind == Kind.MEASURED)

    @property
    def aged(self) -> npt.NDArray[np.bool_]:
        """Which readings come from a tin that had stood for half a day or more, (n,).

        The readings of day 0 are hours apart; what happens between them is noise, not ageing.
        """
        return np.asarray(self.days.sum(axis=1) >= FRESH_DAYS)

    @property
    def opening_told(self) -> bool:
        """Whether aged tins were read that had been opened before, and others that had not."""
        aged = self.openings[self.age_days > 1.0] if self.openings.size else self.openings
        return bool((aged > 0).any() and (aged == 0).any())

    @property
    def storage_store(self) -> int | None:
        """Index of the store that stands for the storage temperature: the nearest within 2.5 °C."""
        if not self.stores:
            return None
        distance = np.abs(self.store_temperature_c - self.storage_c)
        nearest = int(np.argmin(distance))
        return nearest if distance[nearest] <= SAME_TEMPERATURE_C else None

    def temperatures(self, readings: npt.NDArray[np.bool_]) -> int:
        """How many distinct temperatures stand behind some of the readings, (n,)."""
        return distinct_temperatures(self.store_temperature_c[np.unique(self.store[readings])])


def distinct_temperatures(temperature_c: Array) -> int:
    """How many of these temperatures [°C] are more than 2.5 °C from the next one below, and the lowest."""
    return int(temperature_c.size > 0) + int((np.diff(np.sort(temperature_c)) > SAME_TEMPERATURE_C).sum())


def _checked(tin: TinHistory) -> list[str]:
    n = len(tin.ages_days)
    lengths = {
        "viscosities": len(tin.viscosities_mpas),
        "rows of exposure": len(tin.days),
        "rows of x": len(tin.x),
        "kinds": n if tin.kinds is None else len(tin.kinds),
        "upper bounds": n if tin.uppers_mpas is None else len(tin.uppers_mpas),
        "openings": n if tin.openings is None else len(tin.openings),
        "days of reading": n if tin.sessions is None else len(tin.sessions),
        "rows of changes": n if tin.steps is None else len(tin.steps),
    }
    faults = [f"sample {tin.sample}: {n} ages but {k} {what}" for what, k in lengths.items() if k != n]
    faults += [
        f"sample {tin.sample}: viscosity {v} mPa·s, expected a positive number"
        for v in tin.viscosities_mpas
        if not (math.isfinite(v) and v > 0.0)
    ]
    faults += [
        f"sample {tin.sample}: age {a} days, expected a finite number, 0 or more"
        for a in tin.ages_days
        if not (math.isfinite(a) and a >= 0.0)
    ]
    exposed = np.asarray(tin.days), np.asarray(tin.x)
    if not all(np.isfinite(a).all() for a in exposed) or (exposed[0] < 0.0).any():
        faults.append(f"sample {tin.sample}: an exposure is negative or not finite")
    return faults


def _kept(tin: TinHistory) -> list[int]:
    """Return indices in order of age, up to and with the first reading that is only a lower bound."""
    order = sorted(range(len(tin.ages_days)), key=lambda j: tin.ages_days[j])
    if tin.kinds is None:
        return order
    for place, j in enumerate(order):
        if tin.kinds[j] == Kind.RIGHT_CENSORED:
            # what follows a gel carries nothing: the tin cannot come back
            return order[: place + 1]
    return order


def _upper(tin: TinHistory, j: int) -> float:
    if tin.kinds is None or tin.kinds[j] != Kind.INTERVAL:
        return math.inf
    upper = math.inf if tin.uppers_mpas is None else tin.uppers_mpas[j]
    if not upper > tin.viscosities_mpas[j]:
        raise InputError(
            f"sample {tin.sample}: interval from {tin.viscosities_mpas[j]} to {upper} mPa·s, "
            "expected an upper bound above the lower one"
        )
    return math.log(upper)


def _openings(rows: Sequence[tuple[int, TinHistory, int]]) -> Array:
    if all(tin.openings is None for _, tin, _ in rows):
        return np.zeros(0)
    return np.array([0 if tin.openings is None else tin.openings[j] for _, tin, j in rows], dtype=float)


def _sessions(
    rows: Sequence[tuple[int, TinHistory, int]],
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.int64]]:
    if not rows or any(tin.sessions is None for _, tin, _ in rows):
        return np.zeros(0, dtype=np.intp), np.zeros(0, dtype=np.int64)
    numbers = np.array([0 if tin.sessions is None else tin.sessions[j] for _, tin, j in rows], dtype=np.int64)
    days, index = np.unique(numbers, return_inverse=True)
    return np.asarray(index, dtype=np.intp), days


def _steps(rows: Sequence[tuple[int, TinHistory, int]]) -> Array:
    """Return the columns of recorded changes that some readings precede and others follow."""
    width = max((len(tin.steps[j]) for _, tin, j in rows if tin.steps is not None), default=0)
    columns = np.zeros((len(rows), width))
    for row, (_, tin, j) in enumerate(rows):
        if tin.steps is not None:
            columns[row, : len(tin.steps[j])] = tin.steps[j]
    return columns[:, (columns != columns[:1]).any(axis=0)] if width else columns


def assemble(tins: Sequence[TinHistory], storage_c: float) -> BlendReadings:
    """Return the arrays of one blend; readings after a tin's first gelled one are left out.

    Parameters
    ----------
    tins : sequence of TinHistory
        The tins of the blend; a tin without readings is left out.
    storage_c : float
        Storage temperature of the claim, [°C].

    Raises
    ------
    InputError
        One line per fault: lengths that differ, a viscosity or an age that cannot be, one store with
        two temperatures.
    """
    faults = [fault for tin in tins for fault in _checked(tin)]
    temperatures: dict[str, float] = {}
    for tin in tins:
        known = temperatures.setdefault(tin.store, tin.temperature_c)
        if known != tin.temperature_c:
            faults.append(f"store {tin.store}: given as {known} °C and as {tin.temperature_c} °C")
    if faults:
        raise InputError(*faults)
    used = [(tin, _kept(tin)) for tin in tins if len(tin.ages_days)]
    stores = tuple(dict.fromkeys(tin.store for tin, _ in used))
    rows = [(i, tin, j) for i, (tin, kept) in enumerate(used) for j in kept]
    bins = max((np.asarray(tin.days).shape[1] for tin, _ in used), default=1)
    days, x = np.zeros((len(rows), bins)), np.zeros((len(rows), bins))
    session, session_days = _sessions(rows)
    for row, (_, tin, j) in enumerate(rows):
        width = len(tin.days[j])
        days[row, :width], x[row, :width] = tin.days[j], tin.x[j]
    return BlendReadings(
        samples=tuple(tin.sample for tin, _ in used),
        stores=stores,
        store_temperature_c=np.array([temperatures[s] for s in stores]),
        storage_c=storage_c,
        tin=np.array([i for i, _, _ in rows], dtype=np.intp),
        store=np.array([stores.index(tin.store) for _, tin, _ in rows], dtype=np.intp),
        kind=np.array([0 if tin.kinds is None else tin.kinds[j] for _, tin, j in rows], dtype=np.int8),
        ln_viscosity=np.log(np.array([tin.viscosities_mpas[j] for _, tin, j in rows], dtype=np.float64)),
        ln_upper=np.array([_upper(tin, j) for _, tin, j in rows], dtype=np.float64),
        days=days,
        x=x,
        age_days=np.array([tin.ages_days[j] for _, tin, j in rows], dtype=np.float64),
        openings=_openings(rows),
        steps=_steps(rows),
        session=session,
        session_days=session_days,
    )
