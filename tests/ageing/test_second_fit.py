"""Days that share a bias, recorded steps, and the lower bound of both fits.

Invented studies of exponential growth, 300 days at 23 °C; tolerances from the standard errors of the
simulations themselves.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from stability.ageing.arrays import BlendReadings
from stability.ageing.bounds import Life, LifeOutcome, life
from stability.ageing.fit import Fit, FitOptions, Limit, fit, fit_many
from stability.ageing.second_fit import day_spread_of, life_of_both, lower_of_both, with_days

Blend = Callable[..., BlendReadings]

DOUBLING = Limit(ratio=2.0)
LIFE = 300.0
DAY_SD = 0.01
STUDIES = 120
SECOND = FitOptions(day_spread=0.01)
CHANGED_ON, STEP = 28.0, -0.06


def with_day_bias(data: BlendReadings, rng: np.random.Generator, sd: float = DAY_SD) -> BlendReadings:
    days, session = np.unique(data.age_days, return_inverse=True)
    return replace(
        data,
        ln_viscosity=data.ln_viscosity + rng.normal(0.0, sd, days.size)[session],
        session=session.astype(np.intp),
        session_days=days.astype(np.int64),
    )


def chosen(data: BlendReadings, rows: npt.NDArray[np.intp], sigma: npt.NDArray[np.float64]) -> BlendReadings:
    """Rows of a study, `sigma` of fresh noise added to each."""
    names = ("tin", "store", "kind", "ln_viscosity", "ln_upper", "days", "x", "age_days", "session")
    taken = replace(data, **{name: getattr(data, name)[rows] for name in names})
    return replace(taken, ln_viscosity=taken.ln_viscosity + sigma)


def with_step(data: BlendReadings, rng: np.random.Generator, *, bridged: bool) -> BlendReadings:
    """All readings shifted from a day on; with a bridge, that day's tins are read in the old way too."""
    n = data.tin.size
    on_the_day = np.flatnonzero(data.age_days == CHANGED_ON)
    rows = np.concatenate((np.arange(n), on_the_day)) if bridged else np.arange(n)
    noise = np.where(np.arange(rows.size) < n, 0.0, rng.normal(0.0, 0.02 * math.sqrt(2.0), rows.size))
    after = (data.age_days[rows] >= CHANGED_ON) & (np.arange(rows.size) < n)
    order = np.argsort(data.tin[rows], kind="stable")
    found = chosen(data, rows[order], (noise + STEP * after)[order])
    return replace(found, steps=after[order].astype(float)[:, np.newaxis])


@pytest.fixture(scope="module")
def biased() -> tuple[list[Fit], list[Fit]]:
    from tests.ageing.conftest import blend_of

    rng = np.random.default_rng(31)
    data = [with_day_bias(blend_of(rng, life_days=LIFE), rng) for _ in range(STUDIES)]
    return fit_many(data, DOUBLING), fit_many(data, DOUBLING, SECOND)


def covered(lower: list[float | None]) -> float:
    return float(np.mean([days is not None and days <= LIFE for days in lower]))


def at_least(share: float, n: int) -> float:
    """A nominal share less three of its standard errors."""
    return share - 3.0 * math.sqrt(share * (1.0 - share) / n)


def test_the_spread_of_days_is_found(biased: tuple[list[Fit], list[Fit]]) -> None:
    variances = np.array([day_spread_of(f) ** 2 for f in biased[1]])
    error = variances.std(ddof=1) / math.sqrt(STUDIES)
    assert variances.mean() == pytest.approx(DAY_SD**2, abs=3.0 * error)
    assert error < 0.2 * DAY_SD**2


def test_the_noise_of_a_reading_is_its_own_once_days_are_told(biased: tuple[list[Fit], list[Fit]]) -> None:
    for fits, inside in ((biased[1], True), (biased[0], False)):
        sigmas = np.array([f.sigma for f in fits])
        error = sigmas.std(ddof=1) / math.sqrt(STUDIES)
        assert bool(abs(sigmas.mean() - 0.02) <= 3.0 * error) is inside


def test_the_lower_bound_of_both_covers(biased: tuple[list[Fit], list[Fit]]) -> None:
    both = [lower_of_both(life(a), life(b)).life_days_lower95 for a, b in zip(*biased, strict=True)]
    assert covered(both) >= at_least(0.95, STUDIES)
    first = [life(f).life_days_lower95 for f in biased[0]]
    share = np.median([b / a for a, b in zip(first, both, strict=True) if a and b])
    assert 0.95 < share <= 1.0, "it costs little"


