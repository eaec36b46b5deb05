"""When an instrument could be believed: lapses, as-found values, checks, releases, holds; times invented."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stability.bench.control_chart import chart, cusum, ewma, ewma_limits
from stability.bench.instruments import (
    Cause,
    Certificate,
    Check,
    CheckKind,
    conditional_for,
    doubtful_spans,
    found_tolerance_pct,
)
from stability.bench.session import HoldReason, Override, why_held
from stability.errors import InputError

DAY_0 = datetime(2025, 3, 4, 9, tzinfo=UTC)


def day(number: float) -> datetime:
    return DAY_0 + timedelta(days=number)


def certificate(at: float, due: float, found: float | None = None, **given) -> Certificate:
    return Certificate(at=day(at), due_at=day(due), entered_at=day(at), as_found_pct=found, **given)


def oil(at: float, off_pct: float, kind: CheckKind = CheckKind.OIL, limit: float = 2.0) -> Check:
    return Check(
        at=day(at),
        kind=kind,
        expected_mpas=350.0,
        read_mpas=350.0 * (1 + off_pct / 100),
        entered_at=day(at),
        limit_pct=limit,
    )


def causes(spans, taken: float, released: float | None = None) -> list[Cause]:
    at = None if released is None else day(released)
    return [span.cause for span in conditional_for(spans, taken_at=day(taken), released_at=at)]


def test_what_is_taken_between_a_lapse_and_the_next_certificate_is_conditional():
    spans = doubtful_spans([certificate(-280, 84, 0.2), certificate(91, 455, 0.8)], [])
    assert [causes(spans, at) for at in (83, 84, 85, 90.9, 91, 92)] == [
        [], [], [Cause.LAPSED], [Cause.LAPSED], [], [],
    ]  # fmt: skip


def test_nothing_is_said_of_an_instrument_before_its_first_certificate_nor_without_any():
    assert causes(doubtful_spans([certificate(10, 20)], []), 5) == []
    assert doubtful_spans([], [oil(1, 0.5)]) == ()


@pytest.mark.parametrize(
    ("found", "expected"),
    [
        pytest.param(0.8, [], id="within the tolerance nothing is in doubt"),
        pytest.param(1.0, [], id="exactly at the tolerance neither"),
        pytest.param(-1.4, [Cause.FOUND_OUT], id="beyond it everything since the last good check is"),
    ],
)
def test_an_as_found_value_judges_the_time_before_it(found, expected):
    spans = doubtful_spans([certificate(0, 200), certificate(100, 300, found)], [oil(60, 0.4), oil(80, 3.0)])
    found_out = [span for span in spans if span.cause is Cause.FOUND_OUT]
    assert causes(found_out, 70) == expected
    assert causes(found_out, 59) == [], "before the last good check"
    assert causes(found_out, 101) == [], "after the certificate"


def test_a_bad_check_touches_what_lies_between_its_neighbours():
    spans = doubtful_spans([], [oil(0, 0.1), oil(7, 2.6), oil(14, -0.3)])
    assert [causes(spans, at) for at in (0, 3, 8, 15)] == [[], [Cause.OIL_OFF], [Cause.OIL_OFF], []]
    (span,) = spans
    assert span.says == "the check oil read +2.6 %, limit ± 2 %"


def test_a_sentinel_is_not_acquitted_by_an_oil():
    spans = doubtful_spans([], [oil(6.9, 0.0), oil(7, -6.0, CheckKind.SENTINEL, 5.0), oil(7.1, 0.0)])
    assert causes(spans, 6) == causes(spans, 8) == [Cause.SENTINEL_OFF]


def test_a_release_covers_what_was_known_and_nothing_found_later():
    checks = [oil(0, 0.1), oil(7, 2.6), oil(14, 0.0)]
    spans = doubtful_spans([], checks)
    assert causes(spans, 3, released=8) == []
    found_later = doubtful_spans([certificate(-10, 90), certificate(20, 400, 4.0)], checks[:1])
    assert causes(found_later, 3, released=8) == [Cause.FOUND_OUT]


def test_a_reading_taken_after_a_lapse_is_not_covered_by_a_release_made_before_it():
    spans = doubtful_spans([certificate(-280, 84)], [])
    assert causes(spans, 90, released=88) == [Cause.LAPSED]
    assert causes(spans, 90, released=91) == []


def test_a_good_check_is_not_off_at_exactly_its_limit():
    assert oil(0, 2.0).good
    assert not oil(0, -2.001).good
    with pytest.raises(InputError, match="positive"):
        oil(0, -100.0)


def test_a_session_is_held_from_a_bad_oil_to_a_good_one():
    checks = [oil(0, 0.1), oil(7, 2.6), oil(7.1, 0.2)]
    assert [why_held(checks, at=day(at)) is not None for at in (6, 7, 7.05, 7.1, 8)] == [
        False, True, True, False, False,
    ]  # fmt: skip
    hold = why_held(checks, at=day(7))
    assert hold is not None
    assert hold.reason is HoldReason.OIL_OFF
    assert hold.says == "the check oil read 359 for 350 mPa·s, +2.6 %, limit ± 2 %"


def test_the_sentinel_holds_although_the_oil_is_good_and_the_oil_is_told_first():
    sentinel = oil(7, 6.0, CheckKind.SENTINEL, 5.0)
    assert why_held([oil(7, 0.1), sentinel], at=day(8)).reason is HoldReason.SENTINEL_OFF
    assert why_held([oil(7, 2.2), sentinel], at=day(8)).reason is HoldReason.OIL_OFF


def test_an_override_lasts_until_the_next_check():
    checks = [oil(7, 2.6), oil(8, 2.4)]
    override = Override(at=day(7.2), person="Lena V.", reason="cold bottle")
    assert why_held(checks[:1], at=day(7.1), overrides=[override]) is None, "also for what lies between"
    assert why_held(checks, at=day(7.5), overrides=[override]) is None
    assert why_held(checks, at=day(8), overrides=[override]) is not None
    earlier = Override(at=day(6), person="Lena V.", reason="no")
    assert why_held(checks[:1], at=day(7.5), overrides=[earlier]) is not None


def test_a_certificate_made_since_ends_a_hold():
    assert why_held([oil(7, 2.6)], at=day(9), certificates=[certificate(8, 300)]) is None
    assert why_held([oil(7, 2.6)], at=day(9), certificates=[certificate(6, 300)]) is not None


def test_tolerances_of_kinds_without_a_typed_one():
    assert [found_tolerance_pct(kind) for kind in ("rotational", "cup", "balance")] == [1.0, 3.0, 0.1]


def test_a_slow_drift_is_told_before_any_check_is_off():
    off = [0.2, 0.5, 0.9, 1.1, 1.3, 1.5, 1.6, 1.7, 1.8]
    found = chart(off, limit_pct=2.0)
    assert max(off) < 2.0
    assert found.signal == "EWMA +1.5 % beyond ± 1.3 %: reads high"
    assert chart([0.3, -0.4, 0.2, -0.1], limit_pct=2.0).signal is None
    assert chart([], limit_pct=2.0).signal is None


def test_charts_refuse_what_is_no_number():
    for call in (
        lambda: ewma([float("nan")], start=0.0),
        lambda: ewma([1.0], start=0.0, weight=1.5),
        lambda: cusum([float("inf")], target=0.0, slack=0.5, decision=5.0),
        lambda: ewma_limits(0.0),
        lambda: chart([1.0], limit_pct=float("nan")),
    ):
        with pytest.raises(InputError):
            call()


@given(
    offs=st.lists(st.floats(-5, 5), min_size=1, max_size=12),
    at=st.floats(0, 13),
    due=st.floats(0.5, 12),
)
def test_whatever_was_checked_a_held_reading_is_also_conditional_and_a_release_clears_it(offs, at, due):
    checks = [oil(place, off) for place, off in enumerate(offs)]
    certificates = [certificate(-1, due)]
    spans = doubtful_spans(certificates, checks)
    hold = why_held(checks, at=day(at), certificates=certificates)
    if hold is not None and day(at) != hold.check.at:
        assert Cause.OIL_OFF in causes(spans, at)
    assert causes(spans, at, released=1000) == []
