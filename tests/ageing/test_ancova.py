"""Pooling of lots and the age at which the mean meets its limit, on invented readings."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import linregress, t

from stability.ageing.ancova import Ancova, Pooling, SpreadFrom, ancova
from stability.ageing.mean_line import Criterion, Line, Meeting
from stability.errors import InputError

AGES = [0.0, 30.0, 60.0, 90.0, 120.0, 180.0]


def drying(
    lots: dict[str, tuple[float, float]],
    sd: float,
    *,
    seed: int = 3,
    criterion: Criterion | None = None,
    **how,
) -> Ancova:
    """Invented drying times: level [h] and slope [h/d] of each lot, two readings an age."""
    generator = np.random.default_rng(seed)
    rows = [
        (age, level + slope * age + sd * generator.normal(), lot)
        for lot, (level, slope) in lots.items()
        for age in AGES
        for _ in range(2)
    ]
    ages, values, names = zip(*rows, strict=True)
    return ancova(ages, values, names, criterion or Criterion(upper=8.0), **how)


def one_lot(values: list[float], criterion: Criterion, ages: list[float] | None = None) -> Line:
    found = ancova(ages or AGES[: len(values)], values, ["A"] * len(values), criterion)
    (line,) = found.lines
    return line


def test_like_lots_become_one_line() -> None:
    found = drying({"A": (4.0, 0.01), "B": (4.0, 0.01), "C": (4.0, 0.01)}, 0.1)
    assert found.pooling is Pooling.ONE_LINE
    (line,) = found.lines
    assert (line.lot, line.df) == (None, 34)


def test_lots_that_start_apart_share_their_slope_and_the_worst_governs() -> None:
    found = drying({"A": (4.0, 0.01), "B": (5.0, 0.01), "C": (4.5, 0.01)}, 0.1)
    assert found.pooling is Pooling.COMMON_SLOPE
    assert len({line.slope for line in found.lines}) == 1
    assert [line.lot for line in found.lines] == ["A", "B", "C"]
    assert found.lines[0].df == 32
    assert found.governing is not None
    assert found.governing.lot == "B"


def test_lots_that_change_apart_keep_their_lines_and_the_worst_governs() -> None:
    found = drying({"A": (4.0, 0.01), "B": (4.0, 0.02)}, 0.1)
    assert found.pooling is Pooling.OWN_LINES
    assert found.governing is not None
    assert found.governing.lot == "B"
    assert found.lines[0].sd == found.lines[1].sd


def test_own_spread_is_that_of_the_lots_regression_alone() -> None:
    generator = np.random.default_rng(8)
    values = {"A": 4 + 0.01 * np.array(AGES), "B": 4 + 0.03 * np.array(AGES)}
    values = {lot: own + 0.1 * generator.normal(size=len(AGES)) for lot, own in values.items()}
    found = ancova(
        AGES * 2,
        [*values["A"], *values["B"]],
        ["A"] * 6 + ["B"] * 6,
        Criterion(upper=8.0),
        spread=SpreadFrom.OWN_LOT,
    )
    for line in found.lines:
        alone = linregress(AGES, values[line.lot or ""])
        assert (line.slope, line.intercept) == pytest.approx((alone.slope, alone.intercept), rel=1e-12)
        assert line.sd * math.sqrt(line.unscaled[2]) == pytest.approx(alone.stderr, rel=1e-11)
        assert line.df == 4


@pytest.mark.parametrize(
    "criterion", [Criterion(upper=6.0), Criterion(lower=2.0), Criterion(lower=2.0, upper=6.0)]
)
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_at_the_age_given_the_confidence_limit_is_the_criterion(criterion: Criterion, sign: float) -> None:
    values = [4.0 + sign * change for change in (0.0, 0.3, 0.2, 0.5, 0.4, 0.9)]
    line = one_lot(values, criterion)
    both = criterion.lower is not None and criterion.upper is not None
    q = t.ppf(0.975 if both else 0.95, line.df)

    def room(age: float) -> float:
        width = line.half_width(age) * q / t.ppf(0.95, line.df)
        above = math.inf if criterion.upper is None else criterion.upper - line.mean_at(age) - width
        below = math.inf if criterion.lower is None else line.mean_at(age) - width - criterion.lower
        return min(above, below)

    if line.days is None:
        assert line.meeting is Meeting.NEVER
        assert all(room(age) > 0.0 for age in np.logspace(0, 8, 200))
    else:
        assert line.meeting is Meeting.MEETS
        assert line.days == pytest.approx(brentq(room, 0.0, 1e6, xtol=1e-9), rel=1e-9)
        assert line.beyond_data


def test_two_ends_give_less_time_than_the_one_that_is_met() -> None:
    values = [4.0, 4.3, 4.2, 4.5, 4.4, 4.9]
    upper = one_lot(values, Criterion(upper=6.0)).days
    between = one_lot(values, Criterion(lower=0.0, upper=6.0)).days
    assert upper is not None
    assert between is not None
    assert between < upper


def test_readings_on_a_line_meet_the_limit_where_the_line_does() -> None:
    line = one_lot([4.0, 4.5, 5.0, 5.5], Criterion(upper=8.0))
    assert line.days == pytest.approx(240.0, rel=1e-9)


def test_readings_on_a_level_line_never_meet_it() -> None:
    line = one_lot([4.0, 4.0, 4.0, 4.0], Criterion(upper=8.0))
    assert (line.meeting, line.days) == (Meeting.NEVER, None)


def test_a_line_that_clearly_leaves_the_limit_never_meets_it() -> None:
    line = one_lot([4.0, 3.71, 3.39, 3.12, 2.8, 2.21], Criterion(upper=8.0))
    assert (line.meeting, line.days) == (Meeting.NEVER, None)


def test_a_mean_outside_at_age_0_is_told() -> None:
    line = one_lot([8.1, 8.2, 8.5, 8.6], Criterion(upper=8.0))
    assert (line.meeting, line.days) == (Meeting.AT_START, 0.0)


@pytest.mark.parametrize(
    ("ages", "values"), [([0.0], [4.0]), ([0.0, 30.0], [4.0, 4.1]), ([30.0] * 4, [4.0, 4.1, 4.2, 4.3])]
)
def test_too_little_to_tell_is_too_early_and_never_nan(ages: list[float], values: list[float]) -> None:
    found = ancova(ages, values, ["A"] * len(ages), Criterion(upper=8.0))
    assert [line.meeting for line in found.lines] == [Meeting.TOO_EARLY]
    assert found.governing is None
    assert found.too_early == found.lines
    line = found.lines[0]
    numbers = (line.intercept, line.slope, line.sd, *line.unscaled, line.half_width(10.0))
    assert not any(math.isnan(number) for number in numbers)


def test_lots_that_cannot_be_tested_are_not_pooled() -> None:
    found = ancova([0.0, 30.0] * 2, [4.0, 4.1, 4.0, 4.1], ["A", "A", "B", "B"], Criterion(upper=8.0))
    assert (found.pooling, found.slopes) == (Pooling.OWN_LINES, None)
    assert found.governing is None


def test_a_new_lot_with_one_age_is_pooled_when_it_lies_with_the_others() -> None:
    ages = [*AGES, *AGES, 0.0, 0.0]
    values = [4.0, 4.4, 4.5, 5.0, 5.2, 5.8, 4.1, 4.2, 4.7, 4.9, 5.1, 5.9, 4.0, 4.1]
    found = ancova(ages, values, ["A"] * 6 + ["B"] * 6 + ["C"] * 2, Criterion(upper=8.0))
    assert found.pooling is Pooling.ONE_LINE
    assert found.slopes is not None
    # the new lot has no slope to compare
    assert (found.slopes.df_numerator, found.slopes.df_denominator) == (1, 9)


def test_a_new_lot_with_one_age_beside_lots_that_differ_is_too_early() -> None:
    ages = [*AGES, *AGES, 0.0, 0.0]
    values = [4.0, 4.4, 4.5, 5.0, 5.2, 5.8, 4.1, 4.8, 5.9, 6.9, 7.5, 9.6, 4.0, 4.1]
    found = ancova(ages, values, ["A"] * 6 + ["B"] * 6 + ["C"] * 2, Criterion(upper=12.0))
    assert found.pooling is Pooling.OWN_LINES
    assert [line.lot for line in found.too_early] == ["C"]
    assert found.governing is not None
    assert found.governing.lot == "B"


def test_every_reading_twice_over_leaves_the_lines_where_they_are() -> None:
    values = [4.0, 4.3, 4.2, 4.5, 4.4, 4.9]
    once = one_lot(values, Criterion(upper=6.0))
    twice = one_lot(values * 2, Criterion(upper=6.0), AGES * 2)
    assert (twice.slope, twice.intercept) == pytest.approx((once.slope, once.intercept), rel=1e-12)


def test_the_order_of_the_readings_does_not_matter() -> None:
    ages = AGES * 2
    values = [4.0, 4.4, 4.5, 5.0, 5.2, 5.8, 4.9, 5.2, 5.7, 5.9, 6.1, 6.9]
    lots = ["A"] * 6 + ["B"] * 6
    found = ancova(ages, values, lots, Criterion(upper=9.0))
    turned = ancova(ages[::-1], values[::-1], lots[::-1], Criterion(upper=9.0))
    assert turned.slopes is not None
    assert found.slopes is not None
    assert turned.slopes.f == pytest.approx(found.slopes.f, rel=1e-10)
    assert {line.lot: line.days for line in turned.lines} == pytest.approx(
        {line.lot: line.days for line in found.lines}, rel=1e-10
    )


def test_like_lots_pass_each_test_three_times_in_four_and_the_limit_holds_19_times_in_20() -> None:
    generator = np.random.default_rng(21)
    runs, age = 2000, np.array(AGES * 3)
    lots = np.repeat(["A", "B", "C"], len(AGES)).tolist()
    truth = (8.0 - 4.0) / 0.01
    pooled, slopes, kept = 0, 0, 0
    for _ in range(runs):
        values = 4.0 + 0.01 * age + 0.2 * generator.normal(size=age.size)
        found = ancova(age.tolist(), values.tolist(), lots, Criterion(upper=8.0), level=0.25)
        assert found.slopes is not None
        assert found.intercepts is not None
        slopes += found.slopes.p >= 0.25
        pooled += found.intercepts.p >= 0.25
        governing = found.governing
        assert governing is not None
        kept += governing.days is None or governing.days <= truth
    error = math.sqrt(0.75 * 0.25 / runs)
    assert slopes / runs == pytest.approx(0.75, abs=3.0 * error)
    # the worst of several lots is below the common truth more often still
    assert kept / runs >= 0.95 - 3.0 * math.sqrt(0.95 * 0.05 / runs)
    assert pooled / runs == pytest.approx(0.75, abs=3.0 * error)


@pytest.mark.parametrize(
    ("ages", "values", "lots", "says"),
    [
        ([0.0], [1.0, 2.0], ["A"], "1 ages, 2 values and 1 lots"),
        ([], [], [], "no readings"),
        ([0.0, 1.0], [1.0, math.nan], ["A", "A"], "the value of reading 2 is nan"),
        ([math.inf, 1.0], [1.0, 1.0], ["A", "A"], "the age of reading 1 is inf"),
    ],
)
def test_wrong_columns_are_refused(ages: list, values: list, lots: list, says: str) -> None:
    with pytest.raises(InputError, match=says):
        ancova(ages, values, lots, Criterion(upper=8.0))


@pytest.mark.parametrize("ends", [{}, {"lower": 2.0, "upper": 2.0}, {"upper": math.inf}])
def test_a_criterion_without_room_is_refused(ends: dict[str, float]) -> None:
    with pytest.raises(InputError):
        Criterion(**ends)
