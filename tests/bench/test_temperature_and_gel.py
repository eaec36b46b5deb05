from __future__ import annotations

import math

import pytest

from stability.bench.gel import GRADES, meaning
from stability.bench.temperature import (
    Coefficient,
    TemperatureVerdict,
    class_coefficient,
    corrected,
    measured_coefficient,
    verdict,
)
from stability.errors import InputError


@pytest.mark.parametrize(
    ("temperature_c", "expected"),
    [
        (23.0, "accept"),
        (23.3, "accept"),
        (22.7, "accept"),
        (23.31, "correct"),
        (22.0, "correct"),
        (24.0, "correct"),
        (24.1, "repeat"),
        (21.9, "repeat"),
    ],
)
def test_accept_correct_repeat(temperature_c, expected):
    assert verdict(temperature_c) is TemperatureVerdict(expected)


def test_a_correction_keeps_both_values():
    own = Coefficient(4.4, class_default=False)
    found = corrected(344, 26.8, coefficient=own)
    assert (found.raw_mpas, found.verdict) == (344, TemperatureVerdict.REPEAT)
    assert found.viscosity_mpas == pytest.approx(406, abs=1)
    assert corrected(344, 23.2, coefficient=own).viscosity_mpas == 344
    assert corrected(344, None, coefficient=own).viscosity_mpas == 344
    with pytest.raises(InputError, match="°C"):
        corrected(344, math.nan, coefficient=own)


def test_a_class_default_says_so():
    assert class_coefficient(20).pct_per_c == 4.4
    assert class_coefficient(10).pct_per_c == 6.2
    assert class_coefficient(None).pct_per_c == 8.0
    assert "not measured" in class_coefficient(20).words


def test_a_blend_s_own_coefficient_comes_from_three_temperatures():
    points = [(t, 310 * math.exp(-0.044 * (t - 23))) for t in (20, 23, 26)]
    own = measured_coefficient(points)
    assert own.pct_per_c == pytest.approx(4.4)
    assert not own.class_default
    with pytest.raises(InputError, match="two temperatures"):
        measured_coefficient(points[:1])


def test_every_grade_has_its_words():
    assert sorted(GRADES) == [0, 1, 2, 3, 4, 5]
    for grade in (-1, 6, 2.5, True):
        with pytest.raises(InputError, match="gel grade"):
            meaning(grade, viscosity_mpas=None, highest_earlier_mpas=1, gel_viscosity_mpas=1)


@pytest.mark.parametrize(
    ("grade", "viscosity", "above", "ends"),
    [
        pytest.param(1, None, None, False, id="grade 1 alone says nothing of viscosity"),
        pytest.param(2, None, 610, True, id="grade 2 without a number: above the highest earlier reading"),
        pytest.param(3, None, 610, True, id="grade 3 likewise"),
        pytest.param(3, 9000, None, True, id="a number with a grade is a number"),
        pytest.param(4, None, 32_000, True, id="grade 4: above the viscosity deemed gelled"),
        pytest.param(5, 70_000, None, True, id="a number with grade 5 is still a number"),
    ],
)
def test_what_a_grade_means(grade, viscosity, above, ends):
    found = meaning(
        grade,
        viscosity_mpas=viscosity,
        highest_earlier_mpas=610,
        gel_viscosity_mpas=32_000,
        grade_limit=2,
    )
    assert (found.above_mpas, found.ends_sample, found.gelled) == (above, ends, grade >= 4)


def test_without_a_grade_limit_only_a_gel_ends_the_tin():
    facts = {"viscosity_mpas": None, "highest_earlier_mpas": None, "gel_viscosity_mpas": 32_000}
    assert not meaning(3, **facts).ends_sample
    assert meaning(3, **facts).above_mpas is None
    assert meaning(4, **facts).ends_sample
