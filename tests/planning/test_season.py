"""Lives by month of filling against the printed ones of the invented scenario: none was measured."""

from __future__ import annotations

import math

import numpy as np
import pytest

from stability.demo.arms import arm
from stability.demo.truth import WAREHOUSE_C, true_life_days
from stability.planning.season import kinetic_mean_c, lives_by_month, monthly_rates, season_days

JAN, JUN, JUL, OCT, NOV = 1, 6, 7, 10, 11
PRINTED = {
    ("A5", 1.0): (198, 174, 151, 131, 115, 112, 140, 233, 261, 257, 243, 222),
    ("A5", 1.22): (180, 157, 133, 113, 96, 87, 95, 164, 229, 234, 223, 203),
}


def rates_of(key: str, factor: float = 1.0) -> tuple[float, ...]:
    """Return the true cost of a day of each month: the arm's two paths together, against 23 °C."""
    terms = arm(key).kinetics.terms
    at = lambda celsius: sum(float(term.rate(np.array([celsius]))[0]) for term in terms)  # noqa: E731
    return tuple(factor * at(mean) / at(23.0) for mean in WAREHOUSE_C)


@pytest.mark.parametrize(("key", "factor"), PRINTED)
def test_lives_by_month_of_filling_are_those_printed(key, factor):
    life = true_life_days(key, 23.0)
    lives = [season_days(life, rates_of(key, factor), month) for month in range(1, 13)]
    assert lives == pytest.approx(PRINTED[key, factor], abs=3.0)


@pytest.mark.parametrize(
    ("key", "month", "ratio", "factor", "days"),
    [
        ("A5", JUL, 1.5, 1.22, 48),
        ("A5", NOV, 1.5, 1.22, 170),
        ("A6", JUN, 2.0, 1.0, 73),
        ("A6", OCT, 2.0, 1.0, 186),
    ],
)
def test_single_answers_are_those_printed(key, month, ratio, factor, days):
    life = true_life_days(key, 23.0, ratio)
    assert season_days(life, rates_of(key, factor), month) == pytest.approx(days, abs=3.0)


@pytest.mark.parametrize(("month", "days"), [(JUN, 64), (OCT, 215)])
def test_the_old_drum_runs_away_by_season_too(month, days):
    # one energy for all of it: 78 kJ/mol, 265 d at 23 °C
    lives = lives_by_month(true_life_days("A7", 23.0), WAREHOUSE_C, storage_c=23.0, energies_kj_mol=[78.0])
    assert lives[month - 1] == pytest.approx(days, abs=3.0)


def test_the_sentinel_outlasts_a_year_even_to_twenty_per_cent():
    lives = lives_by_month(
        true_life_days("A2", 23.0, 1.2), WAREHOUSE_C, storage_c=23.0, energies_kj_mol=[64.0]
    )
    assert (min(lives), max(lives)) == pytest.approx((407, 515), abs=4.0)


def test_the_yearly_kinetic_mean_is_that_printed():
    assert kinetic_mean_c(WAREHOUSE_C, 72.0) == pytest.approx(30.5, abs=0.1)


def test_a_warehouse_at_the_storage_temperature_costs_a_day_a_day():
    assert monthly_rates([23.0] * 12, storage_c=23.0, energy_kj_mol=72.0) == pytest.approx([1.0] * 12)
    assert season_days(200.0, [1.0] * 12, JAN) == pytest.approx(200.0)


@pytest.mark.parametrize(("mean_c", "worst"), [(13.0, 60.0), (33.0, 80.0)])
def test_of_several_energies_the_worst_counts_colder_and_warmer_than_the_storage_temperature(mean_c, worst):
    both, alone = (
        lives_by_month(300.0, [mean_c] * 12, storage_c=23.0, energies_kj_mol=energies)
        for energies in ([60.0, 80.0], [worst])
    )
    assert both == alone


def test_what_lasts_longer_than_twenty_years_has_no_number():
    assert season_days(math.inf, [1.0] * 12, JAN) is None
