"""Exposures of tins: stores with and without a logger, take-outs, gaps."""

from __future__ import annotations

import numpy as np
import pytest

from stability.ageing.dose import dose, inverse_temperature
from stability.ageing.history import Stay, StoreHistory, exposures
from stability.errors import InputError

STORAGE_C = 23.0


def test_a_store_without_a_logger_is_at_its_nominal_temperature() -> None:
    oven = StoreHistory.build(50.0, STORAGE_C)
    e = oven.between([0.0, 3.0], [7.0, 4.5])
    assert e.days.tolist() == [[7.0], [1.5]]
    assert e.x == pytest.approx(float(inverse_temperature(50.0, STORAGE_C)))


def test_a_logger_counts_where_it_speaks_and_nominal_elsewhere() -> None:
    logged = StoreHistory.build(23.0, STORAGE_C, np.arange(0.0, 1.01, 0.1), np.full(11, 30.0))
    e = logged.between(-1.0, 2.0)
    assert e.days.sum() == pytest.approx(3.0)
    for energy in (50.0, 90.0):
        expected = 2.0 + float(dose([1.0], inverse_temperature([30.0], STORAGE_C), energy))
        assert dose(e.days, e.x, energy)[0] == pytest.approx(expected, rel=1e-12)


def test_a_long_silence_is_filled_and_told() -> None:
    store = StoreHistory.build(23.0, STORAGE_C, [0.0, 0.1, 0.2, 1.0, 1.1], [30.0] * 5)
    assert store.gaps == ((0.2, 1.0),)
    e = store.between(0.0, 1.1)
    assert sorted(e.days[0].tolist()) == pytest.approx([0.3, 0.8])


def test_points_may_come_in_any_order_and_the_last_word_of_an_instant_counts() -> None:
    a = StoreHistory.build(23.0, STORAGE_C, [0.2, 0.0, 0.1, 0.1], [25.0, 25.0, 40.0, 25.0])
    b = StoreHistory.build(23.0, STORAGE_C, [0.0, 0.1, 0.2], [25.0, 25.0, 25.0])
    assert np.array_equal(a.between(0.0, 0.2).x, b.between(0.0, 0.2).x)


def test_bins_keep_the_mean_so_that_the_dose_is_right_to_a_part_in_a_thousand() -> None:
    rng = np.random.default_rng(11)
    day = np.arange(0.0, 60.0, 1.0 / 24.0)
    temperature = 50.0 + rng.normal(0.0, 2.0, day.size)
    e = StoreHistory.build(50.0, STORAGE_C, day, temperature).between(0.0, day[-1])
    x = inverse_temperature(temperature, STORAGE_C)
    exact = (np.diff(day) * np.exp(-75.0 * (x[1:] + x[:-1]) / 2.0)).sum()
    assert dose(e.days, e.x, 75.0)[0] == pytest.approx(exact, rel=1e-3)


def test_take_outs_and_moves_add_up() -> None:
    oven, room = StoreHistory.build(50.0, STORAGE_C), StoreHistory.build(23.0, STORAGE_C)
    stays = [
        Stay(start_day=10.0, end_day=17.0, history=oven),
        Stay(start_day=17.0, end_day=17.5, temperature_c=21.0),
        Stay(start_day=17.5, end_day=24.0, history=oven),
        Stay(start_day=24.0, end_day=1e9, history=room),
    ]
    e = exposures(stays, [10.0, 17.0, 24.0, 30.0], STORAGE_C)
    assert e.days.sum(axis=1) == pytest.approx([0.0, 7.0, 14.0, 20.0])
    hot = np.isclose(e.x[3], float(inverse_temperature(50.0, STORAGE_C)))
    assert e.days[3][hot].sum() == pytest.approx(13.5)
    assert np.isfinite(e.x).all()


def test_a_reading_before_any_stay_has_no_exposure() -> None:
    e = exposures([Stay(start_day=5.0, end_day=9.0, temperature_c=40.0)], [0.0], STORAGE_C)
    assert e.days.tolist() == [[0.0]]


def test_two_and_a_half_years_of_hourly_rows_and_three_hundred_readings_agree_with_brute_force() -> None:
    rng = np.random.default_rng(5)
    day = np.arange(21_000) / 24.0
    temperature = 23.0 + rng.normal(0.0, 1.5, day.size)
    store = StoreHistory.build(23.0, STORAGE_C, day, temperature)
    times = np.sort(rng.uniform(0.0, 870.0, 300))
    e = exposures([Stay(start_day=3.3, end_day=1e4, history=store)], times, STORAGE_C)
    x = inverse_temperature(temperature, STORAGE_C)
    rate = np.exp(-75.0 * (x[1:] + x[:-1]) / 2.0)
    for k in (20, 150, 299):
        overlap = np.clip(np.minimum(day[1:], times[k]) - np.maximum(day[:-1], 3.3), 0.0, None)
        assert dose(e.days, e.x, 75.0)[k] == pytest.approx(float((overlap * rate).sum()), rel=1e-3)


@pytest.mark.parametrize(
    ("day", "temperature", "says"),
    [([0.0, 1.0], [20.0], "2 times and 1 temperatures"), ([0.0], [np.nan], "not a finite number")],
)
def test_a_broken_record_is_refused(day: list[float], temperature: list[float], says: str) -> None:
    with pytest.raises(InputError, match=says):
        StoreHistory.build(23.0, STORAGE_C, day, temperature)


@pytest.mark.parametrize(
    ("stay", "says"),
    [
        (Stay(start_day=2.0, end_day=1.0, temperature_c=20.0), "before its start"),
        (Stay(start_day=0.0, end_day=1.0), "neither a store nor a temperature"),
    ],
)
def test_an_impossible_stay_is_refused(stay: Stay, says: str) -> None:
    with pytest.raises(InputError, match=says):
        exposures([stay], [0.5], STORAGE_C)
