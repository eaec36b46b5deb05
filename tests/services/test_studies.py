"""A study file says what is asked; a change is a new version, and every fault names its line and key."""

# ruff: noqa: E501  (a line that is shown is easier to compare in one piece)

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from stability.errors import InputError
from stability.records.engine import Records
from stability.records.history import studies
from stability.services.studies import file_study
from tests.tables import BERLIN, NOW, STUDY, stored, take

LATER = datetime(2025, 7, 1, tzinfo=UTC)


def filed(records: Records, text: str, now: datetime = NOW) -> tuple[int, bool]:
    done = file_study(records, text, person="Lena", now=now, zone=BERLIN, name="S-07.toml")
    return done.version, done.changed


def test_the_same_text_again_changes_nothing_and_a_change_is_a_new_version(records: Records) -> None:
    assert filed(records, STUDY) == (1, True)
    assert filed(records, STUDY) == (1, False)
    assert filed(records, f"# a remark\n{STUDY}") == (1, False)
    assert filed(records, STUDY.replace("= 365", "= 540"), LATER) == (2, True)
    with records.reading() as connection:
        (then,) = studies(connection, as_of=NOW)
        (now,) = studies(connection, as_of=LATER)
    assert (then.target_life_days, now.target_life_days) == (365.0, 540.0)
    assert then.limits == {"viscosity_ratio": 2.0, "gel_grade": 2.0}
    assert [(p.store, p.age_days, p.kind) for p in then.plan][:2] == [
        ("OVN-50", 0.0, "gel"),
        ("OVN-50", 0.0, "viscosity"),
    ]
    assert [event["verb"] for event in stored(records, "event")] == ["filed study"] * 2


def test_a_study_is_closed_by_its_file(on_sqlite: Records) -> None:
    filed(on_sqlite, STUDY)
    for number, text in enumerate(
        ('"2025-05-01T10:00+02:00"', "2025-05-01T10:00:00+02:00", "2025-05-01T10:00:00")
    ):
        filed(on_sqlite, f"closed_at = {text}\n{STUDY}")
        assert len(stored(on_sqlite, "study_version")) == 2, f"spelling {number} means the same instant"
    assert stored(on_sqlite, "study_version")[1]["closed_at"] == datetime(2025, 5, 1, 8, 0, tzinfo=UTC)


def test_a_plan_for_a_store_that_is_not_there_yet_is_taken_and_pointed_out(on_sqlite: Records) -> None:
    assert file_study(on_sqlite, STUDY, person="Lena", now=NOW).missing_stores == ("OVN-50",)
    brought = take(on_sqlite, {"S-08.toml": STUDY.replace("S-07", "S-08")})
    assert brought.notes == ("study S-08 plans checks in store 'OVN-50', which is not on record yet",)


FAULTS = [
    ("code = \"S-07\"\n", "", "S-07.toml, code: is missing; expected a text in quotes"),
    ("S-07", "../S", "S-07.toml line 1, code: '../S' cannot name a file; expected no slash and no leading dot"),
    ("title = \"Thinners", "titel = \"Thinners", "S-07.toml line 2, titel: is unknown; did you mean title?"),
    ("365", "\"long\"", "S-07.toml line 3, target_life_days: 'long' is not a number; expected a number above 0 and below 36525"),
    ("365", "0", "S-07.toml line 3, target_life_days: '0' is out of bounds; expected a number above 0 and below 36525"),
    ("23.0", "nan", "S-07.toml line 4, storage_c: 'nan' is not a number; expected a number above -90 and below 200"),
    ("23.0", "true", "S-07.toml line 4, storage_c: 'True' is not a number; expected a number above -90 and below 200"),
    ("viscosity_ratio = 2.0\ngel_grade = 2\n", "", "S-07.toml line 6, limits: is missing; a study needs at least one of "
     "viscosity_ratio, viscosity_max_mpas, gel_grade, dry_through_ratio"),
    ("viscosity_ratio = 2.0", "viscosity_ratio = 1", "S-07.toml line 7, limits.viscosity_ratio: '1' is out of bounds; expected "
     "a number above 1 and below 1e+06"),
    ("viscosity_ratio", "viscosity_ration", "S-07.toml line 7, limits.viscosity_ration: is unknown; did you mean viscosity_ratio?"),
    ("gel_grade = 2", "gel_grade = 0", "S-07.toml line 8, limits.gel_grade: '0' is no grade; expected 1 to 5"),
    ("[0, 7, 14]", "[]", "S-07.toml line 10, plan.OVN-50.days: '[]' is no list; expected ages in days, such as [0, 7, 14, 28]"),
    ("[0, 7, 14]", "[0, -7]", "S-07.toml line 10, plan.OVN-50.days: '-7' is no age; expected ages in days, such as [0, 7, 14, 28]"),
    ("[0, 7, 14]", "[7, 7.0]", "S-07.toml line 10, plan.OVN-50.days: '7.0' stands there twice; expected ages in days, such as "
     "[0, 7, 14, 28]"),
    ('"gel"]', '"gels"]', "S-07.toml line 11, plan.OVN-50.checks: 'gels' is no kind of check; did you mean gel?"),
    ("owner = ", "closed_at = \"soon\"\nowner = ", "S-07.toml line 5, closed_at: 'soon' is not an ISO 8601 time; expected a time "
     "such as 2025-03-04T10:00:00+01:00"),
    ("title = ", "title ", "S-07.toml: is not TOML: Expected '=' after a key in a key/value pair (at line 2, column 7); expected "
     "key = value lines"),
    (STUDY, " \n", "S-07.toml: is empty; expected a study file with code, title, … and limits"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "fault"), FAULTS, ids=[f[2][10:60] for f in FAULTS])
def test_a_study_that_cannot_be_kept_is_told_why(on_sqlite: Records, old: str, new: str, fault: str) -> None:
    with pytest.raises(InputError) as refused:
        filed(on_sqlite, STUDY.replace(old, new))
    assert fault in refused.value.faults
    assert stored(on_sqlite, "study_version") == []


def test_a_version_brought_from_elsewhere_keeps_the_time_it_was_known_from(on_sqlite: Records) -> None:
    stamp = "# known since 2025-01-01T00:00:00Z\n"
    filed(on_sqlite, stamp + STUDY)
    (row,) = stored(on_sqlite, "study_version")
    assert (row["entered_at"], row["source"]) == (datetime(2025, 1, 1, tzinfo=UTC), STUDY)
    # somebody edits the exported file: the stamp is that of the version before, so the change counts from now
    assert filed(on_sqlite, stamp + STUDY.replace("= 365", "= 540")) == (2, True)
    assert stored(on_sqlite, "study_version")[1]["entered_at"] == NOW


def test_an_older_version_that_says_something_else_than_the_one_on_record_is_refused(
    on_sqlite: Records,
) -> None:
    filed(on_sqlite, STUDY)
    with pytest.raises(
        InputError, match=r"S-07\.v1\.toml: version 1 of study 'S-07' on record asks something else"
    ):
        take(on_sqlite, {"S-07.v1.toml": STUDY.replace("= 365", "= 540")})
