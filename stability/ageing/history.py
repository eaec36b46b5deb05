"""Temperature histories of stores and tins, turned into exposures (days and mean x per 0.5 °C bin).

Times are days on one float axis shared by everything in a call; temperatures are °C; x is [mol/kJ].
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stability.ageing.dose import inverse_temperature
from stability.errors import InputError

__all__ = ["BIN_WIDTH_C", "Exposure", "Stay", "StoreHistory", "exposures"]

Array = npt.NDArray[np.float64]

BIN_WIDTH_C = 0.5
MAX_GAP_DAYS = 0.25


@dataclass(frozen=True, slots=True)
class Exposure:
    """What n readings have been through: days [d] and mean x [mol/kJ], both (n, bins)."""

    days: Array
    x: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreHistory:
    """The temperature of one store for all times: logger where there is one, nominal elsewhere.

    Build it once per store with `build`; every question is then a few look-ups in running totals.
    """

    storage_c: float
    nominal_c: float
    edges: Array
    """Ends of the logged segments, (segments + 1,), [d]; empty without a logger."""
    segment_bin: npt.NDArray[np.intp]
    """Bin of each segment, (segments,)."""
    segment_x: Array
    days_before: Array
    """Running total of days per bin at each edge, (segments + 1, bins)."""
    x_days_before: Array
    gaps: tuple[tuple[float, float], ...]
    """Stretches inside the logger's record that were filled by the nominal temperature, [d]."""

    @classmethod
    def build(
        cls,
        nominal_c: float,
        storage_c: float,
        logger_day: npt.ArrayLike = (),
        logger_c: npt.ArrayLike = (),
        *,
        max_gap_days: float = MAX_GAP_DAYS,
    ) -> StoreHistory:
        """Make the history of a store.

        Parameters
        ----------
        nominal_c, storage_c : float
            Nominal temperature of the store, and storage temperature of the claim, [°C].
        logger_day, logger_c : array (points,)
            Times [d] and temperatures [°C] of a logger, in any order. Between two points the rate is
            the mean of both.
        max_gap_days : float
            A longer silence between two points counts as nominal and is listed in `gaps`, [d].

        Raises
        ------
        InputError
            Times and temperatures of different length, or one that is not finite.
        """
        day = np.asarray(logger_day, dtype=np.float64)
        temperature = np.asarray(logger_c, dtype=np.float64)
        if day.shape != temperature.shape or day.ndim != 1:
            raise InputError(
                f"a temperature record has {day.size} times and {temperature.size} temperatures, "
                "expected as many of one as of the other"
            )
        if not (np.isfinite(day).all() and np.isfinite(temperature).all()):
            raise InputError("a temperature record holds a value that is not a finite number")
        # the last word at one instant counts, as in any running log
        order = np.argsort(day, kind="stable")
        day, temperature = day[order], temperature[order]
        last = np.append(day[1:] > day[:-1], True) if day.size else np.zeros(0, dtype=bool)
        day, temperature = day[last], temperature[last]
        return cls._from_sorted(nominal_c, storage_c, day, temperature, max_gap_days=max_gap_days)

    @classmethod
    def _from_sorted(
        cls, nominal_c: float, storage_c: float, day: Array, temperature: Array, *, max_gap_days: float
    ) -> StoreHistory:
        nominal_x = float(inverse_temperature(nominal_c, storage_c))
        x = inverse_temperature(temperature, storage_c)
        length = np.diff(day)
        silent = length > max_gap_days
        segment_x = np.where(silent, nominal_x, (x[1:] + x[:-1]) / 2.0)
        segment_c = np.where(silent, nominal_c, (temperature[1:] + temperature[:-1]) / 2.0)
        number = np.floor(segment_c / BIN_WIDTH_C).astype(np.intp)
        nominal_number = int(np.floor(nominal_c / BIN_WIDTH_C))
        used, inverse = np.unique(np.append(number, nominal_number), return_inverse=True)
        segment_bin = inverse[:-1]
        steps = np.zeros((max(day.size, 1), used.size))
        x_steps = np.zeros_like(steps)
        rows = np.arange(1, day.size)
        steps[rows, segment_bin] = length
        x_steps[rows, segment_bin] = length * segment_x
        gaps = tuple((float(a), float(b)) for a, b in zip(day[:-1][silent], day[1:][silent], strict=True))
        return cls(
            storage_c=storage_c,
            nominal_c=nominal_c,
            edges=day,
            segment_bin=np.append(segment_bin, inverse[-1]),
            segment_x=np.append(segment_x, nominal_x),
            days_before=np.cumsum(steps, axis=0),
            x_days_before=np.cumsum(x_steps, axis=0),
            gaps=gaps,
        )

    def totals(self, times: npt.ArrayLike) -> tuple[Array, Array]:
        """Return days and x·days per bin from the record's first point to each time, (n, bins) both.

        Only differences of two rows mean anything; before the first point they run backwards.
        """
        t = np.asarray(times, dtype=np.float64)
        count = self.edges.size
        row = np.searchsorted(self.edges, t, side="right") - 1
        start = np.maximum(row, 0)
        # before the first edge and after the last one the store is at its nominal temperature
        outside = (row < 0) | (row >= count - 1)
        segment = np.where(outside, -1, row)
        since = t - (self.edges[start] if count else 0.0)
        days = self.days_before[start].copy()
        x_days = self.x_days_before[start].copy()
        n = np.arange(t.size)
        days[n, self.segment_bin[segment]] += since
        x_days[n, self.segment_bin[segment]] += since * self.segment_x[segment]
        return days, x_days

    def between(self, start_day: npt.ArrayLike, end_day: npt.ArrayLike) -> Exposure:
        """Return the exposure from each start to each end; days in an untouched bin are 0."""
        start, end = np.broadcast_arrays(np.atleast_1d(start_day), np.atleast_1d(end_day))
        days_0, x_days_0 = self.totals(start)
        days_1, x_days_1 = self.totals(end)
        return _exposure(days_1 - days_0, x_days_1 - x_days_0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """A stretch of a tin's life in one place: a store, or (a take-out) a fixed temperature."""

    start_day: float
    end_day: float
    history: StoreHistory | None = None
    temperature_c: float | None = None


def _exposure(days: Array, x_days: Array) -> Exposure:
    # running totals of 1e4 days leave crumbs of 1e-12; a second is 1e-5
    empty = days < 1e-9
    days = np.where(empty, 0.0, days)
    x = np.where(empty, 0.0, x_days / np.where(empty, 1.0, days))
    return Exposure(days, x)


def _one_stay(stay: Stay, reading_days: Array, storage_c: float) -> tuple[Array, Array]:
    until = np.clip(reading_days, stay.start_day, stay.end_day)
    if stay.history is not None:
        days_0, x_days_0 = stay.history.totals(np.array([stay.start_day]))
        days_1, x_days_1 = stay.history.totals(until)
        return days_1 - days_0, x_days_1 - x_days_0
    if stay.temperature_c is None:
        raise InputError("a stay has neither a store nor a temperature, expected one of them")
    days = (until - stay.start_day)[:, np.newaxis]
    return days, days * inverse_temperature(stay.temperature_c, storage_c)


def exposures(stays: Sequence[Stay], reading_days: npt.ArrayLike, storage_c: float) -> Exposure:
    """Return what one tin had been through at each of its readings.

    Parameters
    ----------
    stays : sequence of Stay
        Where the tin was, in any order, not overlapping.
    reading_days : array (n,)
        Times of the readings, on the axis of the stays, [d].
    storage_c : float
        Storage temperature of the claim, [°C].

    Returns
    -------
    Exposure
        (n, bins); bins that no reading has reached are dropped, one is always left.

    Raises
    ------
    InputError
        A stay ends before it starts, or has neither store nor temperature.

    Examples
    --------
    >>> oven = StoreHistory.build(50.0, 23.0)
    >>> tin = [Stay(start_day=0.0, end_day=7.0, history=oven),
    ...        Stay(start_day=7.0, end_day=7.5, temperature_c=23.0)]
    >>> exposures(tin, [7.0, 7.5], 23.0).days.tolist()
    [[7.0, 0.0], [7.0, 0.5]]
    """
    readings = np.asarray(reading_days, dtype=np.float64)
    totals: dict[object, tuple[Array, Array]] = {}
    for stay in stays:
        if not stay.end_day >= stay.start_day:
            raise InputError(f"a stay ends on day {stay.end_day}, before its start on day {stay.start_day}")
        key: object = stay.temperature_c if stay.history is None else id(stay.history)
        days, x_days = _one_stay(stay, readings, storage_c)
        if key in totals:
            days, x_days = totals[key][0] + days, totals[key][1] + x_days
        totals[key] = days, x_days
    if not totals:
        return Exposure(np.zeros((readings.size, 1)), np.zeros((readings.size, 1)))
    all_days = np.concatenate([d for d, _ in totals.values()], axis=1)
    all_x_days = np.concatenate([x for _, x in totals.values()], axis=1)
    touched = np.atleast_1d((all_days > 1e-9).any(axis=0))
    if not touched.any():
        touched[0] = True
    return _exposure(all_days[:, touched], all_x_days[:, touched])
