"""Short answers: what each form means, what is never guessed, and that no line raises or leaves its rule."""

from __future__ import annotations

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from stability.bench.answers import Answer, Asked, merged
from stability.bench.gel import GRADES
from stability.bench.shorthand import GRADE_OF_WORD, parse_answer
from stability.errors import InputError


def read(text, asked=Asked.VISCOSITY, full_scale_mpas=None):
    return parse_answer(text, asked=asked, full_scale_mpas=full_scale_mpas)


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("345", Answer(viscosities=(345,))),
        ("345 41.2", Answer(viscosities=(345,), torque_pct=41.2)),
        ("345 41.2 23.1", Answer(viscosities=(345,), torque_pct=41.2, temperature_c=23.1)),
        ("345 41.2% 23.1C", Answer(viscosities=(345,), torque_pct=41.2, temperature_c=23.1)),
        ("23.1°C 345", Answer(viscosities=(345,), temperature_c=23.1)),
        ("345 41.2 % 23.1 °C", Answer(viscosities=(345,), torque_pct=41.2, temperature_c=23.1)),
        ("345 t41.2", Answer(viscosities=(345,), torque_pct=41.2)),
        ("345 348", Answer(viscosities=(345, 348))),
        ("345/348/351", Answer(viscosities=(345, 348, 351))),
        ("345/700", Answer(viscosities=(345, 700))),
        (">50000", Answer(viscosities=(50_000,), over_range=True)),
        ("41.2%", Answer(torque_pct=41.2)),
        ("61.5s", Answer(efflux_s=61.5)),
        ("g3", Answer(gel_grade=3)),
        ("345 g0", Answer(viscosities=(345,), gel_grade=0)),
        ("strings", Answer(gel_grade=2)),
        ("thick g3", Answer(thick=True, gel_grade=3)),
        ("m226.31", Answer(mass_g=226.31)),
        ("226.31g", Answer(mass_g=226.31)),
        ("m226.31/214.5 345", Answer(viscosities=(345,), mass_g=226.31, mass_after_g=214.5)),
        ("336@10 300@100", Answer(speeds=((336, 10), (300, 100)))),
        ("", Answer()),
    ],
)
def test_every_form_of_the_grammar_means_what_it_says(text, meant):
    assert read(text) == meant


@pytest.mark.parametrize(
    ("asked", "text", "meant"),
    [
        (Asked.GRADE, "3", Answer(gel_grade=3)),
        (Asked.TEMPERATURE, "23.1", Answer(temperature_c=23.1)),
        (Asked.MASS, "226.31 214.5", Answer(mass_g=226.31, mass_after_g=214.5)),
        (Asked.MASS, "226.31/214.5", Answer(mass_g=226.31, mass_after_g=214.5)),
        (Asked.SECONDS, "61.5", Answer(efflux_s=61.5)),
        (Asked.SECONDS, "322 87s", Answer(viscosities=(322,), efflux_s=87)),
    ],
)
def test_a_bare_number_answers_what_is_asked(asked, text, meant):
    assert read(text, asked) == meant


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("345 23.1", "write 23.1% for torque, 23.1C for the liquid's temperature"),
        ("60 55", "write 60/55 for two determinations, 55% for torque"),
        ("345 3", "345/3 for two determinations, 3% for torque"),
    ],
)
def test_what_could_be_two_things_is_not_guessed(text, told):
    with pytest.raises(InputError, match=r"can be several things") as caught:
        read(text)
    assert told in str(caught.value)


def test_the_range_of_the_spindle_settles_what_a_number_is():
    assert read("345 23.1", full_scale_mpas=600) == Answer(viscosities=(345,), temperature_c=23.1)
    assert read("138.6 23.1", full_scale_mpas=600) == Answer(viscosities=(138.6,), torque_pct=23.1)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("41,2", "write a decimal point"),
        ("1e400", "not a finite number"),
        ("-5", "not a positive number"),
        ("0", "not a positive number"),
        ("g6", "a gel grade is 0 to 5"),
        ("g", "a gel grade is 0 to 5"),
        ("3g", "3 g is not the mass of a tin"),
        ("g1 g2", "said before"),
        ("345 200C", "not that of a liquid"),
        ("c 345", "stands alone"),
        ("thick 345", "leave one of the two away"),
        ("336@10", "write both"),
        ("345/346/347/348", "at most three"),
        ("m214.5/226.31", "more than 226.31 g|after closing is more"),
        ("nan", "not understood"),
        ("\u0663\u0664\u0665", "not understood"),
        ("x" * 300, "at most 200 characters"),
    ],
)
def test_what_is_outside_its_rule_is_refused_in_one_line(text, told):
    with pytest.raises(InputError, match=told) as caught:
        read(text)
    assert len(caught.value.faults) == 1
    assert "\n" not in caught.value.faults[0]


def test_a_later_answer_wins_and_takes_the_torque_of_the_old_number_along():
    first = read("4120 41.2 23.1C g0")
    assert merged(first, read("412")) == Answer(viscosities=(412,), temperature_c=23.1, gel_grade=0)
    assert merged(first, read("23.4C")).viscosities == (4120,)
    assert merged(first, read("g2")).gel_grade == 2


def test_the_words_of_the_card_stand_for_grades_that_are_on_it():
    assert set(GRADE_OF_WORD.values()) <= set(GRADES)
    for word in ("tongue", "sags", "hard", "rings"):
        assert word in GRADES[GRADE_OF_WORD[word]].vial


_words = st.one_of(
    st.text(max_size=8),
    st.from_regex(r"[gtm>]?-?[0-9]{1,5}(\.[0-9]{0,2})?[%cCsg/@]?[0-9]{0,3}", fullmatch=True),
    st.sampled_from(["thick", "strings", "g3", "345", "41.2", "1e5", "°", "inf", "-0", "1e309", "٣"]),
)
_lines = st.lists(_words, max_size=6).map(" ".join)


def never_raises_nor_leaves_its_rule(text, asked, full_scale_mpas):
    try:
        found = read(text, asked, full_scale_mpas)
    except InputError:
        return
    assert all(0 < value < 1e300 for value in found.viscosities)
    assert found.gel_grade is None or found.gel_grade in range(6)
    assert found.temperature_c is None or -50 <= found.temperature_c <= 150
    assert found.torque_pct is None or 0 <= found.torque_pct <= 1000
    assert found.mass_g is None or 10 <= found.mass_g < 1e6
    assert found.efflux_s is None or 0 < found.efflux_s < 1e6


_given = given(text=_lines, asked=st.sampled_from(Asked), full_scale_mpas=st.none() | st.floats(1, 1e6))


@settings(max_examples=1000)
@_given
@example(text="5e-324 1", asked=Asked.VISCOSITY, full_scale_mpas=1.0)
def test_no_answer_raises_or_leaves_its_rule(text, asked, full_scale_mpas):
    never_raises_nor_leaves_its_rule(text, asked, full_scale_mpas)


@pytest.mark.slow
@settings(max_examples=10_000)
@_given
def test_ten_thousand_answers_neither_raise_nor_leave_their_rule(text, asked, full_scale_mpas):
    never_raises_nor_leaves_its_rule(text, asked, full_scale_mpas)
