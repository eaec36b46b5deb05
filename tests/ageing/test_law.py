"""The growth law: values against 50-digit arithmetic, inverse, limits, gradients, continuation."""

from __future__ import annotations

import math
from decimal import Decimal, getcontext

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from stability.ageing.law import gel_life_used, life_used_at, log_growth, log_growth_and_gradients

getcontext().prec = 60
LN2 = math.log(2.0)
NEAR_ZERO = [0.0, 1e-300, 1e-18, -1e-12, 1e-9, -1e-6, 1e-4, -1e-3]

shape_m = st.floats(-3.0, 3.0) | st.sampled_from(NEAR_ZERO)
shape_b = st.floats(-3.0, 8.0) | st.sampled_from(NEAR_ZERO)
ln_limits = st.floats(0.05, 3.0)
shares = st.floats(1e-3, 3.0)


def exact(s: float, m: float, b: float, ln_limit: float) -> Decimal | None:
    """The law in 60 digits, straight from its definition; None at or beyond the gel point."""
    s_, m_, b_, l_ = (Decimal(v) for v in (s, m, b, ln_limit))
    phi = s_ if b_ == 0 else ((b_ * s_).exp() - 1) / (b_.exp() - 1)
    if m_ == 0:
        return l_ * phi
    inside = 1 - (1 - (-m_ * l_).exp()) * phi
    return None if inside <= 0 else -inside.ln() / m_


@given(shares, shape_m, shape_b, ln_limits)
@settings(max_examples=400, deadline=None)
def test_value_is_right_to_ten_digits_up_to_ten_thousandfold(
    s: float, m: float, b: float, ln_l: float
) -> None:
    assume(abs(m) > 1e-20 or m == 0.0)  # below, 60 digits do not resolve the definition
    assume(abs(b) > 1e-20 or b == 0.0)
    true = exact(s, m, b, ln_l)
    assume(true is not None and float(true) < math.log(1e4))
    got = float(log_growth(s, m, b, ln_l))
    # close to the gel point the last bit of s itself moves ln η: that much no program can tell
    steepness = float(log_growth_and_gradients(s, m, b, ln_l).by_life_used) * s
    assert abs(got - float(true)) <= 1e-10 * float(true) + 16.0 * 2.3e-16 * steepness


@given(st.floats(1e-3, 8.0), shape_m, shape_b, ln_limits)
@settings(max_examples=300, deadline=None)
def test_inverse_undoes_the_law(growth: float, m: float, b: float, ln_l: float) -> None:
    s = float(life_used_at(growth, m, b, ln_l))
    assume(math.isfinite(s))
    g = log_growth_and_gradients(s, m, b, ln_l)
    assume(float(g.by_life_used) > 1e-9)
    assert abs(float(g.value) - growth) <= 1e-9 * growth + 32.0 * 2.3e-16 * s * float(g.by_life_used)


@given(shape_m, shape_b, ln_limits)
def test_all_of_life_used_is_the_limit(m: float, b: float, ln_l: float) -> None:
    assert float(log_growth(1.0, m, b, ln_l)) == pytest.approx(ln_l, rel=1e-11)
    assert float(life_used_at(ln_l, m, b, ln_l)) == pytest.approx(1.0, rel=1e-11)


@given(st.lists(st.floats(0.0, 6.0), min_size=2, max_size=20, unique=True), shape_m, shape_b, ln_limits)
def test_growth_never_falls_and_is_never_nan(s: list[float], m: float, b: float, ln_l: float) -> None:
    values = log_growth(np.sort(s), m, b, ln_l)
    assert np.isfinite(values).all()
    assert (np.diff(values) >= -1e-12 * np.abs(values[1:])).all()


@given(st.floats(0.0, 1e6), shape_m, shape_b, st.floats(1e-6, 12.0))
def test_no_trial_step_gives_nan(s: float, m: float, b: float, ln_l: float) -> None:
    g = log_growth_and_gradients(s, m, b, ln_l)
    for part in (g.value, g.by_life_used, g.by_m, g.by_b, g.by_ln_limit):
        assert np.isfinite(part).all()


