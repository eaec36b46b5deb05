"""The fit: what it recovers, what it holds, and a named outcome for whatever is put in."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable

import numpy as np
import pytest

from stability.ageing.arrays import BlendReadings, Kind, TinHistory, assemble
from stability.ageing.bounds import LifeOutcome, life
from stability.ageing.fit import Fit, FitOptions, FitStatus, Limit, Priors, fit
from stability.errors import InputError

Maker = Callable[..., TinHistory]
Blend = Callable[..., BlendReadings]

AGES = (0.0, 7.0, 14.0, 28.0, 56.0, 84.0)
DOUBLE = Limit(ratio=2.0)


def cell(tin: Maker, ages: tuple[float, ...], values: Callable[[float], list[float]]) -> BlendReadings:
    """Three tins at each of three temperatures; `values` gives a tin's viscosities from its temperature."""
    return assemble(
        [tin(f"{t:g}-{k}", t, ages, values(t)) for t in (23.0, 40.0, 50.0) for k in range(3)], 23.0
    )


def noisy(rng: np.random.Generator, ages: tuple[float, ...], rate: float) -> list[float]:
    return [350.0 * math.exp(rate * a + rng.normal(0.0, 0.02)) for a in ages]


@pytest.mark.parametrize(
    ("m", "b"), [(0.0, 0.0), (-1.0, 0.0), (0.7, 0.0), (0.5, 3.0), (-1.0, 4.0), (0.0, -1.0)]
)
def test_life_and_energy_come_back_from_every_shape(blend: Blend, m: float, b: float) -> None:
    f = fit(blend(np.random.default_rng(3), m=m, b=b), DOUBLE)
    assert f.status is FitStatus.FITTED
    assert abs(f.u - math.log(300.0)) < 3.5 * f.se_u
    assert f.energy == pytest.approx(75.0, abs=4.0)
    assert 0.014 < f.sigma < 0.027
    assert 0.0 <= f.sigma_tin < 0.12


def test_gelled_tins_are_counted_and_heard(blend: Blend) -> None:
    data = blend(np.random.default_rng(8), m=0.8, b=2.0)
    f = fit(data, DOUBLE)
    assert f.gelled > 0
    assert abs(f.u - math.log(300.0)) < 3.5 * f.se_u


def test_an_absolute_limit_means_the_same_as_its_ratio(blend: Blend) -> None:
    data = blend(np.random.default_rng(4), m=0.3, b=1.0)
    ratio = fit(data, DOUBLE)
    absolute = fit(data, Limit(viscosity_mpas=2.0 * math.exp(ratio.a)))
    assert absolute.u == pytest.approx(ratio.u, abs=0.1 * ratio.se_u)


def test_another_limit_is_a_fit_of_its_own_on_the_same_curve(blend: Blend) -> None:
    data = blend(np.random.default_rng(4))
    f, g = fit(data, DOUBLE), fit(data, Limit(ratio=1.2))
    assert g.u < f.u
    assert g.residuals == pytest.approx(f.residuals, abs=1e-3)
    assert g.sigma == pytest.approx(f.sigma, rel=1e-3)


def test_the_same_data_give_the_same_fit_to_the_last_bit(blend: Blend) -> None:
    data = blend(np.random.default_rng(4), m=0.5, b=2.0)
    assert np.array_equal(fit(data, DOUBLE).parameters, fit(data, DOUBLE).parameters)


def test_the_order_of_the_tins_does_not_matter(blend: Blend) -> None:
    data = blend(np.random.default_rng(4), m=0.5, b=2.0)
    back = np.arange(data.tin.size)[::-1]
    fields = ("tin", "store", "kind", "ln_viscosity", "ln_upper", "days", "x", "age_days")
    turned = dataclasses.replace(data, **{name: getattr(data, name)[back] for name in fields})
    assert fit(turned, DOUBLE).u == pytest.approx(fit(data, DOUBLE).u, abs=1e-5)


def test_held_parameters_stay_and_cost_no_standard_error(blend: Blend) -> None:
    f = fit(blend(np.random.default_rng(4)), DOUBLE, FitOptions(fixed={"m": 0.0, "b": 0.0}))
    assert (f.m, f.b, f.se("m"), f.se("b")) == (0.0, 0.0, 0.0, 0.0)
    assert f.at_edge == ()


def test_priors_pull_and_are_visible_in_the_options(blend: Blend) -> None:
    plan = {23.0: (3, (0, 7, 14)), 40.0: (3, (0, 3, 7, 14))}
    data = blend(np.random.default_rng(5), plan=plan)
    pulled = fit(data, DOUBLE, FitOptions(priors=Priors(energy=75.0, energy_sd=1.0)))
    assert pulled.energy == pytest.approx(75.0, abs=2.0)
    assert pulled.options.priors is not None


def test_store_spread_widens_and_satterthwaite_counts_it(blend: Blend) -> None:
    data = blend(np.random.default_rng(6), m=-1.0)
    plain, spread = fit(data, DOUBLE, FitOptions(store_spread=0.0)), fit(data, DOUBLE)
    assert plain.df == plain.tin_df == len(data.samples) - 2
    assert spread.se_u > plain.se_u
    assert spread.df > spread.tin_df


def test_without_a_storage_store_its_spread_is_added(blend: Blend) -> None:
    plan = {40.0: (3, (0, 7, 14, 28, 42, 84)), 50.0: (3, (0, 7, 14, 28, 42)), 60.0: (3, (0, 3, 7, 14, 21))}
    f = fit(blend(np.random.default_rng(7), plan=plan, m=0.4), DOUBLE)
    assert not f.storage_store_present
    assert f.se_u > 0.05


