"""Linear least squares in a batch: weights, padding, columns that say nothing, and what is left over."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from stability.ageing.least_squares import least_squares


def line(x: list[float]) -> np.ndarray:
    return np.column_stack([np.ones(len(x)), x])[np.newaxis]


def test_weights_are_the_same_as_repeated_readings() -> None:
    x, y = [0.0, 1.0, 3.0, 3.0, 7.0, 7.0, 7.0], [1.0, 2.5, 4.0, 4.0, 9.0, 9.0, 9.0]
    repeated = least_squares(line(x), np.array([y]))
    weighted = least_squares(
        line([0.0, 1.0, 3.0, 7.0]), np.array([[1.0, 2.5, 4.0, 9.0]]), np.array([[1.0, 1.0, 2.0, 3.0]])
    )
    assert weighted.coefficients == pytest.approx(repeated.coefficients, rel=1e-14)
    assert weighted.unscaled_covariance == pytest.approx(repeated.unscaled_covariance, rel=1e-13)
    assert weighted.sum_squares == pytest.approx(repeated.sum_squares, rel=1e-13)
    # a weight says how much is known of a reading, not how many there are
    assert (weighted.df, repeated.df) == (2, 5)


def test_a_reading_of_weight_0_changes_nothing_and_has_its_residual_all_the_same() -> None:
    three = least_squares(line([0.0, 1.0, 2.0]), np.array([[0.0, 1.1, 1.9]]))
    four = least_squares(
        line([0.0, 1.0, 2.0, 5.0]), np.array([[0.0, 1.1, 1.9, 50.0]]), np.array([[1.0, 1.0, 1.0, 0.0]])
    )
    assert four.coefficients == pytest.approx(three.coefficients, rel=1e-14)
    assert four.df == three.df == 1
    expected = 50.0 - four.coefficients[0] @ [1.0, 5.0]
    assert four.residual[0, 3] == pytest.approx(expected, rel=1e-14)


def test_a_column_that_repeats_those_before_it_is_left_out_and_marked() -> None:
    x = np.array([0.0, 1.0, 2.0, 4.0])
    design = np.column_stack([np.ones(4), x, 3.0 - 2.0 * x, x**2])[np.newaxis]
    y = (1.0 + x - 0.5 * x**2)[np.newaxis]
    fit = least_squares(design, y)
    assert fit.determined.tolist() == [[True, True, False, True]]
    assert fit.coefficients[0] == pytest.approx([1.0, 1.0, 0.0, -0.5], abs=1e-14)
    assert fit.df == 1
    assert fit.standard_deviations[0, 2] == np.inf


def test_one_age_gives_a_level_and_no_slope() -> None:
    fit = least_squares(line([5.0, 5.0, 5.0]), np.array([[1.0, 2.0, 3.0]]))
    assert fit.determined.tolist() == [[True, False]]
    assert fit.coefficients[0] == pytest.approx([2.0, 0.0], abs=1e-15)
    assert fit.variance[0] == pytest.approx(1.0)


def test_no_freedom_left_is_an_infinite_spread_and_never_nan() -> None:
    fit = least_squares(line([0.0, 1.0]), np.array([[1.0, 2.0]]))
    assert fit.df == 0
    assert fit.variance[0] == np.inf
    assert (fit.standard_deviations == np.inf).all()


def test_fewer_readings_than_columns_leave_the_last_columns_out() -> None:
    fit = least_squares(np.ones((1, 1, 3)), np.array([[4.0]]))
    assert fit.determined.tolist() == [[True, False, False]]
    assert fit.coefficients.tolist() == [[4.0, 0.0, 0.0]]


def test_a_large_left_over_costs_no_digits() -> None:
    # solved in fractions: an age far from 0, noise a thousand million times the slope
    x = [1000.0, 1001.0, 1002.0, 1003.0, 1004.0]
    y = [1e9, -1e9, 3.0, 2e9, -2e9 + 1.0]
    n, sx, sy = 5, sum(map(Fraction, x)), sum(map(Fraction, y))
    sxx = sum(Fraction(v) ** 2 for v in x)
    sxy = sum(Fraction(a) * Fraction(b) for a, b in zip(x, y, strict=True))
    slope = (n * sxy - sx * sy) / (n * sxx - sx**2)
    level = (sy - slope * sx) / n
    fit = least_squares(line(x), np.array([y]))
    assert fit.coefficients[0] == pytest.approx([float(level), float(slope)], rel=1e-15)


def test_units_of_a_column_do_not_matter() -> None:
    generator = np.random.default_rng(11)
    design = generator.normal(size=(1, 30, 3))
    target = generator.normal(size=(1, 30))
    units = np.array([1e-9, 1.0, 1e12])
    plain, scaled = least_squares(design, target), least_squares(design * units, target)
    assert scaled.coefficients * units == pytest.approx(plain.coefficients, rel=1e-12)
    assert scaled.standard_deviations * units == pytest.approx(plain.standard_deviations, rel=1e-12)


def test_a_problem_alone_is_the_problem_among_many() -> None:
    generator = np.random.default_rng(12)
    design = generator.normal(size=(200, 25, 4)) ** 3
    target, weight = generator.normal(size=(200, 25)), generator.uniform(size=(200, 25))
    many = least_squares(design, target, weight)
    for row in (0, 77, 199):
        alone = least_squares(design[[row]], target[[row]], weight[[row]])
        assert alone.coefficients[0] == pytest.approx(many.coefficients[row], rel=1e-12, abs=0.0)
        assert alone.root[0] == pytest.approx(many.root[row], rel=1e-12, abs=1e-15)
