"""Pseudo-readings: score and information are those of the likelihood they stand for."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import log_ndtr, ndtr

from stability.ageing.censored import pseudo_readings

SIGMA = 0.02


def right(z: float) -> tuple[float, float, float, float]:
    p = pseudo_readings(np.zeros(1), np.full(1, SIGMA), np.full(1, z * SIGMA), np.full(1, np.inf))
    return float(p.residual[0]), float(p.weight[0]), float(p.loss[0]), float(p.sigma_score[0])


@given(st.floats(-8.0, 25.0))
@settings(deadline=None)
def test_right_censored_score_and_information(z: float) -> None:
    residual, weight, loss, _ = right(z)
    assert loss == pytest.approx(-2.0 * float(log_ndtr(-z)))
    h = 1e-4
    slope = (float(log_ndtr(-(z - h))) - float(log_ndtr(-(z + h)))) / (2 * h)
    assert weight * residual / SIGMA == pytest.approx(slope, rel=1e-5, abs=1e-10)
    bend = (float(log_ndtr(-(z - h))) - 2 * float(log_ndtr(-z)) + float(log_ndtr(-(z + h)))) / h**2
    assert weight == pytest.approx(-bend, rel=1e-4, abs=1e-5)


@given(st.floats(-3.0, 3.0), st.floats(0.05, 4.0))
@settings(deadline=None)
def test_interval_score_and_information(low: float, width: float) -> None:
    def ln_p(shift: float) -> float:
        return float(np.log(ndtr(low + width - shift) - ndtr(low - shift)))

    p = pseudo_readings(
        np.zeros(1), np.full(1, SIGMA), np.full(1, low * SIGMA), np.full(1, (low + width) * SIGMA)
    )
    h = 1e-3
    slope, bend = (ln_p(h) - ln_p(-h)) / (2 * h), (ln_p(h) - 2 * ln_p(0.0) + ln_p(-h)) / h**2
    assert float(p.loss[0]) == pytest.approx(-2.0 * ln_p(0.0), rel=1e-9)
    assert float(p.weight[0] * p.residual[0]) / SIGMA == pytest.approx(slope, rel=1e-4, abs=1e-5)
    assert float(p.weight[0]) == pytest.approx(-bend, rel=1e-3, abs=1e-5)


@given(st.floats(-1e6, 1e6))
def test_nothing_is_lost_far_out(z: float) -> None:
    assert np.isfinite(right(z)).all()


def test_a_curve_far_above_the_bound_hears_nothing_of_it() -> None:
    _, weight, loss, _ = right(-10.0)
    assert weight < 1e-15
    assert loss < 1e-15
