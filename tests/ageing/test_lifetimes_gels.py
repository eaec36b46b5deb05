"""Lives of tins that were only looked at: the likelihood by hand, classical regression, outcomes, evidence.

All tins are invented; E = 75 kJ/mol and a storage temperature of 23 °C unless said otherwise.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from stability.ageing.bounds import LifeOutcome
from stability.ageing.dose import dose, inverse_temperature
from stability.ageing.lifetimes import Family, LifeData, fit_lives
from stability.ageing.lifetimes_gel_evidence import gel_evidence, gel_store_lives, life_used
from stability.ageing.lifetimes_gel_fit import GelOptions, fit_gels
from stability.ageing.lifetimes_gel_life import GelForecast, fluid_days, gel_forecasts
from stability.ageing.lifetimes_gels import TinGel, assemble_gels
from stability.errors import InputError

STORAGE = 23.0
PLAIN = GelOptions(store_spread=0.0, reml=False)
FAMILIES = list(Family)


def x_of(celsius: float) -> float:
    return float(inverse_temperature(celsius, STORAGE))


def tin(celsius: float, fluid: float, gelled: float | None = None, *, name: str = "T") -> TinGel:
    """Return a tin that stood in one store all the time."""
    x = [x_of(celsius)]
    return TinGel(
        sample=name,
        store=f"{celsius:g}",
        temperature_c=celsius,
        fluid_age_days=fluid,
        fluid_days=[fluid] if fluid else (),
        fluid_x=x if fluid else (),
        gelled_age_days=gelled,
        gelled_days=() if gelled is None else [gelled],
        gelled_x=() if gelled is None else x,
    )


def seen_weekly(celsius: float, lives: Sequence[float], until: float = 1e9) -> list[TinGel]:
    """Return tins of given lives, looked at every 7 days until they had gelled or the study ended."""
    found = []
    for life in lives:
        look = 7.0 * math.ceil(life / 7.0)
        found.append(tin(celsius, look - 7.0, look) if look <= until else tin(celsius, until))
    return found


SCATTER = (0.82, 0.97, 1.06, 1.21)


def blend(
    *celsius: float, life: float = 300.0, until: float = 364.0, scatter: Sequence[float] = SCATTER
) -> list[TinGel]:
    """Return four tins a store."""
    return [
        each
        for c in celsius
        for each in seen_weekly(c, [s * life * math.exp(75.0 * x_of(c)) for s in scatter], until)
    ]


def told(
    *problems: Sequence[TinGel], target: float | None = 365.0, **options: object
) -> tuple[GelForecast, ...]:
    return gel_forecasts(assemble_gels(problems, STORAGE), target, GelOptions(**options))  # type: ignore[arg-type]


@pytest.mark.parametrize("family", FAMILIES)
def test_constant_storage_is_the_classical_regression_on_inverse_temperature(family: Family) -> None:
    tins = blend(23.0, 40.0, 50.0, until=250.0)
    fit = fit_gels(assemble_gels([tins], STORAGE), family, PLAIN)
    x = [[1.0, x_of(t.temperature_c)] for t in tins]
    upper = [t.gelled_age_days or math.inf for t in tins]
    classical = fit_lives(LifeData.of([t.fluid_age_days for t in tins], upper), x, family, share=0.5)
    assert fit.solved.theta[0] == pytest.approx(classical.parameters[0], rel=1e-7)
    assert fit.covariance[0] == pytest.approx(classical.covariance[0], rel=1e-6)
    assert fit.log_likelihood[0] == pytest.approx(classical.log_likelihood[0], abs=1e-9)


@pytest.mark.parametrize(
    ("family", "scatter"), [(Family.LOGNORMAL, stats.norm), (Family.WEIBULL, stats.gumbel_l)]
)
def test_the_likelihood_is_that_of_each_tins_own_history(family: Family, scatter: object) -> None:
    """Tins moved between stores and taken out: ln L and its top against a grid, by scipy's distributions."""
    rng = np.random.default_rng(9)
    temperatures = np.array([23.0, 40.0, 50.0])
    tins = []
    for k in range(12):
        x = np.array([x_of(c) for c in temperatures])
        shares = rng.uniform(0.0, 0.2, 3) + (np.arange(3) == k % 3)
        # scaled so that a life of about 300 d with E = 75 lies between the two looks
        days = shares * 270.0 * math.exp(0.15 * rng.standard_normal()) / float(dose(shares, x, 75.0))
        more = 1.2 * days
        tins.append(
            TinGel(
                sample=f"T{k}",
                store=f"{temperatures[k % 3]:g}",
                temperature_c=temperatures[k % 3],
                fluid_age_days=days.sum(),
                fluid_days=days,
                fluid_x=x,
                gelled_age_days=None if k % 4 == 0 else more.sum(),
                gelled_days=() if k % 4 == 0 else more,
                gelled_x=() if k % 4 == 0 else x,
            )
        )
    fit = fit_gels(assemble_gels([tins], STORAGE), family, PLAIN)

    def ln_l(u: float, energy: float, sigma: float) -> float:
        total = 0.0
        z_50 = scatter.ppf(0.5)  # type: ignore[attr-defined]
        for t in tins:
            low = (math.log(dose(t.fluid_days, t.fluid_x, energy)) - u) / sigma + z_50
            high = math.inf
            if t.gelled_age_days is not None:
                high = (math.log(dose(t.gelled_days, t.gelled_x, energy)) - u) / sigma + z_50
            total += math.log(scatter.cdf(high) - scatter.cdf(low))  # type: ignore[attr-defined]
        return total

    u, energy, sigma = float(fit.u[0]), float(fit.energy[0]), float(fit.sigma[0])
    top = ln_l(u, energy, sigma)
    assert fit.log_likelihood[0] == pytest.approx(top, abs=1e-8)
    assert not fit.energy_at_edge[0]
    for du, de, ds in itertools.product((-0.02, 0.0, 0.02), (-0.5, 0.0, 0.5), (0.97, 1.0, 1.03)):
        assert ln_l(u + du, energy + de, sigma * ds) <= top + 1e-9


