"""The kinetics of the demo against closed forms at constant temperature."""

from __future__ import annotations

import numpy as np
import pytest

from stability.demo.arms import arm
from stability.demo.cure import drying_factor
from stability.demo.history import path
from stability.demo.kinetics import Autocatalytic, Growth, Lagged, Path, Term, age


def _constant(celsius: float, days: int) -> Path:
    return Path(np.arange(days + 1.0), np.full(days, celsius))


def test_a_rate_holds_at_its_own_temperature():
    assert Term(0.01, 70.0, at_c=50.0).rate(np.array([50.0])) == pytest.approx(0.01)


def test_steady_growth_is_the_sum_of_its_terms():
    grown = age(Growth((Term(1e-3, 60.0), Term(2e-3, 30.0))), _constant(23.0, 100), np.array([0.0, 50.0]))
    assert grown.ln_ratio == pytest.approx([0.0, 0.15])


def test_a_start_that_falls_ends_at_its_full_fall():
    grown = age(Growth((Term(1e-9, 60.0),), fall=0.04), _constant(23.0, 100), np.array([0.0, 4.0, 100.0]))
    assert np.exp(grown.ln_ratio) == pytest.approx([1.0, 1 - 0.04 * (1 - np.exp(-1)), 0.96], abs=1e-6)


def test_nothing_grows_before_the_lag_is_over_even_inside_a_step():
    lagged = Lagged(Term(1 / 10.5, 45.0, at_c=50.0), Term(0.03, 74.0, at_c=50.0))
    grown = age(lagged, _constant(50.0, 20), np.array([10.0, 11.0, 20.0]))
    assert grown.ln_ratio == pytest.approx([0.0, 0.03 * 0.5, 0.03 * 9.5])


def test_a_run_away_is_infinite_from_the_gel_point_on():
    run_away = Autocatalytic(Term(0.1, 78.0, at_c=50.0))
    grown = age(run_away, _constant(50.0, 20), np.array([5.0, 9.99, 10.01, 15.0]))
    assert np.all(np.isfinite(grown.ln_ratio[:2]))
    assert np.all(np.isinf(grown.ln_ratio[2:]))
    assert grown.gel_share == pytest.approx([0.5, 0.999, 1.001, 1.5])


def test_a_tin_on_the_bench_ages_at_room_temperature():
    lived = path(np.full(240, 50.0), 0.0, 10.0, [(2.25, 3.75)])
    warm = np.where(lived.temperature_c == 50.0, np.diff(lived.edges_days), 0.0).sum()
    assert warm == pytest.approx(8.5)
    assert set(lived.temperature_c) == {23.0, 50.0}


def test_the_glycol_ether_cures_slower_while_its_viscosity_stands():
    days = np.array([28.0, 56.0, 112.0, 168.0])
    slower = drying_factor(arm("A4").drying, _constant(23.0, 168), days, np.zeros(4))
    assert slower == pytest.approx([1.24, 1.43, 1.67, 1.81], abs=0.006)


def test_the_oven_hides_the_loss_of_amine():
    room = drying_factor(arm("A5").drying, _constant(23.0, 168), np.array([168.0]), np.zeros(1))
    oven = drying_factor(arm("A5").drying, _constant(50.0, 35), np.array([35.0]), np.zeros(1))
    assert room == pytest.approx(1.25, abs=0.01)
    assert oven == pytest.approx(1.10, abs=0.01)
