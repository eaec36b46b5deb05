"""Linear least squares against the certified values of NIST's linear regression sets (source: NIST StRD).

All nine sets stand in one batch, padded to one shape. A log relative error (LRE) is the number of correct
digits; where 0 is certified it is that of the distance from 0. Filip is a polynomial of degree 10: the powers
of x as doubles already cost it all but 7 to 8 digits.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from stability.ageing.least_squares import LeastSquares, least_squares
from tests.published.nist.sets import log_relative_error, read_linear

NAMES = ["Filip", "Longley", "Norris", "Pontius", *(f"Wampler{k}" for k in range(1, 6))]
PROBLEMS = {name: read_linear(name) for name in NAMES}
LEAST_DIGITS = {"Filip": 7.0, "Longley": 12.0, "Norris": 13.0, "Pontius": 13.0, "Wampler2": 12.5}
"""What is asked of the coefficients; Wampler1 and 3 to 5 are whole numbers throughout and come out exact."""


Padded = tuple[np.ndarray, np.ndarray, np.ndarray]


@cache
def padded() -> Padded:
    """Designs, targets and weights of all sets, in one shape."""
    readings = max(p.y.size for p in PROBLEMS.values())
    columns = max(p.certified.size for p in PROBLEMS.values())
    design = np.zeros((len(NAMES), readings, columns))
    target, weight = np.zeros((len(NAMES), readings)), np.zeros((len(NAMES), readings))
    for row, name in enumerate(NAMES):
        problem = PROBLEMS[name]
        n, p = problem.design.shape
        design[row, :n, :p], target[row, :n], weight[row, :n] = problem.design, problem.y, 1.0
    return design, target, weight


@cache
def together() -> LeastSquares:
    return least_squares(*padded())


@pytest.mark.parametrize("name", NAMES)
def test_coefficients_have_the_certified_digits(name: str) -> None:
    row, certified = NAMES.index(name), PROBLEMS[name].certified
    found = together().coefficients[row, : certified.size]
    assert log_relative_error(found, certified) >= LEAST_DIGITS.get(name, 15.0)


@pytest.mark.parametrize("name", NAMES)
def test_standard_deviations_have_the_certified_digits(name: str) -> None:
    row, problem, fits = NAMES.index(name), PROBLEMS[name], together()
    assert fits.df[row] == len(problem.y) - problem.certified.size
    assert fits.determined[row].tolist() == [
        k < problem.certified.size for k in range(fits.determined.shape[1])
    ]
    found = fits.standard_deviations[row, : problem.certified.size]
    least = 8.0 if name == "Filip" else 12.0
    assert log_relative_error(found, problem.standard_deviations) >= least
    assert log_relative_error(np.sqrt(fits.variance[row]), np.array(problem.residual_sd)) >= least


@pytest.mark.parametrize("row", range(len(NAMES)), ids=NAMES)
def test_a_problem_alone_is_the_problem_among_many(row: int) -> None:
    design, target, weight = (array[row : row + 1] for array in padded())
    alone, among = least_squares(design, target, weight), together()
    assert alone.coefficients[0] == pytest.approx(among.coefficients[row], rel=1e-12, abs=0.0)
    assert alone.standard_deviations[0] == pytest.approx(among.standard_deviations[row], rel=1e-12, abs=0.0)


@pytest.mark.parametrize("name", [name for name in NAMES if name != "Filip"])
def test_padding_changes_no_digit_that_the_data_hold(name: str) -> None:
    problem = PROBLEMS[name]
    bare = least_squares(problem.design[np.newaxis], problem.y[np.newaxis])
    padding = together().coefficients[NAMES.index(name), : problem.certified.size]
    assert bare.coefficients[0] == pytest.approx(padding, rel=1e-12)