def test_one_temperature_gives_no_energy(blend: Blend) -> None:
    f = fit(blend(np.random.default_rng(7), plan={23.0: (5, (0, 28, 56, 84, 168, 250))}), DOUBLE)
    assert f.ok
    assert not f.energy_estimated
    assert f.tin_df == 4


def test_options_that_cannot_be_are_refused() -> None:
    with pytest.raises(InputError, match="unknown parameter 'q'"):
        FitOptions(fixed={"q": 1.0})
    with pytest.raises(InputError, match="store spread"):
        FitOptions(store_spread=-0.1)


def degenerate(tin: Maker) -> dict[str, BlendReadings]:
    rng = np.random.default_rng(12)
    gel = [Kind.MEASURED, Kind.MEASURED, Kind.RIGHT_CENSORED]
    pairs = (0.0, 0.0, 14.0, 14.0, 28.0, 28.0)
    minutes = (0.0, 0.001, 0.002, 0.003, 0.004)
    decades = (0.0, 365.0, 3650.0, 7300.0, 14600.0)
    speed = {23.0: 1.0, 40.0: 5.2, 50.0: 12.7}
    return {
        "nothing": assemble([], 23.0),
        "one reading": assemble([tin("a", 23.0, [0.0], [350.0])], 23.0),
        "one tin": assemble([tin("a", 23.0, AGES, noisy(rng, AGES, 0.002))], 23.0),
        "one hot temperature": assemble(
            [tin(f"{k}", 50.0, AGES, noisy(rng, AGES, 0.02)) for k in range(4)], 23.0
        ),
        "no change": cell(tin, AGES, lambda _t: noisy(rng, AGES, 0.0)),
        "always the same number": cell(tin, AGES, lambda _t: [350.0] * 6),
        "falling": cell(tin, AGES, lambda t: noisy(rng, AGES, -0.0005 * speed[t])),
        "all gelled": assemble(
            [tin(f"{k}", 50.0, [7.0], [35000.0], [Kind.RIGHT_CENSORED]) for k in range(4)], 23.0
        ),
        "two numbers, then gel": assemble(
            [
                tin(f"{t:g}-{k}", t, [0.0, 3.0, 7.0], [350.0, 355.0, 35000.0], gel)
                for t in (23.0, 40.0, 50.0)
                for k in range(3)
            ],
            23.0,
        ),
        "every reading twice": cell(tin, pairs, lambda t: noisy(rng, pairs, 0.002 * speed[t])),
        "minutes": cell(tin, minutes, lambda _t: noisy(rng, minutes, 0.0)),
        "pot life in minutes": cell(tin, minutes, lambda t: noisy(rng, minutes, 100.0 * speed[t])),
        "forty years": cell(tin, decades, lambda t: noisy(rng, decades, 5e-5 * speed[t])),
        "slower when hot": cell(tin, AGES, lambda t: noisy(rng, AGES, 0.004 / speed[t])),
        "nonsense": cell(tin, AGES, lambda _t: np.exp(rng.uniform(0.0, 12.0, 6)).tolist()),
        "a leap": cell(tin, AGES, lambda _t: [350.0, 350.0, 350.0, 350.0, 3000.0, 3000.0]),
        "without noise": cell(tin, AGES, lambda t: [350.0 * math.exp(0.001 * speed[t] * a) for a in AGES]),
    }


def assert_finite(record: object) -> None:
    for field in dataclasses.fields(record):  # type: ignore[arg-type]
        value = getattr(record, field.name)
        if isinstance(value, float):
            assert math.isfinite(value), field.name
        if isinstance(value, np.ndarray):
            assert np.isfinite(value).all(), field.name


@pytest.mark.parametrize("priors", [None, Priors()], ids=["no priors", "priors"])
@pytest.mark.parametrize("limit", [DOUBLE, Limit(viscosity_mpas=700.0)], ids=["ratio", "viscosity"])
def test_whatever_is_put_in_the_outcome_has_a_name_and_no_number_is_nan(
    tin: Maker, limit: Limit, priors: Priors | None
) -> None:
    for name, data in degenerate(tin).items():
        f = fit(data, limit, FitOptions(priors=priors))
        given = life(f, 365.0)
        assert f.status in FitStatus, name
        assert given.outcome in LifeOutcome, name
        assert_finite(f)
        assert_finite(given)
        if given.outcome is not LifeOutcome.ESTIMATED:
            assert given.says, name
            assert given.life_days is None, name


@pytest.mark.parametrize(
    ("name", "status", "says"),
    [
        ("nothing", FitStatus.NO_READINGS, "no readings yet"),
        ("one reading", FitStatus.NOT_AGED, "after day 0"),
        ("all gelled", FitStatus.ALL_CENSORED, "gelled or over range"),
    ],
)
def test_what_cannot_be_fitted_says_why(tin: Maker, name: str, status: FitStatus, says: str) -> None:
    f: Fit = fit(degenerate(tin)[name], DOUBLE)
    assert f.status is status
    assert says in f.reason


def test_a_start_beyond_the_limit_is_named(tin: Maker) -> None:
    f = fit(degenerate(tin)["every reading twice"], Limit(viscosity_mpas=300.0))
    assert f.status is FitStatus.LIMIT_PASSED
