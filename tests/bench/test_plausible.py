from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stability.bench.plausible import (
    Band,
    DoubtKind,
    Entry,
    Knot,
    Neighbour,
    doubts,
    echo,
    interpolate_band,
    unit_smell,
)

BAND = Band(math.log(400), 0.02)


def kinds(value, *, band=BAND, previous=None, neighbours=(), **entry):
    entered = Entry(viscosity_mpas=value, **entry)
    found = doubts(entered, previous_mpas=previous, band=band, neighbours=neighbours, level_pct=20)
    return [doubt.kind for doubt in found]


def test_what_was_expected_raises_no_doubt():
    assert kinds(398, previous=398) == []
    assert kinds(398, temperature_c=23.2) == []


@pytest.mark.parametrize(
    ("value", "first"),
    [(4120, DoubtKind.TEN_TIMES), (41.2, DoubtKind.TENTH), (900, DoubtKind.OUTSIDE)],
)
def test_the_likeliest_slip_comes_first(value, first):
    found = kinds(value)
    assert found[0] is first
    assert found[-1] is DoubtKind.OUTSIDE


def test_a_factor_of_ten_is_seen_without_a_forecast():
    assert kinds(4120, band=None, previous=405)[0] is DoubtKind.TEN_TIMES
    assert kinds(4120, band=None, previous=None) == []


def test_a_warm_tin_is_doubted_by_its_temperature_even_inside_the_band():
    """Read at 26.8 °C, 344 mPa·s; at 4.4 %/°C that is about 406 at 23 °C."""
    entered = Entry(viscosity_mpas=344, temperature_c=26.8)
    (doubt,) = doubts(entered, previous_mpas=380, band=BAND, level_pct=20)
    assert doubt.kind is DoubtKind.WARM
    assert "407 mPa·s" in doubt.sentence
    assert "default of its class" in doubt.sentence
    assert not doubt.blocking
    assert kinds(480, temperature_c=18.9)[0] is DoubtKind.COLD


def test_a_temperature_within_a_degree_is_corrected_before_it_is_judged():
    assert kinds(400 * math.exp(-0.044 * 0.9), temperature_c=23.9) == []


def test_an_unseen_temperature_is_among_the_slips():
    assert DoubtKind.WARM in kinds(344)
    assert DoubtKind.COLD in kinds(460)
    assert DoubtKind.WARM not in kinds(344, temperature_c=23.0)


def test_the_row_above_and_swapped_tins_are_named():
    above = Neighbour(sample="A8", viscosity_mpas=246)
    assert kinds(246, neighbours=[above])[0] is DoubtKind.NEIGHBOUR
    swapped = Neighbour(sample="A8", band=Band(math.log(245), 0.02))
    assert kinds(246, neighbours=[swapped])[0] is DoubtKind.NEIGHBOUR


def test_a_copied_value_is_named_only_where_it_is_unlikely():
    assert kinds(357, previous=357)[0] is DoubtKind.COPIED
    assert DoubtKind.COPIED not in kinds(398, previous=398)


def test_a_grade_explains_what_a_number_alone_would_not():
    assert kinds(9000, gel_grade=2) == []
    assert kinds(9000, gel_grade=1) != []


@pytest.mark.parametrize(
    ("value", "previous", "grade", "smells"),
    [
        (400_000, 400, None, False),
        (400_001, 400, None, True),
        (0.4, 400, None, False),
        (0.399, 400, 1, True),
        (400_001, 400, 2, False),
        (400_001, None, None, False),
    ],
)
def test_another_unit_is_smelt_at_a_factor_of_a_thousand(value, previous, grade, smells):
    assert (unit_smell(value, previous, grade) is not None) is smells


def test_a_band_is_interpolated_between_its_knots():
    knots = [Knot(28, 6.2, 0.03), Knot(0, 6.0, 0.02), Knot(14, 6.1, 0.02)]
    assert interpolate_band(knots, 7) == Band(pytest.approx(6.05), pytest.approx(0.02))
    assert interpolate_band(knots, 21) == Band(pytest.approx(6.15), pytest.approx(0.025))
    assert interpolate_band(knots, 35) == Band(pytest.approx(6.25), pytest.approx(0.035))
    assert interpolate_band(knots, 43) is None
    assert interpolate_band(knots, -1) is None
    assert interpolate_band([], 0) is None
    assert interpolate_band(knots[:1], 28) == Band(6.2, 0.03)


def test_an_echo_says_it_in_words():
    words = "0417-P, propyl acetate 20 %, 50 °C, day 21"
    band = Band(math.log(399.5), 0.0168)
    assert (
        echo(words, 398.2, initial_mpas=278.3, band=band) == f"{words}: 398 mPa·s, up 43 % (expected 380–420)"
    )
    assert echo(words, 240, initial_mpas=250) == f"{words}: 240 mPa·s, down 4 %"
    assert echo(words, 250.4, initial_mpas=250, gel="grade 1") == f"{words}: 250 mPa·s, unchanged, grade 1"


def test_slips_that_matter_are_doubted_and_good_readings_are_not():
    """4 000 good readings and 1 000 slips, 2 % spread; slips that move less than 5 spreads do not count."""
    rng = random.Random(20250304)  # noqa: S311 - a seeded simulation
    false = sum(bool(kinds(400 * math.exp(rng.gauss(0, 0.02)), previous=398)) for _ in range(4000))
    assert false / 4000 < 0.005
    slips = [4000, 40, 400 * math.exp(-0.044 * 3), 246, 800]
    missed = sum(not kinds(slips[i % 5] * math.exp(rng.gauss(0, 0.02))) for i in range(1000))
    assert missed / 1000 < 0.05


positive = st.floats(1e-3, 1e8)


@given(
    value=positive,
    previous=st.none() | positive,
    temperature_c=st.none() | st.floats(-20, 80),
    ln_mean=st.floats(-3, 18),
    sd=st.floats(1e-3, 2),
    grade=st.none() | st.integers(0, 5),
)
def test_no_entry_breaks_the_doubts_and_none_blocks(value, previous, temperature_c, ln_mean, sd, grade):
    entered = Entry(viscosity_mpas=value, temperature_c=temperature_c, gel_grade=grade)
    band = Band(ln_mean, sd)
    found = doubts(entered, previous_mpas=previous, band=band, neighbours=[Neighbour(sample="B", band=band)])
    assert not any(doubt.blocking for doubt in found)
    assert len({doubt.kind for doubt in found}) == len(found)
