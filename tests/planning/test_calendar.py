from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stability.errors import InputError
from stability.planning.calendar import closed_days, due_times, local_instant

BERLIN = ZoneInfo("Europe/Berlin")
ZONES = ["Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata", "UTC", "Pacific/Apia"]
NEVER = closed_days((), ())
WEEKEND = closed_days({5, 6}, {date(2025, 4, 21)})


def plan(placed, ages, *, zone=BERLIN, closed=NEVER, take_out=False):
    return due_times(placed, ages, zone=zone, closed=closed, take_out_day_before=take_out)


def local(*parts, zone=BERLIN):
    return datetime(*parts, tzinfo=zone)


def test_summer_time_does_not_move_a_check_by_an_hour():
    placed = local(2025, 3, 4, 10)  # summer time begins on day 26
    dues = plan(placed, [0, 25, 26, 27, 56])
    assert {due.due_at.astimezone(BERLIN).time() for due in dues} == {time(10)}
    assert dues[2].due_at - dues[1].due_at == timedelta(hours=23)


def test_an_hour_that_does_not_exist_becomes_the_next_valid_instant():
    placed = local(2025, 3, 27, 2, 30)
    (due,) = plan(placed, [3])
    assert due.due_at == datetime(2025, 3, 30, 1, 0, tzinfo=UTC)
    assert due.due_at.astimezone(BERLIN).time() == time(3, 0)


def test_a_doubled_hour_is_its_first():
    (due,) = plan(local(2025, 10, 23, 2, 30), [3])
    assert due.due_at == datetime(2025, 10, 26, 0, 30, tzinfo=UTC)


def test_a_skipped_calendar_day_becomes_the_next_one():
    apia = ZoneInfo("Pacific/Apia")  # 30 December 2011 did not exist there
    (due,) = plan(local(2011, 12, 29, 9, zone=apia), [1], zone=apia)
    assert due.planned_on == date(2011, 12, 31)


def test_month_ends_and_leap_days():
    dues = plan(local(2024, 1, 31, 8), [28, 29, 30])
    assert [due.planned_on for due in dues] == [date(2024, 2, 28), date(2024, 2, 29), date(2024, 3, 1)]
    (due,) = plan(local(2023, 1, 31, 8), [29])
    assert due.planned_on == date(2023, 3, 1)


def test_a_fraction_of_a_day_is_exact_hours():
    dues = plan(local(2025, 3, 29, 12), [0.5, 1.5])
    assert [due.due_at for due in dues] == [
        datetime(2025, 3, 29, 23, tzinfo=UTC),
        datetime(2025, 3, 30, 22, tzinfo=UTC),
    ]


def test_a_tuesday_start_keeps_readings_and_take_outs_of_the_trade_calendar_on_working_days():
    dues = plan(local(2025, 3, 4, 10), [1, 3, 7, 10, 14, 21, 28], closed=WEEKEND, take_out=True)
    assert not any(due.moved for due in dues)


@pytest.mark.parametrize(("start", "age"), [(3, 7), (5, 3)])
def test_a_monday_or_wednesday_start_does_not(start, age):
    (due,) = plan(local(2025, 3, start, 10), [age], closed=WEEKEND, take_out=True)
    assert due.moved


def test_a_closed_day_before_moves_the_round_and_says_so():
    dues = plan(local(2025, 3, 4, 10), [42, 49], closed=WEEKEND, take_out=True)  # day 48 is Easter Monday
    assert [due.moved for due in dues] == [False, True]
    assert dues[1].planned_on == date(2025, 4, 23)
    assert dues[1].take_out_at == datetime(2025, 4, 22, 8, tzinfo=UTC)
    assert dues[1].age_days == 49


def test_age_zero_never_moves_and_has_no_take_out():
    sunday = local(2025, 3, 2, 10)
    (due,) = plan(sunday, [0], closed=WEEKEND, take_out=True)
    assert (due.moved, due.take_out_at, due.due_at) == (False, None, sunday)


def test_a_tin_is_not_taken_out_before_it_went_in():
    dues = plan(local(2025, 3, 4, 10), [1, 2], take_out=True)
    assert dues[0].take_out_at is None
    assert dues[1].take_out_at == datetime(2025, 3, 5, 9, tzinfo=UTC)


@pytest.mark.parametrize("age", [-1, float("nan"), float("inf"), 1e9])
def test_impossible_ages_are_refused(age):
    with pytest.raises(InputError, match="ages of checks"):
        plan(local(2025, 3, 4, 10), [7, age])


def test_a_year_of_closed_days_is_refused_instead_of_searched_for_ever():
    with pytest.raises(InputError, match="no open day"):
        plan(local(2025, 3, 4, 10), [7], closed=lambda _: True)


def test_closed_days_refuses_what_is_no_week():
    with pytest.raises(InputError, match="Monday"):
        closed_days({7}, ())
    with pytest.raises(InputError, match="all seven"):
        closed_days(range(7), ())


instants = st.integers(915_148_800, 2_840_140_800).map(lambda second: datetime.fromtimestamp(second, UTC))


@settings(max_examples=150, deadline=None)
@given(placed=instants, age=st.integers(0, 800), name=st.sampled_from(ZONES))
def test_whole_days_land_on_the_local_date_and_wall_time_of_the_plan(placed, age, name):
    zone = ZoneInfo(name)
    (due,) = plan(placed, [age], zone=zone)
    start, end = placed.astimezone(zone), due.due_at.astimezone(zone)
    gap = end.replace(tzinfo=None) - (start.replace(tzinfo=None) + timedelta(days=age))
    assert timedelta(0) <= gap <= timedelta(days=1)
    if gap:  # only where the wall time does not exist: one second earlier the clock stood before it
        before = (due.due_at - timedelta(seconds=1)).astimezone(zone)
        assert before.utcoffset() != end.utcoffset()
    assert due.planned_on == end.date()


@settings(max_examples=100, deadline=None)
@given(placed=instants, ages=st.lists(st.floats(0, 400), min_size=2), name=st.sampled_from(ZONES))
def test_older_checks_never_fall_due_earlier_and_no_act_lies_on_a_closed_day(placed, ages, name):
    zone = ZoneInfo(name)
    dues = plan(placed, [float(round(age)) for age in sorted(ages)], zone=zone, closed=WEEKEND, take_out=True)
    assert [due.due_at for due in dues] == sorted(due.due_at for due in dues)
    for due in (due for due in dues if due.age_days > 0):
        assert not WEEKEND(due.planned_on)
        assert due.take_out_at is None or not WEEKEND(due.take_out_at.astimezone(zone).date())


@settings(max_examples=100, deadline=None)
@given(day=st.dates(date(2000, 1, 1), date(2050, 1, 1)), wall=st.times(), name=st.sampled_from(ZONES))
def test_a_local_instant_is_never_before_its_wall_time(day, wall, name):
    zone = ZoneInfo(name)
    found = local_instant(day, wall, zone).astimezone(zone).replace(tzinfo=None, fold=0)
    assert found >= datetime.combine(day, wall)
