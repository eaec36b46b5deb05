"""What temperature each store really had, what its display said, and a tin's own path through both.

Hour by hour from 10:00 local on day 0; temperatures °C, times in days since then. Invented.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from functools import cache

import numpy as np

from stability.demo.draws import draws
from stability.demo.kinetics import Floats, Path
from stability.demo.rows import TemperatureRow
from stability.demo.stage import NOW_DAY, STORES, age_days, instant

__all__ = ["BENCH_C", "displayed", "log_rows", "nominal_c", "path", "rebased_rows", "true_hours"]

BENCH_C = 23.0
HOURS = NOW_DAY * 24
"""Hourly points from day 0 to now; summer time makes the last one fall an hour short of day 175."""

_FAULT = (age_days(instant(17, 17)), age_days(instant(17, 17)) + 38 / 24, 63.0)
_DRIFT = (60.0, 95.0, 1.6)
_BLIND = range(round(age_days(instant(120, 18)) * 24), round(age_days(instant(123, 7)) * 24))
_WOBBLE_C = 0.15
_MEMORY = 0.85


def nominal_c(store: str) -> float:
    """Return the temperature a store is meant to have, [°C]."""
    return next(row.temperature_c for row in STORES if row.store == store)


def _days() -> Floats:
    return np.arange(HOURS) / 24.0


@cache
def true_hours(store: str, *, quiet: bool = False) -> Floats:
    """Return a store's true temperature in each hour, (HOURS,); `quiet` leaves out its ordinary wobble."""
    days = _days()
    found = np.full(HOURS, nominal_c(store))
    if not quiet:
        shock = draws("wobble", store).normal(0.0, _WOBBLE_C * np.sqrt(1.0 - _MEMORY**2), HOURS)
        found += np.convolve(shock, _MEMORY ** np.arange(48))[:HOURS]
    if store == "OVN-50":
        found += np.where((days >= _FAULT[0]) & (days < _FAULT[1]), _FAULT[2] - nominal_c(store), 0.0)
    if store == "OVN-40":
        found += _drift(days)
    return found


def _drift(days: Floats) -> Floats:
    """Return how much hotter OVN-40 was than its drifting probe said, [K]."""
    start, end, shift = _DRIFT
    return np.where((days >= start) & (days < end), shift, 0.0)


@cache
def displayed(store: str) -> Floats:
    """Return what the store's display said in each hour, rounded to 0.1 °C, (HOURS,)."""
    shown = true_hours(store) + draws("probe", store).normal(0.0, 0.05, HOURS)
    if store == "OVN-40":
        shown = shown - _drift(_days())
    return np.round(shown, 1)


def _rows(shown: Floats, from_at: datetime, to_at: datetime) -> tuple[TemperatureRow, ...]:
    start = instant(0)
    hours = timedelta(hours=1)
    first = max(0, -((start - from_at) // hours))
    last = min(HOURS, -((start - to_at) // hours))
    return tuple(
        TemperatureRow(start + hour * hours, float(shown[hour]))
        for hour in range(first, last)
        if hour not in _BLIND
    )


def log_rows(store: str, from_at: datetime, to_at: datetime) -> tuple[TemperatureRow, ...]:
    """Return the logger's points in [from, to); none while the machine had no power."""
    return _rows(displayed(store), from_at, to_at)


def rebased_rows(
    store: str, shift_c: float, from_at: datetime, to_at: datetime
) -> tuple[TemperatureRow, ...]:
    """Return the logger's points in [from, to) with the error of the probe added."""
    return _rows(np.round(displayed(store) + shift_c, 1), from_at, to_at)


def path(
    hours_c: Floats, placed_day: float, until_day: float, out: Sequence[tuple[float, float]] = ()
) -> Path:
    """Return a tin's true path from where it was placed; times out of its store are spent at 23 °C."""
    inside = np.arange(np.ceil(placed_day * 24), np.floor(until_day * 24) + 1) / 24.0
    marks = np.array([placed_day, until_day, *(edge for pair in out for edge in pair)])
    edges = np.unique(np.concatenate((inside, marks.clip(placed_day, until_day))))
    middle = (edges[1:] + edges[:-1]) / 2.0
    # the clip only matters behind now, where a truth is asked beyond the recorded hours
    temperature_c = hours_c[np.minimum((middle * 24).astype(int), hours_c.size - 1)].copy()
    for out_day, back_day in out:
        temperature_c[(middle > out_day) & (middle < back_day)] = BENCH_C
    return Path(edges, temperature_c)
