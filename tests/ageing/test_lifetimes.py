"""Life regression: derivatives, alone or among many, named outcomes, a second implementation, invariances.

Oracles: finite differences, and scipy.optimize on the same likelihood written by scipy.stats densities.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy import optimize, stats

from stability.ageing.lifetimes import REASONS, Family, LifeData, LifeStatus, fit_lives
from stability.ageing.lifetimes_answers import cells_of, fraction_ended, line_through_cells, quantiles
from stability.ageing.lifetimes_ends import HistoryEnds
from stability.ageing.lifetimes_likelihood import Seen, fraction_below, standard_quantile, terms
from stability.ageing.lifetimes_solver import Box, Problem
from stability.errors import InputError

INF = math.inf
FAMILIES = list(Family)
OF_SCIPY = {Family.LOGNORMAL: stats.norm, Family.WEIBULL: stats.gumbel_l}


def mixed(rng: np.random.Generator, lives: int = 30) -> tuple[LifeData, np.ndarray]:
    """Return lives of every kind of censoring, on a line in x."""
    x = np.repeat([0.0, 1.0, 2.0], lives // 3)
    t = np.exp(1.0 + 0.8 * x + 0.4 * rng.standard_normal(lives))
    kind = rng.integers(0, 4, lives)
    lower = np.where(kind == 0, t, np.where(kind == 3, 0.0, 0.7 * t))
    upper = np.where(kind == 0, t, np.where(kind == 1, INF, 1.2 * t))
    return LifeData.of(lower, upper, rng.integers(1, 4, lives)), np.column_stack((np.ones(lives), x))


@pytest.mark.parametrize("family", FAMILIES)
def test_gradient_and_hessian_are_those_of_finite_differences(family: Family) -> None:
    rng = np.random.default_rng(5)
    shape, rows = (6, 8, 2), np.arange(6)
    days, x = rng.uniform(1, 30, shape), rng.normal(0, 0.03, shape)
    kind = rng.integers(0, 4, shape[:2])
    seen = Seen(kind == 0, (kind == 1) | (kind == 3), (kind == 2) | (kind == 3))
    box = Box.wide(6, 2, scale=(1e-3, 50.0))
    box = Box(box.least, box.most, np.full((6, 3), 1.0), np.full((6, 3), 0.01), np.full(6, 2.0))
    ends = HistoryEnds(days, x, 1.3 * days, x)
    problem = Problem(family, seen, rng.uniform(0.5, 3, shape[:2]), ends, box, z_at=0.3)
    theta = np.column_stack((rng.normal(3, 0.5, 6), rng.normal(60, 5, 6), rng.normal(0, 0.3, 6)))
    slopes = problem.derivatives(theta, rows)
    for j, h in enumerate((1e-5, 1e-3, 1e-5)):
        step = np.eye(3)[j] * h
        up, down = theta + step, theta - step
        by_value = (problem.value(up, rows) - problem.value(down, rows)) / (2 * h)
        assert slopes.gradient[:, j] == pytest.approx(by_value, rel=1e-6, abs=1e-6)
        ahead, behind = problem.derivatives(up, rows).gradient, problem.derivatives(down, rows).gradient
        by_gradient = (ahead - behind) / (2 * h)
        assert slopes.hessian[:, j] == pytest.approx(by_gradient, rel=1e-6, abs=1e-5)


@pytest.mark.parametrize("family", FAMILIES)
def test_a_narrow_interval_far_out_keeps_its_digits(family: Family) -> None:
    one = np.ones((1, 1), dtype=bool)
    for z in (-30.0, -5.0, 0.0, 3.0, 8.0):
        low, high = np.full((1, 1), z), np.full((1, 1), z + 1e-7)
        narrow = terms(family, Seen(~one, one, one), low, high)
        exact = terms(family, Seen(one, ~one, ~one), low, high)
        assert narrow.value[0, 0] - math.log(1e-7) == pytest.approx(exact.value[0, 0], abs=2e-4)


@pytest.mark.parametrize("family", FAMILIES)
def test_shares_and_quantiles_undo_each_other(family: Family) -> None:
    share = np.array([1e-6, 0.1, 0.5, 0.9, 0.999])
    assert fraction_below(family, standard_quantile(family, share)) == pytest.approx(share, rel=1e-12)


@pytest.mark.parametrize("family", FAMILIES)
def test_another_optimiser_on_another_likelihood_finds_the_same(family: Family) -> None:
    data, design = mixed(np.random.default_rng(11))
    scatter = OF_SCIPY[family]
    low, high, w = data.lower[0], data.upper[0], data.weight[0]

    def minus_ln_l(theta: np.ndarray) -> float:
        middle, scale = design @ theta[:2], math.exp(theta[2])
        a = (np.log(np.maximum(low, 1e-300)) - middle) / scale
        b = np.where(
            np.isfinite(high), (np.log(np.where(np.isfinite(high), high, 1.0)) - middle) / scale, INF
        )
        exact = scatter.logpdf(a) - np.log(scale * np.maximum(low, 1e-300))
        between = np.log(np.maximum(scatter.cdf(b) - scatter.cdf(a), 1e-300))
        return -float((w * np.where(low == high, exact, between)).sum())

    options = {"xatol": 1e-9, "fatol": 1e-12, "maxiter": 4000}
    found = optimize.minimize(minus_ln_l, [1.0, 0.5, -1.0], method="Nelder-Mead", options=options)
    fits = fit_lives(data, design, family)
    assert fits.log_likelihood[0] >= -found.fun - 1e-9
    assert fits.parameters[0] == pytest.approx(found.x, abs=1e-5)


def test_a_problem_alone_or_among_many_is_the_same() -> None:
    rng = np.random.default_rng(3)
    problems = [mixed(rng)[0] for _ in range(40)]
    design = mixed(rng)[1]
    many = LifeData.of(*(np.vstack([getattr(p, n) for p in problems]) for n in ("lower", "upper", "weight")))
    for family in FAMILIES:
        together = fit_lives(many, design, family)
        assert together.ok.all()
        for row, problem in enumerate(problems):
            alone = fit_lives(problem, design, family)
            assert together.parameters[row] == pytest.approx(alone.parameters[0], rel=1e-9)


def test_padding_and_repeated_rows_are_weights() -> None:
    data, design = mixed(np.random.default_rng(8))
    times = data.weight[0].astype(int)
    spread = LifeData.of(np.repeat(data.lower[0], times), np.repeat(data.upper[0], times))
    padded = LifeData.of(
        np.append(data.lower, [[np.nan]], axis=1),
        np.append(data.upper, [[-3.0]], axis=1),
        np.append(data.weight, [[0.0]], axis=1),
    )
    expected = fit_lives(data, design).parameters[0]
    assert fit_lives(spread, np.repeat(design, times, axis=0)).parameters[0] == pytest.approx(
        expected, rel=1e-9
    )
    more = fit_lives(padded, np.vstack((design, [INF, INF])))
    assert more.parameters[0] == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("family", FAMILIES)
def test_a_quantile_can_be_the_parameter_or_be_asked_for_afterwards(family: Family) -> None:
    data, design = mixed(np.random.default_rng(21))
    at = [1.0, 1.5]
    by_location = quantiles(fit_lives(data, design, family), at, 0.1)
    own = fit_lives(data, design, family, share=0.1)
    as_parameter = quantiles(own, at, None)
    assert as_parameter.ln_t == pytest.approx(by_location.ln_t, rel=1e-9)
    assert as_parameter.se_ln_t == pytest.approx(by_location.se_ln_t, rel=1e-7)
    assert as_parameter.lower95[0] < as_parameter.t[0] < as_parameter.upper95[0]
    share, low, high = fraction_ended(own, at, float(by_location.t[0]))
    assert low[0] < share[0] == pytest.approx(0.1, rel=1e-9)
    assert share[0] < high[0]
    assert quantiles(own, at, None, df=3.0).lower95[0] < as_parameter.lower95[0]


def test_another_unit_of_time_moves_the_constant_only() -> None:
    data, design = mixed(np.random.default_rng(2))
    days, hours = (
        fit_lives(LifeData.of(k * data.lower, k * data.upper, data.weight), design) for k in (1, 24)
    )
    assert hours.parameters[0] - days.parameters[0] == pytest.approx([math.log(24), 0, 0], abs=1e-9)
    assert hours.covariance == pytest.approx(days.covariance, abs=1e-9)


LINE = [[1.0, 0.0]] * 4 + [[1.0, 1.0]] * 4
OUTCOMES = {
    LifeStatus.NO_LIVES: ([1.0] * 8, [2.0] * 8, [0.0] * 8, LINE),
    LifeStatus.ALL_CENSORED: ([5.0] * 8, [INF] * 8, [1.0] * 8, LINE),
    LifeStatus.ALL_ENDED_UNSEEN: ([0.0] * 8, [7.0] * 8, [1.0] * 8, LINE),
    LifeStatus.TOO_FEW_CONDITIONS: ([1, 2, 3, 4, 5, 6, 7, 8], None, [1.0] * 8, [[1.0, 50.0]] * 8),
    # every life of a cell in the same interval, or exactly on a line
    LifeStatus.NO_SPREAD: ([7.0] * 4 + [28.0] * 4, [14.0] * 4 + [35.0] * 4, [1.0] * 8, LINE),
    # scattered in one cell, none ended in the other
    LifeStatus.NO_UPPER_END: ([1, 2, 3, 4, 5, 5, 5, 5], [1, 2, 3, 4, *[INF] * 4], [1.0] * 8, LINE),
}


@pytest.mark.parametrize("family", FAMILIES)
def test_what_cannot_be_fitted_is_named_and_holds_no_nan(family: Family) -> None:
    for status, (lower, upper, weight, design) in OUTCOMES.items():
        found = fit_lives(LifeData.of(lower, upper, weight), design, family)
        assert found.status == (status,)
        assert REASONS[status]
        assert not found.parameters.any()
        assert not found.covariance.any()
        told = quantiles(found, [1.0, 0.5])
        assert (told.t[0], told.lower95[0], found.scale[0]) == (0.0, 0.0, 0.0)
        assert [part[0] for part in fraction_ended(found, [1.0, 0.5], 3.0)] == [0.0, 0.0, 0.0]


def test_lives_exactly_on_a_line_have_no_spread() -> None:
    exact = LifeData.of(np.exp(np.array([1.0, 2.0, 3.0, 4.0])))
    assert fit_lives(exact, [[1.0, k] for k in range(4)]).status == (LifeStatus.NO_SPREAD,)


def test_a_bad_problem_does_not_touch_its_neighbours() -> None:
    good, _ = mixed(np.random.default_rng(4), lives=9)
    design = [[1.0, k // 3] for k in range(9)]
    bad = LifeData.of([5.0] * 9, [INF] * 9)
    both = LifeData.of(
        *(np.vstack((getattr(bad, n), getattr(good, n))) for n in ("lower", "upper", "weight"))
    )
    found = fit_lives(both, design)
    assert found.status == (LifeStatus.ALL_CENSORED, LifeStatus.FITTED)
    assert found.parameters[1] == pytest.approx(fit_lives(good, design).parameters[0], rel=1e-9)


def test_every_small_pattern_of_censoring_ends_in_a_named_way() -> None:
    """Two cells, two tins each, every combination of what can be seen at looks on days 7 and 14."""
    intervals = [(0.0, 7.0), (7.0, 14.0), (14.0, INF), (0.0, INF), (9.0, 9.0)]
    pairs = list(itertools.product(intervals, repeat=4))
    lower, upper = (np.array([[life[k] for life in of] for of in pairs]) for k in (0, 1))
    for family in FAMILIES:
        found = fit_lives(LifeData.of(lower, upper), [[1, 0], [1, 0], [1, 1], [1, 1]], family)
        assert len(found.status) == len(pairs)
        assert LifeStatus.NOT_CONVERGED not in found.status
        for numbers in (found.parameters, found.covariance, found.log_likelihood, found.se):
            assert np.isfinite(numbers).all()


def test_lives_of_minutes_and_of_decades_are_fitted() -> None:
    scatter = np.exp(0.3 * np.random.default_rng(6).standard_normal(12))
    for middle in (1e-9, 1e-3, 1e6, 1e12):
        found = fit_lives(LifeData.of(middle * scatter), np.ones((12, 1)))
        assert found.coefficients[0, 0] - math.log(middle) == pytest.approx(np.log(scatter).mean(), abs=1e-9)


def test_the_test_of_one_line_names_why_it_cannot_be_made() -> None:
    lower, upper, weight, design = OUTCOMES[LifeStatus.ALL_CENSORED]
    none = line_through_cells(LifeData.of(lower, upper, weight), design, [0] * 4 + [1] * 4)
    assert (none.status, none.p) == (LifeStatus.ALL_CENSORED, 1.0)
    two = line_through_cells(LifeData.of([1, 2, 3, 4, 5, 6, 7, 9]), design, [0] * 4 + [1] * 4)
    assert (two.status, two.df) == (LifeStatus.FITTED, 1)
    one = line_through_cells(LifeData.of([1, 2, 3, 4, 5, 6, 7, 9]), design, [0] * 8)
    assert one.status is LifeStatus.TOO_FEW_CONDITIONS


def test_bad_input_is_told_in_words() -> None:
    with pytest.raises(InputError, match="life 2 lies between 9 and 7"):
        LifeData.of([1.0, 9.0], [2.0, 7.0])
    with pytest.raises(InputError, match="between 0 and 0"):
        LifeData.of([0.0])
    with pytest.raises(InputError, match="weight"):
        LifeData.of([1.0], weight=[-1.0])
    with pytest.raises(InputError, match="one row for each"):
        fit_lives(LifeData.of([1.0, 2.0]), [[1.0]])
    with pytest.raises(InputError, match="finite"):
        fit_lives(LifeData.of([1.0, 2.0]), [[1.0], [math.nan]])
    with pytest.raises(InputError, match="share is 1"):
        fit_lives(LifeData.of([1.0, 2.0]), [[1.0], [1.0]], share=1.0)
    fits = fit_lives(LifeData.of([1.0, 2.0, 4.0]), np.ones((3, 1)))
    with pytest.raises(InputError, match="share"):
        quantiles(fits, [1.0], 0.0)
    with pytest.raises(InputError, match="conditions"):
        quantiles(fits, [1.0, 2.0])
    with pytest.raises(InputError, match="time"):
        fraction_ended(fits, [1.0], 0.0)
    with pytest.raises(InputError, match="cells"):
        cells_of(LifeData.of([1.0, 2.0]), [0])