def test_the_second_fit_has_days_and_no_stores(blend: Blend) -> None:
    rng = np.random.default_rng(5)
    first = fit(with_day_bias(blend(rng), rng), DOUBLING)
    second = with_days(first, 0.01)
    assert second is not None
    assert any(name.startswith("gamma") for name in first.names)
    assert not any(name.startswith("gamma") for name in second.names)
    assert sum(name.startswith("day") for name in second.names) >= second.data.session_days.size
    assert len(second.names) == second.parameters.size == second.covariance.shape[0]


def test_without_a_store_at_the_storage_temperature_the_spread_of_stores_is_in_the_second_bound_too(
    blend: Blend,
) -> None:
    plan = dict.fromkeys((40.0, 50.0, 60.0), (3, (0, 7, 14, 28, 42, 56)))
    rng = np.random.default_rng(6)
    data = with_day_bias(blend(rng, plan=plan), rng)
    second = fit(data, DOUBLING, SECOND)
    assert second.se_u**2 == pytest.approx(second.covariance[1, 1] + 0.05**2)


def test_a_study_has_the_same_second_fit_among_others_as_alone(blend: Blend) -> None:
    rng = np.random.default_rng(7)
    data = [with_day_bias(blend(rng), rng) for _ in range(5)]
    among = fit_many(data, DOUBLING, SECOND)
    for own, found in zip(data, among, strict=True):
        alone = fit(own, DOUBLING, SECOND)
        assert found.u == pytest.approx(alone.u, rel=1e-12)
        assert day_spread_of(found) == pytest.approx(day_spread_of(alone), rel=1e-9)


@pytest.mark.parametrize("days", [0, 2])
def test_unknown_or_few_days_leave_the_first_fit_alone(days: int, blend: Blend) -> None:
    rng = np.random.default_rng(8)
    data = blend(rng)
    if days:
        session = (data.age_days > 10).astype(np.intp)
        data = replace(data, session=session, session_days=np.arange(days))
    first = fit(data, DOUBLING)
    told = life(first)
    assert life_of_both(first, told, 0.01) == (told, None)


def test_a_second_fit_that_is_too_early_lowers_nothing() -> None:
    told = Life(outcome=LifeOutcome.ESTIMATED, life_days=300.0, life_days_lower95=250.0)
    early = Life(outcome=LifeOutcome.TOO_EARLY, says="2 tins")
    assert lower_of_both(told, early) is told
    lower = Life(
        outcome=LifeOutcome.LOWER_BOUND_ONLY, life_days_lower95=240.0, life_days_lower95_next_tin=230.0
    )
    both = lower_of_both(replace(told, life_days_lower95_next_tin=235.0), lower)
    assert (both.outcome, both.life_days) == (LifeOutcome.ESTIMATED, 300.0)
    assert (both.life_days_lower95, both.life_days_lower95_next_tin) == (240.0, 230.0)


def test_a_recorded_step_is_estimated_and_the_bound_covers() -> None:
    from tests.ageing.conftest import blend_of

    rng = np.random.default_rng(9)
    days = [with_day_bias(blend_of(rng, life_days=LIFE), rng, 0.0) for _ in range(STUDIES)]
    told = [with_step(data, rng, bridged=True) for data in days]
    fits = fit_many(told, DOUBLING)
    steps = np.array([f.parameters[f.names.index("step[0]")] for f in fits])
    ses = np.array([f.se("step[0]") for f in fits])
    assert steps.mean() == pytest.approx(STEP, abs=3.0 * steps.std(ddof=1) / math.sqrt(STUDIES))
    assert ses.mean() == pytest.approx(steps.std(ddof=1), rel=0.2)
    assert covered([life(f).life_days_lower95 for f in fits]) >= at_least(0.95, STUDIES)
    silent = fit_many([replace(data, steps=np.zeros((0, 0))) for data in told], DOUBLING)
    assert covered([life(f).life_days_lower95 for f in silent]) < 0.95, "unknown, it ruins the bound"


def test_a_bridge_makes_the_step_better_known(blend: Blend) -> None:
    rng = np.random.default_rng(10)
    data = with_day_bias(blend(rng), rng, 0.0)
    with_bridge, without = (
        fit(with_step(data, np.random.default_rng(11), bridged=bridged), DOUBLING)
        for bridged in (True, False)
    )
    assert with_bridge.se("step[0]") < without.se("step[0]")
