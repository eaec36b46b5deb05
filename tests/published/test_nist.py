"""The least-squares core against the certified values of NIST's nonlinear sets (source: NIST StRD).

All 27 sets from both starts stand in one batch. Misra1a to d, Rat42/43 and BoxBOD are growth curves, MGH10 is
the Vogel form of viscosity against temperature, Bennett5 diverges as a gel does, Nelson is ageing by time
and temperature. NIST certifies 11 digits; a log relative error (LRE) is the number of correct ones.

One exception, by double precision: the left-over of Lanczos1 (residual SD 9e-14 of values near 1) is the
rounding of its data, so that its standard deviations cannot be found again; its parameters are.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from stability.ageing.polish import Polished, polish
from stability.ageing.solver import Penalties, Solution, Spreads, joined, minimise, rows_of, start
from tests.published.nist.sets import CURVES, Batch, batch, log_relative_error, read

PROBLEMS = {name: read(name) for name in sorted(CURVES)}
RUNS = [(name, which) for name in PROBLEMS for which in (0, 1)]
SHAPE = (
    max(problem.y.size for problem in PROBLEMS.values()),
    max(problem.certified.size for problem in PROBLEMS.values()),
)
ROUNDING_ONLY = {"Lanczos1"}
STEPS, MOST = 100, 6000

each_run = pytest.mark.parametrize(
    ("name", "which"), RUNS, ids=[f"{name}, start {which + 1}" for name, which in RUNS]
)


def batch_of(runs: list[tuple[str, int]], shape: tuple[int, int] = SHAPE) -> Batch:
    return batch([(PROBLEMS[name], which) for name, which in runs], shape)


def spreads_at(at: Solution, problems: Batch) -> Spreads:
    rounding = np.array([16.0 * np.finfo(float).eps * np.abs(p.y).max() for p in problems.problems])
    variance = np.maximum(at.statistics.sum_squares / problems.df, rounding**2)
    return Spreads(variance, np.zeros_like(variance))


def searched(runs: list[tuple[str, int]], shape: tuple[int, int] = SHAPE) -> Solution:
    """Search from every start; who has arrived leaves the batch, the others go on."""
    problems = batch_of(runs, shape)
    count = len(runs)
    spreads = Spreads(np.ones(count), np.zeros(count))
    none = np.zeros((count, 0))
    at = start(problems.model, problems.groups, problems.theta, none, spreads, penalties=problems.penalties)
    # twice: the stopping rule is in units of the residual variance, which the first search finds
    for _ in range(2):
        at = _all_arrived(runs, shape, at, spreads)
        spreads = spreads_at(at, problems)
    return at


def _all_arrived(
    runs: list[tuple[str, int]], shape: tuple[int, int], at: Solution, spreads: Spreads
) -> Solution:
    on_the_way = np.arange(len(runs))
    arrived: list[tuple[int, Solution]] = []
    for _ in range(MOST // STEPS):
        rest = batch_of([runs[i] for i in on_the_way], shape)
        own = Spreads(spreads.variance[on_the_way], spreads.ratio[on_the_way])
        at = minimise(rest.model, rest.groups, at, own, rest.penalties, steps=STEPS, tolerance=1e-9)
        done = at.converged
        arrived += [(on_the_way[i], rows_of(at, np.array([i]))) for i in np.flatnonzero(done)]
        at, on_the_way = rows_of(at, np.flatnonzero(~done)), on_the_way[~done]
        if not on_the_way.size:
            break
    arrived += [(on_the_way[i], rows_of(at, np.array([i]))) for i in range(on_the_way.size)]
    arrived.sort(key=lambda pair: pair[0])
    whole = arrived[0][1]
    for _, one in arrived[1:]:
        whole = joined(whole, one)
    return whole


def polished(runs: list[tuple[str, int]], shape: tuple[int, int] = SHAPE) -> Polished:
    problems = batch_of(runs, shape)
    at = searched(runs, shape)
    return polish(problems.model, problems.groups, at, spreads_at(at, problems), problems.penalties)


@cache
def all_searched() -> Solution:
    return searched(RUNS)


@cache
def all_polished() -> Polished:
    problems = batch_of(RUNS)
    at = all_searched()
    return polish(problems.model, problems.groups, at, spreads_at(at, problems), problems.penalties)


@pytest.mark.parametrize("name", sorted(PROBLEMS))
def test_the_written_derivatives_are_those_of_the_model(name: str) -> None:
    problem = PROBLEMS[name]
    _, slopes = CURVES[name](list(problem.certified[:, np.newaxis, np.newaxis]), problem.x)
    for k, value in enumerate(problem.certified):
        step = 1e-30 * max(abs(value), 1e-10)
        shifted = problem.certified.astype(complex)
        shifted[k] += 1j * step
        by_complex_step = CURVES[name](list(shifted[:, np.newaxis, np.newaxis]), problem.x)[0].imag / step
        assert slopes[k] == pytest.approx(by_complex_step, rel=1e-11, abs=1e-12 * np.abs(slopes[k]).max())


@each_run
def test_the_search_alone_reaches_seven_certified_digits(name: str, which: int) -> None:
    problem, row, at = PROBLEMS[name], RUNS.index((name, which)), all_searched()
    assert at.converged[row]
    if name not in ROUNDING_ONLY:
        assert at.statistics.sum_squares[row] == pytest.approx(problem.residual_sum_of_squares, rel=1e-9)
    assert log_relative_error(at.theta[row, : problem.certified.size], problem.certified) >= 7.0


@each_run
def test_with_the_last_steps_all_parameters_have_ten_digits_from_either_start(name: str, which: int) -> None:
    problem, row = PROBLEMS[name], RUNS.index((name, which))
    theta = all_polished().solution.theta[row, : problem.certified.size]
    assert log_relative_error(theta, problem.certified) >= 10.0


@each_run
def test_standard_deviations_have_ten_digits(name: str, which: int) -> None:
    if name in ROUNDING_ONLY:
        pytest.skip("the left-over is the rounding of the data")
    problem, row, at = PROBLEMS[name], RUNS.index((name, which)), all_polished()
    size = problem.certified.size
    assert at.determined[row, :size].all()
    assert log_relative_error(at.standard_errors[row, :size], problem.standard_deviations) >= 10.0
    squares = at.solution.statistics.sum_squares[row]
    left_over = np.sqrt(squares / (problem.y.size - size))
    assert log_relative_error(left_over, np.array(problem.residual_sd)) >= 10.0
    assert log_relative_error(squares, np.array(problem.residual_sum_of_squares)) >= 10.0


@each_run
def test_a_problem_alone_is_the_problem_among_many(name: str, which: int) -> None:
    row, alone, among = RUNS.index((name, which)), polished([(name, which)]), all_polished()
    assert alone.solution.theta[0] == pytest.approx(among.solution.theta[row], rel=1e-12, abs=0.0)
    size = PROBLEMS[name].certified.size
    assert alone.standard_errors[0, :size] == pytest.approx(among.standard_errors[row, :size], rel=1e-12)


def test_padding_costs_no_digits() -> None:
    problem = PROBLEMS["Thurber"]
    bare = polished([("Thurber", 1)], (problem.y.size, problem.certified.size))
    assert log_relative_error(bare.solution.theta[0], problem.certified) >= 10.0
    assert log_relative_error(bare.standard_errors[0], problem.standard_deviations) >= 10.0


def test_a_box_that_shuts_the_minimum_out_is_kept_and_told() -> None:
    problems = batch_of([("Misra1a", 1)], (14, 2))
    box: Penalties = replace(problems.penalties, upper=np.array([[230.0, np.inf]]))
    spreads = Spreads(np.array([0.01]), np.zeros(1))
    none = np.zeros((1, 0))
    theta = np.array([[229.0, 5e-4]])
    at = start(problems.model, problems.groups, theta, none, spreads, penalties=box)
    at = minimise(problems.model, problems.groups, at, spreads, box)
    end = polish(problems.model, problems.groups, at, spreads, box)
    assert end.solution.theta[0, 0] == 230.0
    assert end.determined.tolist() == [[False, True]]
    assert end.left[0] < 1e-10
