"""Mean kinetic temperature, ASTM F1980 and Q10 against printed and recomputed values.

Sources named per row; "recomputed" means calculated afresh from the formula with R = 8.314462618 J/(mol·K).
"""

from __future__ import annotations

import math

import pytest

from stability.ageing.dose import acceleration, mean_kinetic_temperature, q10_factor
from stability.errors import InputError


@pytest.mark.parametrize(
    ("days", "temperatures", "energy", "expected", "digits"),
    [
        ([1] * 52, [25.0] * 52, 83.144, 25.0, 3),  # USP <1160>, example 1: 52 weekly means of 25 °C
        ([2, 4, 1], [20.0, 2.0, 25.0], 83.144, 15.7, 1),  # question page of a cold-chain monitoring firm
        ([2, 4, 1], [20.0, 2.0, 25.0], 83.144, 15.6775, 3),  # recomputed
        ([2, 4, 1], [20.0, 2.0, 25.0], 60.0, 14.3371, 4),  # recomputed
        ([2, 4, 1], [20.0, 2.0, 25.0], 100.0, 16.4987, 4),  # recomputed
        ([1] * 7, [2, 2, 5, 8, 8, 8, 8], 83.144, 6.25, 2),  # worked example on the web, seen once
        ([1] * 5, [4, 4, 4, 4, 16], 83.144, 8.1088, 3),  # recomputed
        ([1, 1], [20.0, 30.0], 83.144, 26.2599, 4),  # recomputed
        ([1, 1], [20.0, 30.0], 50.0, 25.748, 3),  # recomputed
        ([1, 1], [20.0, 30.0], 120.0, 26.767, 3),  # recomputed
        ([1, 1], [15.0, 35.0], 83.144, 29.4685, 3),  # recomputed
        ([29, 1], [25.0, 40.0], 83.144, 26.1130, 3),  # recomputed
        ([27, 3], [23.0, 40.0], 83.144, 26.7498, 3),  # recomputed
        ([1] * 12, [5, 7, 11, 15, 20, 24, 27, 26, 21, 15, 9, 6], 83.144, 18.5757, 3),  # recomputed
    ],
)
def test_mean_kinetic_temperature(
    days: list[float], temperatures: list[float], energy: float, expected: float, digits: int
) -> None:
    got = mean_kinetic_temperature(days, temperatures, energy)
    assert got == pytest.approx(expected, abs=0.6 * 10.0**-digits)


@pytest.mark.parametrize(
    ("hot", "room", "q10", "factor", "days_for_a_year"),
    [
        (55, 25, 2.0, 8.0000, 45.625),  # ASTM F1980, as packaging laboratories print it
        (55, 22, 2.0, 9.8492, 37.06),  # the rest recomputed
        (55, 23, 2.0, 9.1896, 39.72),
        (60, 22, 2.0, 13.9288, 26.20),
        (60, 25, 2.0, 11.3137, 32.26),
        (50, 23, 2.0, 6.4980, 56.17),
        (50, 25, 2.0, 5.6569, 64.52),
        (40, 23, 2.0, 3.2490, 112.34),
        (40, 25, 2.0, 2.8284, 129.05),
        (55, 25, 2.5, 15.625, 23.36),
        (55, 25, 1.8, 5.832, 62.59),
    ],
)
def test_q10_factor(hot: float, room: float, q10: float, factor: float, days_for_a_year: float) -> None:
    assert q10_factor(hot, room, q10) == pytest.approx(factor, rel=1e-5)
    assert 365.0 / q10_factor(hot, room, q10) == pytest.approx(days_for_a_year, abs=0.006)


@pytest.mark.parametrize(
    ("energy", "hot", "room", "factor"),
    [  # recomputed from exp(−(E/R)(1/T − 1/T_s)), 0 °C = 273.15 K
        (80.0, 40, 23, 5.834),
        (80.0, 50, 23, 15.098),
        (80.0, 60, 23, 36.904),
        (80.0, 40, 25, 4.692),
        (80.0, 50, 25, 12.142),
        (83.144, 40, 23, 6.253),
        (83.144, 50, 23, 16.798),
        (83.144, 60, 23, 42.527),
        (83.144, 40, 25, 4.986),
        (83.144, 50, 25, 13.393),
        (100.0, 40, 23, 9.068),
        (100.0, 50, 23, 29.762),
        (100.0, 60, 23, 90.959),
        (50.0, 35, 25, 1.9243),
        (83.144, 35, 25, 2.9696),
        (120.0, 35, 25, 4.811),
    ],
)
def test_acceleration(energy: float, hot: float, room: float, factor: float) -> None:
    assert float(acceleration(hot, room, energy)) == pytest.approx(factor, rel=1.2e-4)


@pytest.mark.parametrize(("room", "energy"), [(20, 51.216), (25, 52.949), (30, 54.710), (40, 58.320)])
def test_the_energy_that_makes_q10_two_depends_on_where_one_stands(room: float, energy: float) -> None:
    assert float(acceleration(room + 10.0, room, energy)) == pytest.approx(2.0, rel=2e-5)


def test_a_cold_history_does_not_underflow() -> None:
    assert mean_kinetic_temperature([1.0, 1.0], [-200.0, -190.0], 500.0) == pytest.approx(-190.08, abs=0.05)
    assert math.isfinite(mean_kinetic_temperature([1.0], [-250.0]))


@pytest.mark.parametrize(("days", "energy"), [([0.0], 80.0), ([-1.0], 80.0), ([], 80.0), ([1.0], 0.0)])
def test_a_history_without_time_or_energy_is_refused(days: list[float], energy: float) -> None:
    with pytest.raises(InputError, match=r"expected a positive number|durations of 0 or more"):
        mean_kinetic_temperature(days, [20.0] * len(days), energy)
