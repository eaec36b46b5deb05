"""May lots be pooled: size and power of the test, and what is pooled, on invented studies of three lots.

The first lot stands at four temperatures, two later ones at two. Tolerances are three standard errors of the
simulated share. The rule is that of ICH Q1E (2003), appendix B, slopes before intercepts at 0.25.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from stability.ageing.ancova import Pooling
from stability.ageing.arrays import BlendReadings
from stability.ageing.bounds import life
from stability.ageing.fit import FitOptions, Limit, fit
from stability.ageing.lots import LotTest, lot_test, lot_tests, pooled, with_levels
from stability.errors import InputError
from tests.ageing.conftest import PLAN, blend_of

DOUBLING = Limit(ratio=2.0)
WITH_DAYS = FitOptions(day_spread=0.01)
LATER_LOT = {23.0: (3, (0, 14, 28, 56, 84, 112, 140)), 50.0: (2, (0, 3, 7, 14, 21, 28, 42))}
LEVELS = (0.0, 0.03, -0.02)
ALIKE, APART = (1.0, 1.0, 1.0), (1.0, 1.22, 0.91)
STUDIES, FEW = 80, 24
_OF_READINGS = ("kind", "ln_viscosity", "ln_upper", "days", "x", "age_days")


def joined(parts: Sequence[BlendReadings]) -> BlendReadings:
    """Several lots as one blend; the stores are those of the first."""
    stores, first = parts[0].stores, np.cumsum([0, *(len(p.samples) for p in parts)])
    places = [np.array([stores.index(s) for s in p.stores], dtype=np.intp) for p in parts]
    return replace(
        parts[0],
        samples=tuple(f"{k}/{s}" for k, p in enumerate(parts) for s in p.samples),
        tin=np.concatenate([p.tin + k for p, k in zip(parts, first, strict=False)]),
        store=np.concatenate([place[p.store] for p, place in zip(parts, places, strict=True)]),
        **{name: np.concatenate([getattr(p, name) for p in parts]) for name in _OF_READINGS},
    )


def study(
    rng: np.random.Generator,
    rates: Sequence[float],
    levels: Sequence[float] = LEVELS,
    *,
    day_bias: float = 0.0,
    **given: Any,
) -> tuple[BlendReadings, list[int]]:
    """Lots of one blend; each is read on days of its own, which share a bias."""
    parts = []
    for k, (rate, level) in enumerate(zip(rates, levels, strict=True)):
        plan = PLAN if k == 0 else LATER_LOT
        part = blend_of(rng, life_days=300.0 / rate, plan=plan, **given)
        parts.append(replace(part, ln_viscosity=part.ln_viscosity + level))
    lots = [k for k, part in enumerate(parts) for _ in part.samples]
    data = joined(parts)
    numbers = 1000 * np.array(lots)[data.tin] + data.age_days.astype(np.int64)
    days, session = np.unique(numbers, return_inverse=True)
    bias = rng.normal(0.0, day_bias, days.size)[session]
    biased = replace(data, ln_viscosity=data.ln_viscosity + bias, session=session, session_days=days)
    return biased, lots


def simulated(
    seed: int, rates: Sequence[float], options: FitOptions | None = None, studies: int = STUDIES, **given: Any
) -> list[LotTest]:
    rng = np.random.default_rng(seed)
    data, lots = zip(*(study(rng, rates, **given) for _ in range(studies)), strict=True)
    return lot_tests(data, lots, DOUBLING, options)


def within(share: float, nominal: float) -> bool:
    return abs(share - nominal) <= 3.0 * math.sqrt(nominal * (1.0 - nominal) / STUDIES)


@pytest.mark.parametrize("shape", [(0.0, 0.0), (-1.0, 3.0), (0.5, 2.0)])
def test_lots_that_are_alike_are_kept_apart_as_often_as_the_level_says(shape: tuple[float, float]) -> None:
    found = simulated(3, ALIKE, levels=(0.0, 0.0, 0.0), m=shape[0], b=shape[1])
    for tests in ([t.lives for t in found], [t.levels for t in found]):
        assert all(t is not None for t in tests)
        assert within(float(np.mean([t.p < 0.25 for t in tests if t])), 0.25)


def test_a_lot_that_ages_faster_is_found() -> None:
    found = simulated(4, APART)
    assert np.mean([t.pooling is Pooling.OWN_LINES for t in found]) == 1.0
    assert np.mean([t.lives is not None and t.lives.p < 0.05 for t in found]) >= 0.95


def test_levels_of_their_own_are_no_other_life() -> None:
    found = simulated(5, ALIKE)
    alike = [t for t in found if t.alike]
    assert within(len(alike) / STUDIES, 0.75)
    assert all(t.pooling is Pooling.COMMON_SLOPE for t in alike)


def test_days_that_share_a_bias_are_no_difference_of_lots_once_they_are_told() -> None:
    same: dict[str, Any] = {"day_bias": 0.02, "sigma": 0.01, "sigma_tin": 0.02, "studies": FEW}
    told, untold = (
        np.mean([t.lives.p < 0.25 for t in simulated(6, ALIKE, options, **same) if t.lives])
        for options in (WITH_DAYS, None)
    )
    assert told <= 0.25 + 3.0 * math.sqrt(0.25 * 0.75 / FEW)
    assert untold > told
    faster = simulated(7, APART, WITH_DAYS, **same)
    assert np.mean([t.pooling is Pooling.OWN_LINES for t in faster]) >= 0.9


def test_the_pooled_life_is_that_of_all_lots_and_better_known() -> None:
    rng, errors, shares = np.random.default_rng(8), [], []
    for _ in range(30):
        data, lots = study(rng, ALIKE)
        together = fit(with_levels(data, lots), DOUBLING)
        first = fit(blend_of(rng), DOUBLING)
        errors.append(together.u - math.log(300.0))
        shares.append(together.se_u / first.se_u)
        levels = [together.parameters[together.names.index(f"level[{k}]")] for k in (0, 1)]
        assert levels == pytest.approx(LEVELS[1:], abs=0.03)
    assert abs(np.mean(errors)) <= 3.0 * np.std(errors, ddof=1) / math.sqrt(len(errors))
    assert np.mean(shares) < 1.0


def test_an_absolute_limit_needs_equal_levels_too() -> None:
    data, lots = study(np.random.default_rng(12), ALIKE, sigma_tin=0.08)
    ratio, absolute = (lot_test(data, lots, limit) for limit in (DOUBLING, Limit(viscosity_mpas=700.0)))
    assert ratio.pooling is Pooling.COMMON_SLOPE
    assert absolute.lives is not None
    assert absolute.lives.p > 0.25
    assert absolute.pooling is Pooling.OWN_LINES


def test_what_cannot_be_tested_is_not_pooled() -> None:
    rng = np.random.default_rng(9)
    few = {23.0: (1, (0, 14, 28, 56)), 50.0: (1, (0, 7, 14, 28))}
    parts = [blend_of(rng, plan=few), blend_of(rng, plan=few)]
    one_each = lot_test(joined(parts), [0, 0, 1, 1], DOUBLING)
    assert not one_each.alike or one_each.lives is not None
    fresh = [blend_of(rng, plan={23.0: (2, (0,))}) for _ in range(2)]
    assert lot_test(joined(fresh), [0, 0, 1, 1], DOUBLING) == LotTest(
        pooling=Pooling.OWN_LINES, lives=None, levels=None
    )
    placed_only = [blend_of(rng), blend_of(rng, plan={23.0: (2, (0, 0.1))})]
    lots = [0] * len(placed_only[0].samples) + [1, 1]
    assert lot_test(joined(placed_only), lots, DOUBLING).lives is None
    each_its_own = lot_test(joined(parts), [0, 1, 2, 3], DOUBLING)
    assert each_its_own.lives is None
    assert not each_its_own.alike


def test_a_single_lot_is_one_line() -> None:
    data = blend_of(np.random.default_rng(10))
    found = lot_test(data, [4] * len(data.samples), DOUBLING)
    assert (found.pooling, found.lives) == (Pooling.ONE_LINE, None)
    assert pooled(data, [4] * len(data.samples), found) is data


def test_every_tin_has_a_lot() -> None:
    data = blend_of(np.random.default_rng(11))
    with pytest.raises(InputError, match="2 numbers of lots for 11 tins"):
        lot_test(data, [0, 1], DOUBLING)


def test_what_is_pooled_has_levels_where_they_differ() -> None:
    data, lots = study(np.random.default_rng(12), ALIKE)
    apart = LotTest(pooling=Pooling.OWN_LINES, lives=None, levels=None)
    assert pooled(data, lots, apart) is None
    assert pooled(data, lots, replace(apart, pooling=Pooling.ONE_LINE)) is data
    own = pooled(data, lots, replace(apart, pooling=Pooling.COMMON_SLOPE))
    assert own is not None
    assert own.levels.shape == (data.tin.size, 2)
    assert own.levels.sum(axis=0).tolist() == [float((np.array(lots)[data.tin] == k).sum()) for k in (1, 2)]
    told = life(fit(own, DOUBLING))
    assert told.life_days is not None