def test_what_a_tin_went_through_counts_and_not_its_age() -> None:
    """Tins that spent half their days in the oven gel sooner by the calendar, and tell of the same life."""
    still = blend(23.0, 40.0, 50.0)
    hot, cold = x_of(50.0), x_of(23.0)

    def halved(each: TinGel) -> TinGel:
        if each.temperature_c != 50.0:
            return each
        rest = math.exp(75.0 * (cold - hot))  # days at 23 °C that age as much as one at 50 °C
        assert each.gelled_age_days is not None
        parts = {}
        for name, age in (("fluid", each.fluid_age_days), ("gelled", each.gelled_age_days)):
            parts[f"{name}_days"], parts[f"{name}_x"] = [age / 2, age / 2 * rest], [hot, cold]
            parts[f"{name}_age_days"] = age / 2 * (1 + rest)
        return replace(each, **parts)

    (by_oven,), (by_both,) = told(still), told([halved(each) for each in still])
    assert by_both.life.life_days == pytest.approx(by_oven.life.life_days, rel=0.03)
    assert by_both.fit.energy[0] == pytest.approx(by_oven.fit.energy[0], rel=0.05)


def test_an_estimate_comes_with_everything_in_order() -> None:
    (found,) = told(blend(23.0, 40.0, 50.0))
    life = found.life
    assert life.outcome is LifeOutcome.ESTIMATED
    assert life.says is None
    assert life.life_days == life.gel_life_days == pytest.approx(300.0, rel=0.06)
    assert life.life_days_lower95_next_tin < life.life_days_lower95 < life.life_days < life.life_days_upper95
    assert 0.5 < life.probability_before_target < 1.0
    assert found.fit.energy[0] == pytest.approx(75.0, abs=3.0)
    assert found.fit.sigma[0] == pytest.approx(0.16, abs=0.05)
    used = life_used(found)
    assert used[:4] == pytest.approx(np.array(SCATTER), rel=0.1)


def test_alone_or_among_many_of_other_sizes_is_the_same() -> None:
    problems = [
        blend(23.0, 40.0, 50.0, life=life, until=until) for life in (100.0, 300.0) for until in (84.0, 364.0)
    ]
    problems += [[], [tin(40.0, 28.0)], blend(40.0, 50.0, 60.0, life=500.0)]
    together = told(*problems)
    for problem, among in zip(problems, together, strict=True):
        (alone,) = told(problem)
        assert among.life.outcome is alone.life.outcome
        assert among.life.says == alone.life.says
        for name in ("life_days", "life_days_lower95", "life_days_lower95_next_tin", "life_days_upper95"):
            one, other = getattr(among.life, name), getattr(alone.life, name)
            assert one is other is None or one == pytest.approx(other, rel=1e-9)


