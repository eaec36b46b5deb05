from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from stability.planning.calendar import Due
from stability.planning.windows import CheckState, check_state, closes_at, match, opens_at, window

DAY0 = datetime(2025, 3, 4, 9, tzinfo=UTC)


def at(days):
    return DAY0 + timedelta(days=days)


def due(age, *, take_out=False, moved_by=0):
    when = at(age + moved_by)
    out = when - timedelta(days=1) if take_out else None
    return Due(age, date(2025, 3, 4) + timedelta(days=age + moved_by), when, out, moved=moved_by > 0)


def state(check, now, *, following=None, done=None, ended=None):
    moment = {"done_at": done, "ended_at": ended}
    instants = {name: None if days is None else at(days) for name, days in moment.items()}
    next_due_at = None if following is None else at(following)
    return check_state(check, next_due_at=next_due_at, now=at(now), **instants)


@pytest.mark.parametrize(
    ("age", "hours"),
    [(0, 6), (1, 6), (7, 6), (10, 24), (21, 24), (28, 72), (56, 72), (89, 72), (90, 120), (730, 120)],
)
def test_windows_of_the_trade(age, hours):
    assert window(age) == timedelta(hours=hours)


def test_weekly_checks_stay_weekly_at_any_age():
    assert window(49, gap=timedelta(days=7)) == timedelta(days=1)
    assert window(49, gap=timedelta(days=28)) == timedelta(days=3)
    assert window(3, gap=timedelta(days=1)) == timedelta(hours=6)


@pytest.mark.parametrize(
    ("now", "expected"),
    [
        pytest.param(26.5, CheckState.PLANNED, id="before its window"),
        pytest.param(26.8, CheckState.DUE, id="the morning of the take-out, the day before"),
        pytest.param(29.0, CheckState.DUE, id="exactly at the end of the window"),
        pytest.param(29.1, CheckState.LATE, id="after the window"),
        pytest.param(35.0, CheckState.MISSED, id="the next check has come due"),
    ],
)
def test_a_weekly_check_runs_from_planned_to_missed(now, expected):
    assert state(due(28, take_out=True), now, following=35) is expected


def test_the_last_check_is_missed_after_thirty_days():
    assert state(due(56), 85.9) is CheckState.LATE
    assert state(due(56), 86.0) is CheckState.MISSED


def test_done_wins_and_an_ending_cancels_only_what_was_not_late():
    assert state(due(28), 40, following=35, done=33) is CheckState.DONE
    assert state(due(28), 40, following=35, ended=20) is CheckState.CANCELLED
    assert state(due(28), 40, following=35, ended=28.5) is CheckState.CANCELLED
    assert state(due(28), 40, following=35, ended=31) is CheckState.MISSED


def test_a_window_opens_for_the_take_out_even_where_it_is_narrow():
    check = due(3, take_out=True)
    assert opens_at(check, next_due_at=at(7)) == at(1.75)
    assert closes_at(check, next_due_at=at(7)) == at(3.25)


def served(ages, readings):
    dues = [due(age) for age in ages]
    return {ages[i]: readings[j] for i, j in match(dues, [at(day) for day in readings]).items()}


def test_each_reading_serves_at_most_one_check():
    assert served([0, 7, 14], [0, 7.1, 14]) == {0: 0, 7: 7.1, 14: 14}
    assert served([7, 8], [7.5]) in ({7: 7.5}, {8: 7.5})
    assert served([7, 14], [7, 7.01]) == {7: 7}


def test_a_late_reading_serves_the_check_it_is_late_for():
    assert served([21, 28, 35], [21, 33]) == {21: 21, 28: 33}
    assert served([21, 28, 35], [21, 33, 35]) == {21: 21, 28: 33, 35: 35}


def test_what_is_left_over_may_serve_the_coming_check_from_half_the_gap():
    assert served([7, 14], [7, 12]) == {7: 7, 14: 12}
    assert served([7, 14], [7, 10]) == {7: 7}


def test_a_reading_far_from_everything_serves_nothing():
    assert served([0, 7], [0, 60]) == {0: 0}
    assert served([], [1]) == {}


def test_order_of_the_rows_does_not_matter():
    ages, readings = [35, 0, 28, 21], [33, 0.1, 21, 35.2]
    assert served(ages, readings) == {0: 0.1, 21: 21, 28: 33, 35: 35.2}
