"""Blends of like size put into one set of padded arrays: problems × readings × exposure bins.

The size that a blend is padded to depends on that blend alone, so that its digits do not depend on its
neighbours. What ends a life, what is assumed and what the readings allow become penalties here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stability.ageing.arrays import BlendReadings, Kind
from stability.ageing.grouping import Groups
from stability.ageing.model import ENERGY, NAMES, ORDER, SELF, AgeingModel, Limit
from stability.ageing.normal_equations import Penalties
from stability.ageing.result import FitOptions, Priors

__all__ = [
    "LOWER",
    "UPPER",
    "Size",
    "added_names",
    "ageing_model",
    "penalties_for",
    "size_of",
]

Array = npt.NDArray[np.float64]

LOWER = (-30.0, float(np.log(1e-4)), 0.01, -3.0, -3.0)
UPPER = (30.0, float(np.log(1e6)), 250.0, 3.0, 8.0)
"""Box of (a, u, E, m, b)."""
STEP_SD = 0.5
"""Spread believed of a recorded step, or of a lot's level, in ln η: wide enough to say nothing of it."""


@dataclass(frozen=True, slots=True)
class Size:
    """What two blends must share to stand in one set of arrays."""

    readings: int
    tins: int
    bins: int
    stores: int
    """Store effects."""
    openings: int
    steps: int
    levels: int
    """Day-0 levels of further lots."""
    days: int
    """Day effects; 0 in the first fit."""
    absolute: bool
    censored: bool


def _padded(count: int) -> int:
    """Next of 4, 8, 12, 16, 24, 32, 48, 64 …: at most half again as many."""
    size = 4
    while size < count:
        size = size + 4 if size < 16 else (size * 3 // 2 if size & (size - 1) == 0 else size * 4 // 3)
    return size


def size_of(data: BlendReadings, limit: Limit, options: FitOptions) -> Size:
    """Return the size of the arrays that a blend is padded to."""
    # store effects and day effects in one fit cost lag curves dear: the second fit has days only
    given = options.store_spread > 0.0 and options.day_spread is None
    return Size(
        readings=_padded(data.tin.size),
        tins=_padded(len(data.samples)),
        bins=data.days.shape[1] if data.days.shape[1] < 3 else _padded(data.days.shape[1]),
        stores=len(data.stores) if given and len(data.stores) > 1 else 0,
        openings=int(options.opening_spread > 0.0 and data.opening_told),
        steps=data.steps.shape[1],
        levels=data.levels.shape[1],
        days=_padded(data.session_days.size) if options.day_spread is not None and data.session.size else 0,
        absolute=limit.viscosity_mpas is not None,
        censored=bool((data.kind != Kind.MEASURED).any()),
    )


def added_names(size: Size) -> tuple[str, ...]:
    """Return the names of what adds to ln η, in the order of the parameters."""
    steps = tuple(f"step[{k}]" for k in range(size.steps))
    levels = tuple(f"level[{k}]" for k in range(size.levels))
    return ("opening",) * size.openings + steps + levels + tuple(f"day[{k}]" for k in range(size.days))


def _store_columns(data: BlendReadings) -> Array:
    """+1 at the own store; −1 at the storage store, of which u is the life."""
    n, home = data.tin.size, data.storage_store
    columns = np.zeros((n, len(data.stores)))
    columns[np.arange(n), data.store] = 1.0
    if home is not None:
        columns[data.store != home, home] = -1.0
        columns[data.store == home, home] = 0.0
    return columns


def _added_columns(data: BlendReadings, size: Size) -> Array:
    n = data.tin.size
    openings = data.openings[:, np.newaxis] if size.openings else np.zeros((n, 0))
    days = np.zeros((n, size.days))
    if size.days:
        days[np.arange(n), data.session] = 1.0
    steps = data.steps if size.steps else np.zeros((n, 0))
    levels = data.levels if size.levels else np.zeros((n, 0))
    return np.hstack((openings, steps, levels, days))


def ageing_model(blends: Sequence[BlendReadings], limits: Sequence[Limit], size: Size) -> AgeingModel:
    """Return the arrays of blends of one size."""
    p, n = len(blends), size.readings
    y, upper, measured, active = np.zeros((p, n)), np.full((p, n), np.inf), np.ones((p, n)), np.zeros((p, n))
    days, x = np.zeros((p, n, size.bins)), np.zeros((p, n, size.bins))
    index = np.zeros((p, n), dtype=np.intp)
    stores = np.zeros((p, n, size.stores))
    added = np.zeros((p, n, len(added_names(size))))
    for row, data in enumerate(blends):
        k, bins = data.days.shape
        y[row, :k], upper[row, :k], index[row, :k] = data.ln_viscosity, data.ln_upper, data.tin
        measured[row, :k], active[row, :k] = data.measured, 1.0
        days[row, :k, :bins], x[row, :k, :bins] = data.days, data.x
        if size.stores:
            stores[row, :k] = _store_columns(data)
        if added.shape[-1]:
            added[row, :k] = _added_columns(data, size)
    return AgeingModel(
        y=y,
        upper=upper,
        measured=measured,
        active=active,
        days=days,
        x=x,
        tins=Groups(index, size.tins),
        stores=stores,
        added=added,
        ln_limit=np.array([[limit.ln_ratio(0.0)] for limit in limits]),
        absolute=size.absolute,
        any_censored=size.censored,
    )


def penalties_for(blends: Sequence[BlendReadings], options: FitOptions, size: Size) -> Penalties:
    """Return box, beliefs and free parameters of blends of one size, (P, p) each."""
    rows, names = len(blends), len(NAMES)
    gammas = names + size.stores
    openings, steps = gammas + size.openings, gammas + size.openings + size.steps + size.levels
    p = steps + size.days
    mean, precision = np.zeros((rows, p)), np.zeros((rows, p))
    lower, upper = np.full((rows, p), -5.0), np.full((rows, p), 5.0)
    lower[:, :names], upper[:, :names] = LOWER, UPPER
    free = np.ones((rows, p), dtype=bool)
    priors = options.priors or Priors()
    mean[:, [ENERGY, ORDER, SELF]] = priors.energy, priors.m, priors.b
    free[:, ENERGY] = [data.temperatures(data.measured & data.aged) >= 2 for data in blends]
    if options.priors is not None:
        sds = np.array([priors.energy_sd, priors.m_sd, priors.b_sd])
        precision[:, [ENERGY, ORDER, SELF]] = sds**-2.0
    for name, value in options.fixed.items():
        k = NAMES.index(name)
        free[:, k] = False
        mean[:, k], precision[:, k] = value, 0.0
        lower[:, k], upper[:, k] = np.minimum(lower[:, k], value), np.maximum(upper[:, k], value)
    precision[:, names:gammas] = max(options.store_spread, 1e-6) ** -2.0
    precision[:, gammas:openings] = max(options.opening_spread, 1e-6) ** -2.0
    precision[:, openings:steps] = STEP_SD**-2.0
    if size.days:
        assert options.day_spread is not None  # noqa: S101 - day effects come with their spread only
        precision[:, steps:] = max(options.day_spread, 1e-6) ** -2.0
    return Penalties(mean, precision, lower, upper, free)