def test_tins_that_all_gel_in_one_week_are_given_some_spread() -> None:
    """Maximum likelihood would put the spread at nothing; the bound would then be a promise."""
    same = [each for c in (23.0, 40.0, 50.0) for each in blend(c, scatter=(1.0,) * 4, until=250.0)]
    (found,) = told(same, store_spread=0.0)
    plain = fit_gels(assemble_gels([same], STORAGE), Family.LOGNORMAL, PLAIN)
    assert plain.sigma[0] == pytest.approx(0.02, abs=1e-3)
    assert found.fit.sigma[0] > 0.021
    assert found.life.outcome is LifeOutcome.ESTIMATED
    assert found.life.life_days_lower95 < found.life.life_days


def test_departures_of_stores_cost_length_and_most_where_no_store_stands_at_storage() -> None:
    ratios = {}
    for stores in ((23.0, 40.0, 50.0), (40.0, 50.0, 60.0)):
        (plain,), (spread,) = (told(blend(*stores), store_spread=s) for s in (0.0, 0.1))
        assert plain.life.life_days == pytest.approx(spread.life.life_days, rel=1e-9)
        ratios[stores] = spread.life.life_days_lower95 / plain.life.life_days_lower95
        assert spread.fit.se_u[0] > plain.fit.se_u[0]
    assert ratios[40.0, 50.0, 60.0] < ratios[23.0, 40.0, 50.0] < 1.0
    # one store at storage alone: its own life is asked for, and no departure is in it
    alone = fit_gels(assemble_gels([blend(23.0)], STORAGE), Family.LOGNORMAL, GelOptions(store_spread=0.1))
    assert alone.se_stores[0] == pytest.approx(0.0, abs=1e-9)


NOTHING = "no gel checks after day 0 yet"


@pytest.mark.parametrize(
    ("tins", "outcome", "words"),
    [
        ([], LifeOutcome.TOO_EARLY, NOTHING),
        ([tin(40.0, 0.0)], LifeOutcome.TOO_EARLY, NOTHING),
        (
            [tin(50.0, 14.0, 21.0)] * 6,
            LifeOutcome.TOO_EARLY,
            "all gel checks come from 50.0 °C; without checks near",
        ),
        ([tin(23.0, 28.0), tin(50.0, 28.0)], LifeOutcome.TOO_EARLY, "none of 2 tins has gelled, at least 4"),
        (
            [tin(23.0, 28.0)] * 3 + [tin(50.0, 14.0, 21.0)],
            LifeOutcome.TOO_EARLY,
            "one of 4 tins has gelled, at least 4",
        ),
        (
            [tin(23.0, 28.0)] * 3 + [tin(50.0, 21.0)] * 3,
            LifeOutcome.LOWER_BOUND_ONLY,
            "half of all tins stay fluid for at least 21.0 d",
        ),
        (
            blend(23.0, 50.0, until=35.0),
            LifeOutcome.LOWER_BOUND_ONLY,
            "no upper end: tins have gelled at one temperature only",
        ),
        ([tin(50.0, 0.0, 7.0)] * 5 + [tin(40.0, 0.0, 7.0)] * 5, LifeOutcome.TOO_EARLY, "by its first look"),
    ],
)
def test_what_cannot_be_said_is_named_with_what_is_missing(
    tins: Sequence[TinGel], outcome: LifeOutcome, words: str
) -> None:
    (found,) = told(tins)
    assert found.life.outcome is outcome
    assert words in (found.life.says or "")
    assert found.life.life_days is found.life.life_days_upper95 is None
    assert (found.life.life_days_lower95 is None) == (outcome is LifeOutcome.TOO_EARLY)


def test_one_store_at_the_storage_temperature_gives_a_life_and_no_energy() -> None:
    (found,) = told(blend(23.0))
    assert found.life.outcome is LifeOutcome.ESTIMATED
    assert not found.fit.energy_estimated[0]
    assert found.fit.df[0] == 3
    assert found.life.life_days == pytest.approx(300.0, rel=0.06)


def test_alerts_may_lean_on_a_weak_belief_and_it_gives_way_to_the_tins() -> None:
    hot_only = blend(23.0, 50.0, until=28.0)
    (weak,), (none,) = told(hot_only, energy=(75.0, 20.0)), told(hot_only)
    assert weak.life.outcome is LifeOutcome.ESTIMATED
    assert none.life.life_days is None
    assert weak.life.life_days_lower95 < 300.0 < weak.life.life_days_upper95
    (strong,), (free,) = (told(blend(23.0, 40.0, 50.0), energy=e) for e in ((60.0, 20.0), None))
    assert strong.life.life_days == pytest.approx(free.life.life_days, rel=0.03)
    assert strong.fit.log_likelihood[0] == pytest.approx(free.fit.log_likelihood[0], abs=0.2)


