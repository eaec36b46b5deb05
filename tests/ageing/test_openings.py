"""What opening adds: told by never-opened twins, within a given spread, and left out where nothing tells it.

The invented studies add δ per earlier opening to ln η of the re-used tins; their twins are opened once, at
the end. Tolerances come from the standard errors that the fits give themselves.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable

import numpy as np
import pytest

from stability.ageing.arrays import BlendReadings
from stability.ageing.bounds import life
from stability.ageing.fit import Fit, FitOptions, Limit, fit

Blend = Callable[..., BlendReadings]
DOUBLE = Limit(ratio=2.0)
DELTA, LIFE_DAYS = 0.010, 300.0
WITH, WITHOUT = FitOptions(opening_spread=0.02), FitOptions(opening_spread=0.0)


def opened(data: BlendReadings, *, twins: int, delta: float = DELTA) -> BlendReadings:
    """Return a study of re-used tins; the last `twins` of each store are read once, at the end."""
    openings = np.zeros(data.tin.size)
    keep = np.ones(data.tin.size, dtype=bool)
    for store in range(len(data.stores)):
        own = np.unique(data.tin[data.store == store])
        for place, tin in enumerate(own):
            rows = np.flatnonzero(data.tin == tin)
            rows = rows[np.argsort(data.age_days[rows])]
            openings[rows] = np.arange(rows.size)
            if place >= own.size - twins:
                keep[rows[:-1]] = False
                openings[rows] = 0.0
    fields = ("tin", "store", "kind", "ln_viscosity", "ln_upper", "days", "x", "age_days")
    kept = {name: getattr(data, name)[keep] for name in fields}
    kept["ln_viscosity"] = kept["ln_viscosity"] + delta * openings[keep]
    return dataclasses.replace(data, openings=openings[keep], **kept)


def study(blend: Blend, seed: int, *, twins: int = 1, delta: float = DELTA) -> BlendReadings:
    whole = blend(np.random.default_rng([7, seed]), life_days=LIFE_DAYS, sigma=0.01, sigma_tin=0.03)
    return opened(whole, twins=twins, delta=delta)


def delta_of(f: Fit) -> tuple[float, float]:
    return float(f.parameters[f.names.index("opening")]), f.se("opening")


@pytest.fixture(scope="module")
def fits() -> tuple[list[Fit], list[Fit]]:
    """Thirty studies with twins, fitted with the opening effect and without."""
    from tests.ageing.conftest import blend_of

    data = [study(blend_of, seed) for seed in range(30)]
    return [fit(d, DOUBLE, WITH) for d in data], [fit(d, DOUBLE, WITHOUT) for d in data]


def test_twins_tell_what_an_opening_adds(fits: tuple[list[Fit], list[Fit]]) -> None:
    found = np.array([delta_of(f) for f in fits[0]])
    error = found[:, 0] - DELTA
    # mean of 30 within three of its standard errors; each within four of its own
    assert abs(error.mean()) < 3.0 * math.sqrt(float((found[:, 1] ** 2).mean()) / len(found))
    assert (np.abs(error) < 4.0 * found[:, 1]).all()
    assert found[:, 1].mean() < DELTA


def test_the_standard_error_of_an_opening_is_honest(fits: tuple[list[Fit], list[Fit]]) -> None:
    found = np.array([delta_of(f) for f in fits[0]])
    inside = float((np.abs(found[:, 0] - DELTA) < 1.96 * found[:, 1]).mean())
    assert inside >= 0.80  # 0.95 − 4·√(0.95·0.05/30)


def test_the_life_is_unbiased_with_it_and_short_without(fits: tuple[list[Fit], list[Fit]]) -> None:
    with_, without = (np.array([f.u for f in some]) - math.log(LIFE_DAYS) for some in fits)
    own = float(np.mean([f.se_u for f in fits[0]])) / math.sqrt(len(with_))
    assert abs(with_.mean()) < 3.0 * own
    assert without.mean() < -3.0 * own
    assert (without < with_).mean() > 0.9


def test_the_life_asked_for_is_that_of_an_unopened_tin(blend: Blend) -> None:
    f = fit(study(blend, 1), DOUBLE, WITH)
    told = life(f)
    assert told.life_days == pytest.approx(math.exp(f.u))
    assert told.life_days_lower95 is not None
    assert told.life_days_lower95 < LIFE_DAYS


def test_without_an_effect_none_is_found(blend: Blend) -> None:
    value, error = delta_of(fit(study(blend, 3, delta=0.0), DOUBLE, WITH))
    assert abs(value) < 3.0 * error


def test_a_small_spread_holds_the_effect_near_nothing(blend: Blend) -> None:
    data = study(blend, 4)
    loose, tight = (delta_of(fit(data, DOUBLE, FitOptions(opening_spread=s)))[0] for s in (0.02, 0.0005))
    assert abs(tight) < 0.25 * abs(loose)


def test_without_twins_there_is_no_such_parameter_and_the_same_numbers(blend: Blend) -> None:
    data = study(blend, 2, twins=0)
    assert not data.opening_told
    with_, without = fit(data, DOUBLE, WITH), fit(data, DOUBLE, WITHOUT)
    assert "opening" not in with_.names
    assert with_.names == without.names
    assert np.array_equal(with_.parameters, without.parameters)
    assert np.array_equal(with_.covariance, without.covariance)
    assert (with_.u, with_.se_u, with_.df, with_.sigma) == (
        without.u,
        without.se_u,
        without.df,
        without.sigma,
    )


def test_unknown_openings_are_as_no_openings(blend: Blend) -> None:
    data = study(blend, 2)
    unknown = dataclasses.replace(data, openings=np.zeros(0))
    assert data.opening_told
    assert not unknown.opening_told
    assert np.array_equal(fit(unknown, DOUBLE, WITH).parameters, fit(data, DOUBLE, WITHOUT).parameters)


def test_fresh_twins_alone_tell_nothing(blend: Blend) -> None:
    """A never-opened tin that was read on day 0 only cannot tell what ageing unopened would have been."""
    data = study(blend, 5, twins=0)
    fresh = data.age_days <= 1.0
    assert (data.openings[fresh] == 0).any()
    assert not data.opening_told
