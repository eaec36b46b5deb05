from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stability.statements.ladder import (
    BORROWED,
    CLAIM_MONTHS,
    ClaimFacts,
    Question,
    Rung,
    draft,
    round_down,
)
from stability.units import DAYS_PER_MONTH

GOOD = {
    "storage_c": 23.0,
    "temperatures_c": (23.0, 40.0, 50.0),
    "criterion": "viscosity 2 x initial",
    "pack": "lined tin 250 mL",
    "pack_tested": True,
    "thinner_class": "aromatic",
    "blend_tested": True,
    "function_tested": True,
    "tins": 8,
    "readings": 60,
    "lots": 1,
    "lower_bound_days": 1400.0,
    "real_time_days": 112.0,
}


def drafted(**changes):
    return draft(ClaimFacts(**GOOD | changes))


def reasons(**changes):
    return " | ".join(drafted(**changes).reasons_refused)


@pytest.mark.parametrize(
    ("days", "months"),
    [
        (0, None),
        (30.4, None),
        (30.4375, 1),
        (91.4, 3),
        (182.625, 6),
        (224, 6),
        (336, 9),
        (365.25, 12),
        (9e9, 24),
    ],
)
def test_claims_are_rounded_down_to_the_steps_of_the_trade(days, months):
    assert round_down(days) == months


def test_twelve_weeks_more_make_six_months_nine():
    """Real time of 112 days carries 2 × 112 = 7.4 months, so 6; 168 days carry 9; both provisional."""
    first, second = drafted(), drafted(real_time_days=168, lots=3)
    assert (first.months, first.rung) == (6, Rung.PROVISIONAL)
    assert (second.months, second.rung) == (9, Rung.PROVISIONAL)
    assert first.may_be_written == "6 months: provisional figure, capped"
    assert BORROWED in first.binding.words


def test_an_attempt_too_early_says_when_it_would_pass():
    early = drafted(real_time_days=84, asked_months=6)
    assert early.refused
    assert early.months is None
    text = " | ".join(early.reasons_refused)
    assert "6 months asked, 3 carried: 5.52 months by twice the real time covered" in text
    assert "passes with a reading at day 183" not in text
    assert "passes with a reading at day 92 or later, 8 days on" in text
    assert "6 more days of real time at 23 °C" in text


def test_real_time_that_covers_the_claim_lifts_the_rung():
    covered = drafted(real_time_days=400, lower_bound_days=380)
    assert (covered.months, covered.rung) == (12, Rung.TYPICAL)
    confirmed = drafted(real_time_days=400, lower_bound_days=380, lots=3)
    assert confirmed.rung is Rung.CONFIRMED
    assert (
        drafted(real_time_days=400, lower_bound_days=380, lots=3, function_tested=False).rung is Rung.TYPICAL
    )
    assert drafted(real_time_days=270, lots=3, asked_months=6).rung is Rung.CONFIRMED


def test_the_bound_of_the_worst_lot_caps_the_claim():
    found = drafted(lower_bound_days=178)
    assert found.months == 3
    assert found.binding.words.startswith("one-sided 95 % lower bound")
    assert "tighten" in reasons(lower_bound_days=178, asked_months=6)


def test_beyond_twelve_months_of_real_time_the_twelve_months_bind():
    found = drafted(real_time_days=20 * DAYS_PER_MONTH)
    assert found.cap_days == pytest.approx(32 * DAYS_PER_MONTH)
    assert found.binding.words.startswith("the real time covered + 12 months")
    assert found.months == 24


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"criterion": None}, "no criterion"),
        ({"temperatures_c": (40.0, 50.0)}, "no store within 2.5 °C"),
        ({"temperatures_c": (26.0, 50.0)}, "no store within 2.5 °C"),
        ({"temperatures_c": (60.0,)}, "one temperature only"),
        ({"unresolved_step": True}, "step"),
        ({"tins": 3}, "3 tins"),
        ({"readings": 11}, "11 readings"),
        ({"pack_tested": False, "pack": "HDPE 250 mL"}, "HDPE 250 mL was not tested"),
        ({"thinner_class": "ester", "blend_tested": False}, "ester"),
        ({"thinner_class": "glycol ether acetate", "blend_tested": False}, "ester"),
        ({"conditional_readings": 4}, "4 conditional"),
        ({"priors_used": True}, "prior"),
        ({"lower_bound_days": None}, "no lower bound"),
        ({"lower_bound_days": 20.0}, "not one month"),
        ({"real_time_days": 30.0}, "rung 1"),
        ({"lower_bound_days": float("nan")}, "no lower bound"),
        ({"heat_agrees": False, "asked_months": 6}, "real time that covers it"),
        ({"temperatures_c": (23.0, 50.0), "asked_months": 6}, "3.68 months by the real time covered"),
    ],
)
def test_what_refuses_a_claim(changes, reason):
    found = drafted(**changes)
    assert found.months is None
    assert found.refused
    assert reason in reasons(**changes)
    assert all(refusal.lifted_by for refusal in found.refusals)
    assert found.may_be_written == Rung.HEAT_ONLY.words


@pytest.mark.parametrize("changes", [{"heat_agrees": False}, {"temperatures_c": (23.0,)}])
def test_without_two_agreeing_heated_stores_real_time_alone_carries_what_it_covers(changes):
    found = drafted(**changes)
    assert (found.months, found.rung) == (3, Rung.TYPICAL)


def test_a_store_two_and_a_half_degrees_off_still_counts():
    assert drafted(temperatures_c=(25.5, 40.0, 50.0)).months == 6


def test_an_untested_ester_never_leaves_rung_one():
    found = drafted(thinner_class="ester", blend_tested=False, real_time_days=800, lots=3)
    assert found.rung is Rung.HEAT_ONLY


def test_no_store_at_all_is_solubility_only():
    found = drafted(temperatures_c=(), real_time_days=0, lower_bound_days=None, tins=0, readings=0)
    assert found.rung is Rung.SOLUBILITY
    assert found.may_be_written.endswith("use at once")


def test_a_bound_without_upper_end_is_capped_by_real_time():
    assert drafted(lower_bound_days=float("inf")).months == 6


def test_evidence_that_did_not_pass_asks_for_an_answer():
    question = Question(name="runs", says="residuals run in dose order")
    assert drafted(questions=(question,)).answers_needed == (question,)
    assert drafted(questions=(question,)).months == 6


@given(
    bound=st.none() | st.floats(0, 5000),
    real=st.floats(0, 2000),
    temperatures=st.lists(st.sampled_from([5.0, 23.0, 40.0, 50.0, 60.0]), unique=True).map(tuple),
    asked=st.none() | st.sampled_from(CLAIM_MONTHS),
    lots=st.integers(0, 5),
)
def test_no_claim_ever_exceeds_any_cap(bound, real, temperatures, asked, lots):
    found = drafted(
        lower_bound_days=bound,
        real_time_days=real,
        temperatures_c=temperatures,
        asked_months=asked,
        lots=lots,
    )
    assert (found.months is None) is found.refused
    if found.months is not None:
        days = found.months * DAYS_PER_MONTH - 1e-6
        assert days <= bound
        assert days <= 2 * real
        assert days <= real + 12 * DAYS_PER_MONTH
        assert found.rung >= Rung.PROVISIONAL
        assert asked is None or found.months == asked
