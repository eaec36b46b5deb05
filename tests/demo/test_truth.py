"""The generator against the printed numbers of its own scenario.

Every number here belongs to the invented scenario of the demo. None was measured, none describes a product.
"""

from __future__ import annotations

import math

import pytest

from stability.demo.truth import (
    annual_kinetic_mean_c,
    fault_cost_days,
    gel_days,
    noise_free,
    noise_free_viscosity,
    season_life_days,
    true_life_days,
)

ANCHORS = {
    ("A2", "OVN-50"): {
        0: 310, 7: 313, 14: 317, 21: 322, 28: 326, 35: 330, 42: 334, 49: 338, 56: 342,
    },
    ("A2", "ROOM-23"): {0: 310, 56: 314, 112: 318, 168: 322},
    ("A5", "ROOM-23"): {0: 320, 28: 337, 56: 356, 84: 375, 112: 396, 140: 418, 168: 440},
    ("A5", "OVN-40"): {0: 320, 28: 399, 56: 500, 84: 645, 112: 824, 140: 1039, 168: 1310},
    ("A5", "OVN-50"): {
        0: 320, 3: 335, 7: 357, 14: 403, 21: 481, 28: 544, 35: 615, 42: 695, 49: 786, 56: 889,
    },
    ("A5", "OVN-60"): {0: 320, 1: 323, 3: 339, 7: 392, 10: 431, 14: 496, 21: 654, 28: 861},
    ("A6", "ROOM-23"): {0: 320, 56: 389, 112: 474, 168: 576},
    ("A7", "OVN-50"): {0: 240, 3: 245, 7: 256, 14: 300},
    ("A7", "OVN-40"): {0: 240, 28: 286, 42: 363},
    ("A7", "ROOM-23"): {0: 240, 56: 251, 112: 269, 168: 303},
    ("A7", "OVN-60"): {0: 240, 3: 248, 7: 291, 10: 372},
    ("A8", "OVN-50"): {0: 245, 42: 245, 49: 283, 56: 341},
    ("A8", "OVN-40"): {0: 245, 70: 245, 84: 294, 112: 422, 140: 592, 168: 832},
}  # fmt: skip
"""Noise-free 23 °C viscosities by blend, store and day, [mPa·s]; good to 2 %."""

NEAR_GEL = {
    ("A7", "OVN-50", 21): 0.78,
    ("A7", "OVN-50", 28): 1.01,
    ("A7", "OVN-50", 35): 1.24,
    ("A7", "OVN-40", 70): 0.985,
    ("A7", "ROOM-23", 168): 0.44,
}
"""Share of the way to the gel, good to 0.015."""

LIVES = {
    "A1": ((1140, 2534, 4332), (637, 1417, 2422), (290, 646, 1104), (139, 309, 528)),
    "A2": ((829, 1843, 3151), (455, 1011, 1729), (202, 450, 768), (94, 210, 359)),
    "A5": ((96, 213, 365), (52, 115, 196), (21, 48, 82), (9, 20, 35)),
    "A6": ((52, 116, 198), (32, 70, 120), (15, 34, 58), (7, 16, 28)),
    "A7": ((147, 217, 265), (71, 104, 128), (26, 39, 48), (10, 15, 19)),
    "A9": ((228, 507, 866), (118, 263, 449), (49, 108, 185), (21, 47, 81)),
    "A10": ((456, 1014, 1733), (245, 546, 933), (106, 237, 404), (49, 108, 185)),
    "A11": ((174, 386, 660), (93, 207, 354), (39, 86, 147), (17, 37, 63)),
}
"""Isothermal days of an unopened tin to +20 %, +50 % and 2 × at 23, 30, 40 and 50 °C."""

SEASONS = {
    ("A5", 2.0, 1.0): (198, 174, 151, 131, 115, 112, 140, 233, 261, 257, 243, 222),
    ("A5", 2.0, 1.22): (180, 157, 133, 113, 96, 87, 95, 164, 229, 234, 223, 203),
}
"""Days to a ratio by month of filling, January to December; the lot's factor last in the key."""


def _rows() -> list[tuple[str, str, int, int]]:
    return [(key, store, day, mpas) for (key, store), row in ANCHORS.items() for day, mpas in row.items()]