def test_a_tin_gelled_at_its_first_look_is_data_even_within_the_hour() -> None:
    (found,) = told([*blend(23.0, 40.0, 50.0), tin(60.0, 0.0, 0.0), tin(60.0, 0.0, 7.0)])
    assert found.life.outcome is LifeOutcome.ESTIMATED
    assert math.isfinite(found.life.life_days or math.nan)


def test_every_small_pattern_of_looks_ends_in_a_named_way() -> None:
    looks = [(0.0, 7.0), (7.0, 14.0), (14.0, None), (0.0, None)]
    stores = (23.0, 23.0, 50.0, 50.0, 60.0)
    problems = [
        [tin(c, *look) for c, look in zip(stores, pattern, strict=True)]
        for pattern in itertools.product(looks, repeat=5)
    ]
    for found in told(*problems):
        life = found.life
        numbers = [
            life.life_days,
            life.life_days_lower95,
            life.life_days_lower95_next_tin,
            life.life_days_upper95,
        ]
        assert all(n is None or (math.isfinite(n) and n >= 0.0) for n in numbers)
        assert life.life_days is not None or life.says
        assert life.life_days is None or life.life_days_lower95 <= life.life_days <= life.life_days_upper95


def test_the_sign_test_by_hand() -> None:
    fluid_five = [tin(23.0, t) for t in (28.0, 35.0, 42.0, 49.0, 56.0)]  # (1/2)^5 = 0.031
    assert fluid_days(assemble_gels([fluid_five], STORAGE)).tolist() == [28.0]
    assert fluid_days(assemble_gels([fluid_five[1:]], STORAGE)).tolist() == [0.0]
    # 1 of 8 has gelled: 9/256 = 0.035; colder tins than the storage say nothing
    eight = [tin(23.0, 56.0)] * 4 + [tin(40.0, 56.0)] * 3 + [tin(40.0, 7.0, 14.0)] + [tin(5.0, 90.0)] * 9
    assert fluid_days(assemble_gels([eight], STORAGE)).tolist() == [56.0]


def test_stores_off_the_line_are_told_in_days_of_life() -> None:
    """Below 45 °C another path of low energy takes over: the cold store gels in a third of the time."""
    bent = blend(50.0, 60.0, 70.0, life=900.0) + blend(23.0, life=300.0)
    (straight,), (found,) = told(blend(23.0, 50.0, 60.0, 70.0, life=250.0)), told(bent)
    evidence = [{e.name: e for e in gel_evidence(f)} for f in (straight, found)]
    assert evidence[0]["straight_arrhenius"].passed
    assert not evidence[1]["straight_arrhenius"].passed
    assert evidence[1]["straight_arrhenius"].p < 0.01
    assert "23 gels faster than the line" in evidence[1]["straight_arrhenius"].says
    assert "d of life less" in evidence[1]["straight_arrhenius"].says
    own, _ = gel_store_lives(straight)
    assert [life.temperature_c for life in own] == [23.0, 50.0, 60.0, 70.0]
    assert math.exp(own[0].ln_life) == pytest.approx(250.0, rel=0.1)
    assert math.exp(own[1].ln_life) == pytest.approx(250.0 * math.exp(75.0 * x_of(50.0)), rel=0.25)


def test_the_better_family_is_told_and_bounds_are_the_lower_of_both() -> None:
    rng = np.random.default_rng(4)
    tins = [
        each
        for c in (23.0, 40.0)
        for each in seen_weekly(c, 600.0 * math.exp(75.0 * x_of(c)) * rng.weibull(6.0, 60))
    ]
    (found,) = told(tins)
    check = next(e for e in gel_evidence(found) if e.name == "lognormal_or_weibull")
    assert not check.passed
    assert "Weibull lives fit better" in check.says
    assert found.fit.log_likelihood[0] < found.other.log_likelihood[0]
    half = math.log(2.0) ** (1 / 6.0) * 600.0
    assert found.life.life_days_lower95 < half < found.life.life_days_upper95


def test_bad_input_is_told_in_words() -> None:
    with pytest.raises(InputError, match="gelled by day 7, before it was last seen fluid"):
        assemble_gels([[tin(40.0, 14.0, 7.0)]], STORAGE)
    with pytest.raises(InputError, match="age nan days"):
        assemble_gels([[replace(tin(40.0, 14.0), fluid_age_days=math.nan)]], STORAGE)
    with pytest.raises(InputError, match="an exposure is negative"):
        assemble_gels([[replace(tin(40.0, 14.0), fluid_days=[-1.0])]], STORAGE)
    with pytest.raises(InputError, match="target life is 0"):
        told(blend(23.0), target=0.0)