@pytest.mark.parametrize("name", ["by_life_used", "by_m", "by_b", "by_ln_limit"])
@given(st.floats(0.02, 2.5), shape_m, shape_b, ln_limits)
@settings(max_examples=150, deadline=None)
def test_gradients_are_those_of_the_value(name: str, s: float, m: float, b: float, ln_l: float) -> None:
    point = [s, m, b, ln_l]
    k = ["by_life_used", "by_m", "by_b", "by_ln_limit"].index(name)
    g = log_growth_and_gradients(*point)
    # a stretch where the curve is too steep for differences of doubles is covered by the exact law above
    assume(float(g.by_life_used) < 1e3)
    sides, h = [], 1e-5
    for sign in (2, 1, -1, -2):
        moved = point.copy()
        moved[k] += sign * h
        sides.append(log_growth_and_gradients(*moved))
    slopes = [float(getattr(side, name)) for side in sides]
    value = [float(side.value) for side in sides]
    # across the seam to the straight piece the second derivative jumps: differences straddle it
    assume(max(slopes) - min(slopes) < 0.05 * (1.0 + abs(slopes[0])))
    difference = (-value[0] + 8 * value[1] - 8 * value[2] + value[3]) / (12 * h)
    expected = float(getattr(g, name))
    assert difference == pytest.approx(expected, rel=2e-5, abs=1e-7 * (1.0 + float(g.value)))


@given(st.floats(-2.9, 1.5), st.floats(-2.9, 7.9), ln_limits)
def test_value_and_slopes_meet_where_the_curve_goes_on_straight(m: float, b: float, ln_l: float) -> None:
    end = float(life_used_at(math.log(1e4), m, b, ln_l))
    assume(math.isfinite(end) and end < 1e3)
    below = log_growth_and_gradients(end * (1.0 - 1e-13), m, b, ln_l)
    above = log_growth_and_gradients(end * (1.0 + 1e-13), m, b, ln_l)
    assert float(below.value) == pytest.approx(float(above.value), rel=1e-6)
    # above m = 1.5 the distance to the gel point drowns in the rounding of s itself
    for name in ("by_life_used", "by_m", "by_b", "by_ln_limit"):
        assert float(getattr(below, name)) == pytest.approx(float(getattr(above, name)), rel=1e-4), name


@pytest.mark.parametrize(
    ("m", "b", "ln_limit", "expected"),
    [
        (1.0, 0.0, LN2, 2.0),  # 1/(1 − ½): the straight line in 1/η
        (0.5, 0.0, LN2, 1.0 / (1.0 - 2.0**-0.5)),
        (0.5, 3.0, LN2, math.log(1.0 + math.expm1(3.0) / (1.0 - 2.0**-0.5)) / 3.0),
        (0.0, 5.0, LN2, math.inf),
        (-1.0, 3.0, LN2, math.inf),
        (1.0, -0.8, LN2, math.inf),  # b ≤ −m·ln L: levels off before it diverges
    ],
)
def test_gel_point(m: float, b: float, ln_limit: float, expected: float) -> None:
    assert float(gel_life_used(m, b, ln_limit)) == pytest.approx(expected, rel=1e-12)


def test_a_levelling_curve_never_reaches_a_far_limit() -> None:
    # b = −3: φ stays below 1/(1 − e⁻³) = 1.052, so ln η below 1.052·ln 2
    assert math.isinf(float(life_used_at(1.1 * LN2, 0.0, -3.0, LN2)))
    assert math.isfinite(float(life_used_at(1.04 * LN2, 0.0, -3.0, LN2)))


def test_shapes_of_the_table() -> None:
    s = np.linspace(0.0, 1.5, 7)
    assert log_growth(s, 0.0, 0.0, LN2) == pytest.approx(LN2 * s)
    assert np.exp(log_growth(s, -1.0, 0.0, LN2)) == pytest.approx(1.0 + s)
    assert np.exp(-log_growth(s, 1.0, 0.0, LN2)) == pytest.approx(1.0 - s / 2.0)


def test_one_call_serves_many_blends() -> None:
    s = np.array([[0.1, 0.5, 1.0], [0.2, 0.7, 1.2]])
    m, b = np.array([[0.3], [-1.0]]), np.array([[0.0], [2.0]])
    both = log_growth_and_gradients(s, m, b, LN2)
    for row in range(2):
        one = log_growth_and_gradients(s[row], m[row, 0], b[row, 0], LN2)
        assert np.array_equal(both.value[row], one.value)
        assert np.array_equal(both.by_m[row], one.by_m)
