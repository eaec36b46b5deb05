from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from stability.bench.labels import ALPHABET, check_character, labelled, verify_label
from stability.errors import InputError

codes = st.text(ALPHABET[:36], min_size=1, max_size=12)


def test_blood_donation_number():
    """ISO/IEC 7064 MOD 37,2 on G123489654321 gives Y (example of a number library, from memory)."""
    assert check_character("G1234 89 654321") == "Y"


def test_separators_and_case_do_not_count():
    assert check_character("a5-r1") == check_character("A5R1")
    assert verify_label(labelled("a5-r1").lower())


@given(codes)
def test_a_label_verifies(code):
    assert verify_label(labelled(code))


@given(code=codes, place=st.integers(0, 11), wrong=st.sampled_from(ALPHABET[:36]))
def test_one_wrong_character_is_caught(code, place, wrong):
    place %= len(code)
    assume(code[place] != wrong)
    typed = code[:place] + wrong + code[place + 1 :]
    assert not verify_label(f"{typed}-{check_character(code)}")


@given(code=codes, place=st.integers(0, 10))
def test_two_swapped_neighbours_are_caught(code, place):
    assume(len(code) > 1)
    place %= len(code) - 1
    assume(code[place] != code[place + 1])
    typed = code[:place] + code[place + 1] + code[place] + code[place + 2 :]
    assert not verify_label(f"{typed}-{check_character(code)}")


def test_what_is_no_code_is_refused_or_not_verified():
    with pytest.raises(InputError, match="letters or digits"):
        check_character("--")
    assert not verify_label("")
    assert not verify_label("7")
    assert not verify_label("A-é")
