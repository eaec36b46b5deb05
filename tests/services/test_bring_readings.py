"""Readings come in once, whatever way they were measured, and corrections find their original."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from stability.records.engine import Records
from stability.records.history import readings
from tests.tables import NOW, ground, stored, take, taken, told

HEADER = "sample,taken_at,viscosity_mpas,gel_grade,entered_at,corrects,reason"
FIRST = "T1,2025-03-04T10:00+01:00,320.5,0,2025-03-04T11:00+01:00,,"
WEEK = "T1,2025-03-11T10:00+01:00,398,0,2025-03-11T11:00+01:00,,"


@pytest.fixture
def filed(records: Records) -> Records:
    ground(records)
    return records


@pytest.fixture
def on_file(on_sqlite: Records) -> Records:
    ground(on_sqlite)
    return on_sqlite


def counting(records: Records, as_of: datetime = NOW) -> list[tuple[str, float | None]]:
    with records.reading() as connection:
        found = readings(connection, as_of=as_of, with_set_aside=True)
    return [(f"{r.taken_at:%d.%m. %H:%M}", r.viscosity_mpas) for r in found]


def test_a_reading_keeps_both_its_times_and_the_same_row_again_is_counted_and_left_alone(
    filed: Records,
) -> None:
    assert taken(filed, HEADER, FIRST, WEEK).tables["readings"].added == 2
    row = stored(filed, "reading")[1]
    assert row["taken_at"] == datetime(2025, 3, 11, 9, 0, tzinfo=UTC)
    assert row["entered_at"] == datetime(2025, 3, 11, 10, 0, tzinfo=UTC)
    assert (row["viscosity_mpas"], row["entered_by"], row["over_range"]) == (398.0, "Mira", 0)
    again = taken(filed, HEADER, FIRST, WEEK, FIRST)
    assert (again.tables["readings"].added, again.tables["readings"].unchanged) == (0, 3)
    assert not again.changed
    assert len(stored(filed, "reading")) == 2


def test_without_a_time_of_entry_a_reading_is_known_from_now_on_and_that_is_said(filed: Records) -> None:
    brought = taken(filed, "sample,taken_at,viscosity_mpas", "T1,2025-03-11T10:00+01:00,398")
    assert brought.notes == ("1 readings without entered_at count as known from now on",)
    assert counting(filed, as_of=datetime(2025, 6, 1, tzinfo=UTC)) == []
    again = taken(
        filed, "sample,taken_at,viscosity_mpas", "T1,2025-03-11T10:00+01:00,398", now=NOW.replace(month=7)
    )
    assert again.tables["readings"].unchanged == 1
    assert again.notes == ()


def test_an_act_is_noted_once_and_nothing_new_is_no_act(filed: Records) -> None:
    taken(filed, HEADER, FIRST)
    taken(filed, HEADER, FIRST)
    noted = [row for row in stored(filed, "event") if row["verb"] == "imported"]
    assert len(noted) == 2  # the ground and the reading
    assert '"readings": {"added": 1' in noted[-1]["details"]
    assert "rows.csv" in noted[-1]["subject"]


@pytest.mark.parametrize(
    ("columns", "cells", "mpas", "rule"),
    [
        pytest.param("viscosity_mpas", "398", 398.0, None, id="a number"),
        pytest.param(
            "spindle,speed_rpm,torque_pct,instrument", "S2,60,40,VIS-1", 400.0, "torque 1", id="full scale"
        ),
        pytest.param(
            "spindle,speed_rpm,torque_pct,instrument", "S2,60,40,VIS-2", 400.0, "torque 1", id="factor"
        ),
        pytest.param("cup,efflux_s,density_g_ml", "ISO 4,60,0.95", 0.95 * 78.867, "cup 1", id="a flow cup"),
        pytest.param(
            "viscosity_mpas,cup,efflux_s,density_g_ml", "75,ISO 4,60,0.95", 75, None, id="number beats cup"
        ),
        pytest.param("gel_grade", "3", None, None, id="a grade alone"),
        pytest.param("viscosity_mpas,gel_grade", "5000,2", 5000.0, None, id="a number with a grade"),
        pytest.param(
            "gel_grade,torque_pct", "4,3", None, None, id="a grade beside torque that gives nothing"
        ),
    ],
)
def test_a_reading_is_made_of_one_of_four_things(
    on_file: Records, columns: str, cells: str, mpas: float | None, rule: str | None
) -> None:
    taken(on_file, f"sample,taken_at,{columns}", f"T1,2025-03-11T10:00+01:00,{cells}")
    (row,) = stored(on_file, "reading")
    assert row["viscosity_mpas"] == (None if mpas is None else pytest.approx(mpas, rel=1e-4))
    assert row["rule"] == rule


@pytest.mark.parametrize(
    ("typed", "mpas", "over_range", "kept"),
    [
        ("398", 398.0, 0, None),
        ("398.0", 398.0, 0, None),
        ("398.20", 398.2, 0, "398.20"),
        ("4e2", 400.0, 0, "4e2"),
        (">50000", 50000.0, 1, ">50000"),
        ("> 50000", 50000.0, 1, "> 50000"),
    ],
)
def test_the_text_as_typed_is_kept_where_it_is_not_plainly_the_number(
    on_file: Records, typed: str, mpas: float, over_range: int, kept: str | None
) -> None:
    taken(on_file, "sample,taken_at,viscosity_mpas,gel_grade", f"T1,2025-03-11T10:00+01:00,{typed},2")
    (row,) = stored(on_file, "reading")
    assert (row["viscosity_mpas"], row["over_range"], row["viscosity_text"]) == (mpas, over_range, kept)


CORRECTION = "T1,2025-03-11T10:00+01:00,389,0,2025-03-12T09:00+01:00,2025-03-11T10:00+01:00,digits exchanged"
SET_ASIDE = "T1,2025-03-11T10:00+01:00,,,2025-03-13T09:00+01:00,2025-03-11T10:00+01:00,wrong tin"


def test_a_correction_counts_from_when_it_is_known_and_the_original_stays(filed: Records) -> None:
    brought = taken(filed, HEADER, CORRECTION, SET_ASIDE, WEEK)  # in any order
    assert brought.tables["readings"].added == 3
    at = {day: datetime(2025, 3, day, 12, 0, tzinfo=UTC) for day in (11, 12, 13)}
    assert counting(filed, at[11]) == [("11.03. 09:00", 398.0)]
    assert counting(filed, at[12]) == [("11.03. 09:00", 389.0)]
    assert counting(filed, at[13]) == [("11.03. 09:00", None)]
    again = taken(filed, HEADER, WEEK, CORRECTION, SET_ASIDE)
    assert (again.tables["readings"].added, again.tables["readings"].unchanged) == (0, 3)


def test_a_correction_of_the_time_is_found_by_both_times_and_leads_to_the_original(filed: Records) -> None:
    moved = "T1,2025-03-10T10:00+01:00,398,0,2025-03-12T09:00+01:00,2025-03-11T10:00+01:00,taken on Monday"
    taken(filed, HEADER, WEEK, moved)
    by_new_time = (
        "T1,2025-03-10T10:00+01:00,389,0,2025-03-13T09:00+01:00,2025-03-10T10:00+01:00,digits exchanged"
    )
    taken(filed, HEADER, by_new_time)
    original, *corrections = stored(filed, "reading")
    assert [row["corrects_id"] for row in corrections] == [original["id"]] * 2
    assert counting(filed) == [("10.03. 09:00", 389.0)]


def test_a_correction_without_a_time_of_entry_is_the_same_when_it_says_the_same(filed: Records) -> None:
    taken(filed, HEADER, WEEK)
    undated = CORRECTION.replace("2025-03-12T09:00+01:00", "")
    assert taken(filed, HEADER, undated).tables["readings"].added == 1
    assert taken(filed, HEADER, undated, now=NOW.replace(month=7)).tables["readings"].unchanged == 1
    assert counting(filed) == [("11.03. 09:00", 389.0)]


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        pytest.param(
            CORRECTION.replace("digits exchanged", ""),
            "rows.csv line 2, reason: is empty; a correction needs its reason",
            id="no reason",
        ),
        pytest.param(
            CORRECTION.replace("2025-03-11T10:00+01:00,digits", "2025-03-11T11:00+01:00,digits"),
            "rows.csv line 2, corrects: no original of sample 'T1' was taken at 2025-03-11T10:00:00Z; "
            "expected the taken_at of what it corrects",
            id="no such original",
        ),
        pytest.param(
            CORRECTION.replace("2025-03-12T09", "2025-03-11T10"),
            "rows.csv line 2, entered_at: 2025-03-11T09:00:00Z lies before the original became known; "
            "expected from 2025-03-11T10:00:00Z on",
            id="known before its original",
        ),
        pytest.param(
            CORRECTION.replace("2025-03-11T10:00+01:00,digits exchanged", ",digits exchanged"),
            "rows.csv line 2, reason: stands without corrects; expected the time of the reading it corrects",
            id="a reason without what it corrects",
        ),
    ],
)
def test_a_correction_that_does_not_hold_is_refused(on_file: Records, line: str, fault: str) -> None:
    taken(on_file, HEADER, WEEK)
    assert told(on_file, f"{HEADER}\n{line}\n") == (fault,)


def test_two_corrections_of_one_original_at_one_time_must_say_the_same(on_file: Records) -> None:
    taken(on_file, HEADER, WEEK, CORRECTION)
    (fault,) = told(on_file, f"{HEADER}\n{CORRECTION.replace('389', '388')}\n")
    assert "another correction of the same original is known since 2025-03-12T08:00:00Z" in fault


@pytest.mark.parametrize(
    ("line", "part"),
    [
        pytest.param(
            WEEK.replace("398", "412"), "viscosity_mpas: 412 contradicts 398 on record", id="another value"
        ),
        pytest.param(
            WEEK.replace("398", ">398"), "viscosity_mpas: 398 contradicts 398 on record", id="over-range"
        ),
        pytest.param(
            WEEK.replace("398,0", "398,1"), "gel_grade: 1 contradicts 0 on record", id="another grade"
        ),
        pytest.param(
            WEEK.replace("T11", "T12"), "entered_at: 2025-03-11T11:00:00Z contradicts", id="another entry"
        ),
    ],
)
def test_a_reading_that_contradicts_the_one_on_record_is_refused(
    on_file: Records, line: str, part: str
) -> None:
    taken(on_file, HEADER, WEEK)
    (fault,) = told(on_file, f"{HEADER}\n{line}\n")
    assert fault.startswith("rows.csv line 2, ")
    assert part in fault


def test_two_rows_of_one_file_that_contradict_each_other_are_refused(on_file: Records) -> None:
    (fault,) = told(on_file, f"{HEADER}\n{WEEK}\n{WEEK.replace('398', '412')}\n")
    assert fault.startswith("rows.csv line 3, viscosity_mpas: 412 contradicts another row above")


def test_a_file_that_says_less_does_not_contradict_what_is_on_record(on_file: Records) -> None:
    taken(on_file, "sample,taken_at,viscosity_mpas,note", "T1,2025-03-11T10:00+01:00,398,clear")
    brought = taken(on_file, "sample,taken_at,viscosity_mpas", "T1,2025-03-11T10:00+01:00,398")
    assert brought.tables["readings"].unchanged == 1


def test_a_leap_by_more_than_a_thousand_smells_of_another_unit_wherever_it_stands(on_file: Records) -> None:
    taken(on_file, HEADER, WEEK)
    later = "T1,2025-03-18T10:00+01:00,0.39,0,,,"
    earlier = "T1,2025-03-05T10:00+01:00,398001,0,,,"
    (fault,) = told(on_file, f"{HEADER}\n{later}\n")
    assert fault == (
        "rows.csv line 2, viscosity_mpas: 0.39 is less than a thousandth of the sample's 398 of "
        "2025-03-11T09:00:00Z; expected mPa·s, or a gel_grade of 2 or worse beside it"
    )
    (fault,) = told(on_file, f"{HEADER}\n{earlier}\n")
    assert (
        "398001" in fault.replace("398001", "398001") or "is more than 1000 times the sample's 398" in fault
    )


def test_a_leap_of_a_sample_that_was_graded_structured_is_no_slip(on_file: Records) -> None:
    taken(on_file, HEADER, WEEK, "T1,2025-03-18T10:00+01:00,500000,2,,,")
    assert len(stored(on_file, "reading")) == 2


def test_a_leap_that_a_correction_took_back_does_not_stand_in_the_way(on_file: Records) -> None:
    wrong = WEEK.replace("398", "0.398")
    righted = CORRECTION.replace("389", "398")
    taken(on_file, HEADER, FIRST.replace("320.5", "320"), righted, wrong)
    assert counting(on_file)[-1] == ("11.03. 09:00", 398.0)
    (fault,) = told(
        on_file, {"a.csv": f"{HEADER}\n{CORRECTION.replace('389', '0.1').replace('03-12', '03-14')}\n"}
    )
    assert fault.startswith("a.csv line 2, viscosity_mpas: 0.1 is less than a thousandth")


def test_many_files_in_any_order_are_one_import(records: Records) -> None:
    from tests.tables import SAMPLES, STORES, STUDY

    brought = take(
        records,
        {
            "4.csv": f"{HEADER}\n{WEEK}\n",
            "3.csv": SAMPLES,
            "2.toml": STUDY,
            "1.csv": STORES,
            "0.csv": f"{HEADER}\n{FIRST}\n",
        },
    )
    assert brought.tables["readings"].added == 2
    assert [event["verb"] for event in stored(records, "event")] == ["imported"]
