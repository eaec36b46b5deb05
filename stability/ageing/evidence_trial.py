"""All columns that the evidence checks try beside a fit, their cross-products taken once."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stability.ageing.added_terms import Products, Rest, products, without
from stability.ageing.dose import dose, inverse_temperature
from stability.ageing.linear import Tangent, store_columns, tangent
from stability.ageing.model import SELF
from stability.ageing.result import Fit

__all__ = ["Trial", "trial"]

Array = npt.NDArray[np.float64]

_MOST_COLUMNS = 400
_MOST_NUMBERS = 4_000_000
"""Sets of columns larger than this are not tried: a study of a million readings is no study of a blend."""
_TELLING = 1e-6
"""ln(calendar dose ÷ dose) that counts as a difference."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A fit, its tangent and the columns tried beside it.

    The sets: "stores" and "tins" (a rate of their own), "shape" (a self-acceleration of each store's own),
    "days" and "steps" (of ln η itself, for all tins), "cells" (store × age), "clock" (the calendar's dose).
    """

    fit: Fit
    tangent: Tangent
    products: Products
    within: Rest
    """What is left beside the fit's own columns and a rate for every tin."""
    of_tins: Products
    """Those sets alone that differ between tins."""
    tins_within: Rest

    def has(self, name: str) -> bool:
        """Whether a set could be tried."""
        return name in self.products.sets


def _indicators(index: npt.NDArray[np.intp], count: int) -> Array:
    return np.asarray(index[:, np.newaxis] == np.arange(count), dtype=np.float64)


def _cells(fit: Fit) -> npt.NDArray[np.intp]:
    """Return the number of each reading's cell: its store and age."""
    _, store_age = np.unique(fit.data.age_days, return_inverse=True)
    _, cell = np.unique(
        fit.data.store * (int(store_age.max()) + 1) + np.asarray(store_age).ravel(), return_inverse=True
    )
    return np.asarray(cell, dtype=np.intp).ravel()


def _clock(fit: Fit, t: Tangent) -> Array | None:
    """Return by_rate·ln(calendar dose ÷ dose), (n, 1); None where both clocks are one."""
    data = fit.data
    ours = dose(data.days, data.x, fit.energy)
    x = np.asarray(inverse_temperature(data.store_temperature_c, data.storage_c))[data.store]
    theirs = data.age_days * np.exp(-fit.energy * x)
    told = (ours > 0.0) & (theirs > 0.0)
    ratio = np.log(np.where(told, theirs, 1.0) / np.where(told, ours, 1.0))
    return (t.by_rate * ratio)[:, np.newaxis] if np.abs(ratio).max() > _TELLING else None


def trial(fit: Fit) -> Trial:
    """Return a fit with numbers, ready for its checks."""
    t, data = tangent(fit), fit.data
    n, tins = data.tin.size, len(data.samples)
    aged = np.unique(data.store[data.aged])
    own_store = data.store[:, np.newaxis] == aged
    cell = _cells(fit)
    days = data.session_days.size if data.session.size else 0
    wide = {"tins": tins, "cells": int(cell.max()) + 1, "days": days, "steps": max(days - 1, 0)}
    kept = {k for k, v in wide.items() if 0 < v <= _MOST_COLUMNS and v * n <= _MOST_NUMBERS}
    sets = {"stores": store_columns(fit, t)[:, aged], "shape": own_store * t.columns[:, [SELF]]}
    if "tins" in kept:
        sets["tins"] = _indicators(data.tin, tins) * t.by_rate[:, np.newaxis]
    if "cells" in kept:
        sets["cells"] = _indicators(cell, wide["cells"])
    if {"days", "steps"} <= kept:
        sets["days"] = _indicators(data.session, days)
        sets["steps"] = np.asarray(data.session[:, np.newaxis] >= np.arange(1, days), dtype=np.float64)
    clock = _clock(fit, t)
    if clock is not None:
        sets["clock"] = clock
    of = products(t, sets)
    of_tins = of.only("stores", "tins", "clock")
    return Trial(
        fit=fit,
        tangent=t,
        products=of,
        within=without(of, ["base"], math.inf),
        of_tins=of_tins,
        tins_within=without(of_tins, ["base"], math.inf),
    )
