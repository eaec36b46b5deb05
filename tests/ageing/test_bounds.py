"""Lives and their bounds: Wald where it holds, the profile where it does not."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy.special import stdtrit

from stability.ageing.arrays import BlendReadings, TinHistory, assemble
from stability.ageing.bounds import LifeOutcome, life, life_to, probability_before
from stability.ageing.fit import FitOptions, Limit, Priors, fit
from stability.ageing.profile import profile_life
from stability.errors import InputError

Maker = Callable[..., TinHistory]
Blend = Callable[..., BlendReadings]

DOUBLE = Limit(ratio=2.0)
AGES = (0.0, 7.0, 14.0, 28.0, 56.0, 84.0)


def flat(tin: Maker, seed: int = 2) -> BlendReadings:
    rng = np.random.default_rng(seed)
    tins = [
        tin(f"{t:g}-{k}", t, AGES, (350.0 * np.exp(rng.normal(0.0, 0.02, 6))).tolist())
        for t in (23.0, 40.0, 50.0)
        for k in range(3)
    ]
    return assemble(tins, 23.0)


def test_bounds_enclose_the_life_and_the_next_tin_is_bounded_lower(blend: Blend) -> None:
    given = life(fit(blend(np.random.default_rng(1), m=-1.0), DOUBLE), 365.0)
    assert given.outcome is LifeOutcome.ESTIMATED
    assert given.life_days_lower95_next_tin is not None
    assert given.life_days_lower95 is not None
    assert given.life_days is not None
    assert given.life_days_upper95 is not None
    assert (
        given.life_days_lower95_next_tin < given.life_days_lower95 < given.life_days < given.life_days_upper95
    )


def test_probability_is_half_at_the_life_and_a_twentieth_at_the_bound(blend: Blend) -> None:
    f = fit(blend(np.random.default_rng(1), m=-1.0), DOUBLE)
    given = life(f)
    assert given.life_days is not None
    assert given.life_days_lower95 is not None
    assert probability_before(f, given.life_days) == pytest.approx(0.5)
    assert probability_before(f, given.life_days_lower95) == pytest.approx(0.05)


def test_the_profile_agrees_with_wald_where_the_life_is_well_known(blend: Blend) -> None:
    f = fit(blend(np.random.default_rng(1), m=-1.0), DOUBLE)
    t = float(stdtrit(f.df, 0.95))
    lower = profile_life(f, t).life_at(-t)
    assert lower is not None
    assert lower == pytest.approx(f.u - t * f.se_u, abs=0.25 * t * f.se_u)


def test_a_flat_blend_has_a_lower_bound_and_no_upper_end(tin: Maker) -> None:
    given = life(fit(flat(tin), DOUBLE), 365.0)
    assert given.outcome is LifeOutcome.LOWER_BOUND_ONLY
    assert given.life_days is None
    assert given.life_days_upper95 is None
    assert given.says is not None
    assert given.says.startswith("the readings so far say at least ")
    assert given.says.endswith(" d; no upper end")
    # 84 days without change at 23 °C, and no energy is known: no less than that can be excluded
    assert given.life_days_lower95 is not None
    assert 84.0 < given.life_days_lower95 < 400.0


def test_heated_tins_that_passed_the_dose_of_the_target_rule_an_early_end_out(tin: Maker) -> None:
    given = life(fit(flat(tin), DOUBLE, FitOptions(priors=Priors())), 365.0)
    assert given.probability_before_target is not None
    assert given.probability_before_target < 0.01


def test_minutes_of_data_say_nothing_of_months(tin: Maker) -> None:
    ages = (0.0, 0.001, 0.002, 0.003, 0.004)
    rng = np.random.default_rng(3)
    tins = [
        tin(f"{t:g}-{k}", t, ages, (350.0 * np.exp(rng.normal(0, 0.02, 5))).tolist())
        for t in (23.0, 40.0, 50.0)
        for k in range(3)
    ]
    given = life(fit(assemble(tins, 23.0), DOUBLE))
    assert given.outcome is LifeOutcome.TOO_EARLY
    assert given.says == "no viscosity measured after day 0 yet"
    assert given.life_days_lower95 is None


def test_one_oven_gives_no_life_at_the_storage_temperature(blend: Blend) -> None:
    f = fit(blend(np.random.default_rng(2), plan={50.0: (5, AGES)}), DOUBLE)
    given = life(f)
    assert given.outcome is LifeOutcome.TOO_EARLY
    assert given.says is not None
    assert "all readings come from 50.0 °C" in given.says
    assert probability_before(f, 365.0) is None


def test_too_few_tins_are_too_early_and_counted(blend: Blend) -> None:
    given = life(fit(blend(np.random.default_rng(2), plan={23.0: (1, AGES), 50.0: (2, AGES)}), DOUBLE))
    assert given.outcome is LifeOutcome.TOO_EARLY
    assert given.says == "3 tins measured after day 0, at least 4 are needed"


def test_a_gel_point_is_given_where_the_curve_has_one(blend: Blend) -> None:
    gelling = fit(blend(np.random.default_rng(2), m=1.0), DOUBLE)
    assert life(gelling).gel_life_days == pytest.approx(600.0, rel=0.25)
    steady = fit(blend(np.random.default_rng(2), m=-1.0), DOUBLE, FitOptions(fixed={"m": -1.0, "b": 0.0}))
    assert life(steady).gel_life_days is None


def test_other_limits_lie_on_the_same_curve(blend: Blend) -> None:
    data = blend(np.random.default_rng(2), m=0.3, b=1.0)
    f = fit(data, DOUBLE)
    for ratio in (1.2, 1.5, 3.0):
        again = fit(data, Limit(ratio=ratio))
        assert life_to(f, ratio) == pytest.approx(math.exp(again.u), rel=2e-3)
    assert life_to(f, 2.0) == pytest.approx(math.exp(f.u))
    with pytest.raises(InputError, match="expected more than 1"):
        life_to(f, 1.0)


def test_a_target_must_be_positive(blend: Blend) -> None:
    with pytest.raises(InputError, match="target life"):
        life(fit(blend(np.random.default_rng(2)), DOUBLE), 0.0)


def coverage(blend: Blend, studies: int, **truth: float) -> float:
    hits = 0
    for seed in range(studies):
        given = life(fit(blend(np.random.default_rng([41, seed]), **truth), DOUBLE))
        assert given.life_days_lower95 is not None
        hits += given.life_days_lower95 <= 300.0
    return hits / studies


@pytest.mark.parametrize(("m", "b"), [(0.0, 0.0), (0.5, 3.0), (-1.0, 4.0)])
def test_the_lower_bound_holds_in_nineteen_of_twenty_studies(blend: Blend, m: float, b: float) -> None:
    # 60 studies: a true 95 % falls below 0.95 − 3·√(0.95·0.05/60) = 0.866 once in 700 times
    assert coverage(blend, 60, m=m, b=b) >= 0.866


@pytest.mark.slow
@pytest.mark.parametrize(
    ("m", "b"), [(0.0, 0.0), (-1.0, 0.0), (1.0, 0.0), (0.5, 3.0), (-1.0, 4.0), (0.0, -1.5)]
)
def test_the_lower_bound_holds_in_four_hundred_studies(blend: Blend, m: float, b: float) -> None:
    # standard error of 95 % in 400 is 1.1 %
    assert coverage(blend, 400, m=m, b=b) >= 0.925


def test_early_data_are_covered_too(blend: Blend) -> None:
    plan = {23.0: (3, (0, 7, 14, 21)), 40.0: (3, (0, 7, 14, 21)), 50.0: (3, (0, 3, 7, 14, 21))}
    hits, seen = 0, 40
    for seed in range(seen):
        given = life(fit(blend(np.random.default_rng([43, seed]), plan=plan), DOUBLE))
        assert given.life_days_lower95 is not None
        hits += given.life_days_lower95 <= 300.0
    assert hits >= 0.85 * seen