@pytest.mark.parametrize(("key", "store", "day", "mpas"), _rows())
def test_noise_free_viscosities_are_those_of_the_scenario(key, store, day, mpas):
    assert noise_free_viscosity(key, store, day) == pytest.approx(mpas, rel=0.02)


@pytest.mark.parametrize(("key", "store", "day", "share"), [(*cell, u) for cell, u in NEAR_GEL.items()])
def test_the_way_to_the_gel_is_that_of_the_scenario(key, store, day, share):
    assert noise_free(key, store, day).gel_share[0] == pytest.approx(share, abs=0.015)


@pytest.mark.parametrize(("store", "day"), [("OVN-50", 28), ("OVN-50", 35), ("OVN-40", 84), ("OVN-60", 21)])
def test_the_old_drum_is_a_gel_from_these_days_on(store, day):
    assert math.isinf(noise_free_viscosity("A7", store, day))


@pytest.mark.parametrize(("day", "mpas"), [(21, 663), (28, math.inf)])
def test_the_old_drum_runs_away_at_fifty_degrees(day, mpas):
    assert noise_free_viscosity("A7", "OVN-50", day) == pytest.approx(mpas, rel=0.02)


@pytest.mark.parametrize("key", LIVES)
def test_isothermal_lives_are_those_of_the_scenario(key):
    for temperature_c, row in zip((23.0, 30.0, 40.0, 50.0), LIVES[key], strict=True):
        for ratio, days in zip((1.2, 1.5, 2.0), row, strict=True):
            assert true_life_days(key, temperature_c, ratio) == pytest.approx(days, abs=1.0)


def test_the_scavenged_blend_lives_through_its_lag_and_then_doubles():
    lives = [true_life_days("A8", celsius) for celsius in (23.0, 30.0, 40.0, 50.0)]
    assert lives == pytest.approx([469, 263, 124, 63], abs=1.0)


def test_only_the_old_drum_has_a_gel_point_and_it_comes_on_these_days():
    assert [gel_days("A7", c) for c in (23.0, 30.0, 40.0, 50.0)] == pytest.approx([381, 183, 68, 27], abs=1.0)
    assert gel_days("A5", 23.0) is None


def test_the_glycol_ether_falls_first_and_then_outlives_all_in_viscosity():
    assert noise_free_viscosity("A4", "ROOM-23", 7) < 330.0
    assert true_life_days("A4", 23.0) > true_life_days("A1", 23.0)


@pytest.mark.parametrize("lot", SEASONS)
def test_lives_by_month_of_filling_are_those_of_the_scenario(lot):
    key, ratio, factor = lot
    lives = [season_life_days(key, month, ratio, factor) for month in range(1, 13)]
    assert lives == pytest.approx(SEASONS[lot], abs=3.0)


@pytest.mark.parametrize(
    ("key", "month", "ratio", "factor", "days"),
    [
        ("A5", 7, 1.5, 1.22, 48),
        ("A5", 11, 1.5, 1.22, 170),
        ("A6", 6, 2.0, 1.0, 73),
        ("A6", 10, 2.0, 1.0, 186),
        ("A7", 6, 2.0, 1.0, 64),
        ("A7", 10, 2.0, 1.0, 215),
    ],
)
def test_single_season_answers_are_those_of_the_scenario(key, month, ratio, factor, days):
    assert season_life_days(key, month, ratio, factor) == pytest.approx(days, abs=3.0)


def test_the_sentinel_outlasts_a_year_of_the_warehouse_even_to_twenty_per_cent():
    lives = [season_life_days("A2", month, 1.2) for month in range(1, 13)]
    assert (min(lives), max(lives)) == pytest.approx((407, 515), abs=4.0)


def test_one_yearly_mean_hides_the_season():
    mean_c = annual_kinetic_mean_c(72.0)
    assert mean_c == pytest.approx(30.5, abs=0.1)
    assert true_life_days("A5", mean_c) == pytest.approx(187, abs=1.0)


def test_the_oven_fault_costs_each_blend_its_own_days():
    # printed as +2.5 d (A2) to +3.3 d (A7); the arithmetic for A2 alone gives 2.4
    assert fault_cost_days("A2") == pytest.approx(2.5, abs=0.15)
    assert fault_cost_days("A7") == pytest.approx(3.3, abs=0.05)
    assert fault_cost_days("A2") < fault_cost_days("A5") < fault_cost_days("A7")
