"""Many fits at once: each as it would be alone; inputs at the edge of sense have a named outcome."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest

from stability.ageing.arrays import BlendReadings, Kind, TinHistory, assemble
from stability.ageing.bounds import LifeOutcome, life
from stability.ageing.evidence import gather
from stability.ageing.fit import Fit, FitOptions, FitStatus, Limit, Priors, fit, fit_many
from tests.ageing.simulated import OUTSIDE_THE_LAW, SHAPES, Study, fleet, simulate

TWICE = Limit(ratio=2.0)


def of_every_kind(each: int) -> list[BlendReadings]:
    kinds = [Study(shape=shape) for shape in SHAPES.values()] + [make() for make in OUTSIDE_THE_LAW.values()]
    return [study for k, kind in enumerate(kinds) for study in fleet(kind, each, k)]


def same(alone: Fit, among: Fit) -> None:
    assert alone.status is among.status
    for a, b in ((alone.parameters, among.parameters), (alone.covariance, among.covariance)):
        np.testing.assert_allclose(a, b, rtol=1e-12, atol=1e-300)
    assert (alone.sigma, alone.df, alone.log_likelihood) == pytest.approx(
        (among.sigma, among.df, among.log_likelihood), rel=1e-12
    )


def test_a_blend_has_the_digits_alone_that_it_has_among_others() -> None:
    many = of_every_kind(6)
    together = fit_many(many, TWICE)
    for k in range(0, len(many), 3):
        same(fit(many[k], TWICE), together[k])
    backwards = fit_many(many[::-1], TWICE)[::-1]
    for a, b in zip(together, backwards, strict=True):
        same(a, b)


@pytest.mark.slow
def test_a_blend_has_the_digits_alone_that_it_has_among_ten_thousand() -> None:
    many = of_every_kind(625)
    together = fit_many(many, TWICE)
    for k in range(0, len(many), 500):
        same(fit(many[k], TWICE), together[k])


def test_one_bad_blend_never_stops_the_others() -> None:
    good = simulate(Study(), np.random.default_rng(1))
    wild = replace(good, ln_viscosity=np.random.default_rng(2).normal(5.7, 3.0, good.tin.size))
    empty = assemble([], 23.0)
    alone = fit(good, TWICE)
    first, second, third = fit_many([wild, empty, good], TWICE)
    assert first.status in (FitStatus.FITTED, FitStatus.NOT_CONVERGED)
    assert second.status is FitStatus.NO_READINGS
    same(alone, third)


def tin(
    ages: np.ndarray, ln_growth: np.ndarray, *, store: str = "R", c: float = 23.0, **more: object
) -> TinHistory:
    name = more.pop("sample", f"{store}1")
    return TinHistory(
        sample=str(name),
        store=store,
        temperature_c=c,
        ages_days=list(ages),
        viscosities_mpas=list(300.0 * np.exp(ln_growth)),
        days=np.asarray(ages, dtype=float)[:, np.newaxis],
        x=np.full((len(ages), 1), 0.0 if c == 23.0 else -3.4e-2),
        **more,  # type: ignore[arg-type]
    )


def wiggle(n: int, seed: int = 4) -> np.ndarray:
    return 0.01 * np.random.default_rng(seed).normal(size=n)


WEEKS = np.arange(0.0, 84.0, 7.0)
DEGENERATE = {
    "one reading": ([tin(np.array([0.0]), np.zeros(1))], FitStatus.NOT_AGED),
    "one tin": ([tin(WEEKS, 0.005 * WEEKS + wiggle(12))], FitStatus.FITTED),
    "one temperature": (
        [tin(WEEKS, 0.005 * WEEKS + wiggle(12, k), sample=f"T{k}") for k in range(4)],
        FitStatus.FITTED,
    ),
    "no change": (
        [
            tin(WEEKS, np.zeros(12), store=s, c=c, sample=f"{s}{k}")
            for s, c in (("R", 23.0), ("O", 50.0))
            for k in (1, 2)
        ],
        FitStatus.FITTED,
    ),
    "all gelled": (
        [tin(WEEKS, np.full(12, 4.6), kinds=[Kind.RIGHT_CENSORED] * 12)],
        FitStatus.ALL_CENSORED,
    ),
    "falling": (
        [
            tin(WEEKS, -0.004 * WEEKS + wiggle(12, k), store=s, c=c, sample=f"{s}{k}")
            for s, c in (("R", 23.0), ("O", 50.0))
            for k in (1, 2)
        ],
        FitStatus.FITTED,
    ),
    "minutes": ([tin(WEEKS / 1e5, wiggle(12))], FitStatus.NOT_AGED),
    "forty years": (
        [
            tin(WEEKS * 174.0, 4e-5 * 174.0 * WEEKS * f + wiggle(12, k), store=s, c=c, sample=f"{s}{k}")
            for s, c, f in (("R", 23.0, 1.0), ("O", 50.0, 13.0))
            for k in (1, 2)
        ],
        FitStatus.FITTED,
    ),
}


@pytest.mark.parametrize("name", DEGENERATE)
@pytest.mark.parametrize("priors", [False, True])
def test_inputs_at_the_edge_have_a_named_outcome(name: str, priors: bool) -> None:
    tins, status = DEGENERATE[name]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = fit(assemble(tins, 23.0), TWICE, FitOptions(priors=Priors() if priors else None))
        answer = life(found, 365.0)
        checks = gather(found)
    assert (
        found.status in (status, FitStatus.NOT_CONVERGED) if name == "no change" else found.status is status
    )
    assert answer.outcome in LifeOutcome
    numbers = [answer.life_days, answer.life_days_lower95, answer.life_days_lower95_next_tin]
    numbers += [answer.probability_before_target, *(c.p for c in checks), *(c.figure for c in checks)]
    assert all(v is None or np.isfinite(v) for v in numbers)
    assert np.isfinite(found.parameters).all()
    assert np.isfinite(found.covariance).all()


def test_every_reading_entered_twice_still_gives_an_answer() -> None:
    once = simulate(Study(), np.random.default_rng(3))
    order = np.repeat(np.arange(once.tin.size), 2)
    rows = {
        f: getattr(once, f)[order] for f in ("tin", "store", "kind", "ln_viscosity", "ln_upper", "days", "x")
    }
    twice = replace(
        once, **rows, age_days=once.age_days[order], session=once.session[order], steps=once.steps[order]
    )
    a, b = fit(once, TWICE), fit(twice, TWICE)
    assert b.ok
    # tins, not readings, are what is sampled: doubling readings must not shrink the error to 1/√2
    assert b.se_u > 0.85 * a.se_u


@pytest.mark.slow
def test_a_million_readings_in_one_study_are_fitted() -> None:
    n = 1_000_000
    generator = np.random.default_rng(6)
    tins = np.repeat(np.arange(8), n // 8)
    store = (tins >= 4).astype(np.intp)
    age = np.tile(np.linspace(0.0, 200.0, n // 8), 8)
    x = np.where(store == 1, -0.034, 0.0)
    growth = np.log(2.0) * age * np.exp(-75.0 * x) / 500.0 * np.exp(0.05 * generator.normal(size=8))[tins]
    data = BlendReadings(
        samples=tuple(f"T{k}" for k in range(8)),
        stores=("R", "O"),
        store_temperature_c=np.array([23.0, 50.0]),
        storage_c=23.0,
        tin=tins.astype(np.intp),
        store=store,
        kind=np.zeros(n, dtype=np.int8),
        ln_viscosity=5.7 + growth + 0.02 * generator.normal(size=n),
        ln_upper=np.full(n, np.inf),
        days=age[:, np.newaxis],
        x=x[:, np.newaxis],
        age_days=age,
    )
    found = fit(data, TWICE)
    assert found.ok
    assert found.sigma == pytest.approx(0.02, rel=0.01)
    assert abs(found.u - np.log(500.0)) < 4.0 * found.se_u
