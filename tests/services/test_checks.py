"""Planned checks follow the plan, the samples and the bench; only what differs is written."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from stability.errors import InputError
from stability.records import checks as checks_room
from stability.records.tables import METADATA
from stability.services.checks import bring_up_to_date, closed_dates, open_blends, planned
from stability.services.checks_round import round_of, work_lines
from stability.services.studies import file_study
from stability.settings import Settings
from tests.fleet import ZONE, bring, day, readings, samples, set_up, settings_for, study

HOUR = timedelta(hours=1)


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return settings_for(tmp_path)


@pytest.fixture
def tins(records) -> list[dict[str, Any]]:
    found = samples()
    set_up(records, tins=found)
    return found


def rows(records, sample: str) -> dict[float, dict[str, Any]]:
    check, tin = METADATA.tables["planned_check"], METADATA.tables["sample"]
    query = sa.select(check).join(tin, tin.c.id == check.c.sample_id).where(tin.c.sample == sample)
    with records.reading() as connection:
        return {row["age_days"]: dict(row) for row in connection.execute(query).mappings()}


def states(records, sample: str) -> dict[float, str]:
    return {age: row["state"] for age, row in sorted(rows(records, sample).items())}


def test_a_plan_becomes_one_row_per_tin_and_age(records, settings, tins):
    bring_up_to_date(records, now=day(0.1), settings=settings)
    found = rows(records, "S-07-X501")
    assert sorted(found) == [0, 3, 7, 14, 21, 28]
    assert found[7]["due_at"] == day(7)
    assert found[7]["take_out_at"] == day(6)
    assert rows(records, "S-07-X231")[7]["take_out_at"] is None


def test_summer_time_moves_no_check_and_a_closed_day_moves_its_take_out(records, settings, tins):
    bring_up_to_date(records, now=day(0.1), settings=settings)
    found = rows(records, "S-07-X501")
    assert found[28]["due_at"] == day(28) - HOUR  # 10:00 in Berlin is 08:00 UTC since 30 March
    assert not found[28]["moved"]


def test_readings_make_checks_done_and_time_makes_them_due_late_and_missed(records, settings, tins):
    bring(records, day(7) + 2 * HOUR, readings=readings(tins, life_days=300, until=7))
    bring_up_to_date(records, now=day(13.5), settings=settings)
    assert states(records, "S-07-X501") == {
        0: "done", 3: "done", 7: "done", 14: "due", 21: "planned", 28: "planned",
    }  # fmt: skip
    bring_up_to_date(records, now=day(16), settings=settings)
    assert states(records, "S-07-X501")[14] == "late"
    bring_up_to_date(records, now=day(21), settings=settings)
    assert states(records, "S-07-X501")[14] == "missed"


def test_a_late_reading_serves_the_check_it_is_late_for(records, settings, tins):
    late = {"sample": "S-07-X501", "taken_at": day(17), "viscosity_mpas": 600.0, "entered_at": day(17) + HOUR}
    bring(records, day(18), readings=[late])
    bring_up_to_date(records, now=day(18), settings=settings)
    assert rows(records, "S-07-X501")[14]["done_at"] == day(17)


def test_a_reading_that_is_set_aside_no_longer_counts(records, settings, tins):
    taken = {
        "sample": "S-07-X501",
        "taken_at": day(14),
        "viscosity_mpas": 600.0,
        "entered_at": day(14) + HOUR,
    }
    bring(records, day(14.2), readings=[taken])
    bring_up_to_date(records, now=day(14.2), settings=settings)
    assert states(records, "S-07-X501")[14] == "done"
    aside = {
        "sample": "S-07-X501", "taken_at": day(14), "corrects": day(14), "reason": "wrong tin",
        "entered_at": day(14.3),
    }  # fmt: skip
    bring(records, day(14.4), readings=[aside])
    bring_up_to_date(records, now=day(14.5), settings=settings)
    assert states(records, "S-07-X501")[14] == "due"


@pytest.mark.parametrize("how", ["ending", "gel"])
def test_no_check_falls_due_after_an_ending_or_a_gel(records, settings, tins, how):
    bring(records, day(7) + 2 * HOUR, readings=readings(tins, life_days=300, until=7))
    if how == "ending":
        bring(records, day(9), endings=[{"sample": "S-07-X501", "at": day(8), "reason": "dropped"}])
    else:
        gel = {"sample": "S-07-X501", "taken_at": day(8), "gel_grade": 4, "entered_at": day(8) + HOUR}
        bring(records, day(9), readings=[gel])
    bring_up_to_date(records, now=day(30), settings=settings)
    assert set(states(records, "S-07-X501").values()) == {"done", "cancelled"}
    assert states(records, "S-07-X502")[14] == "missed"


def test_a_new_version_of_the_study_changes_what_is_still_to_come(records, settings, tins):
    bring(records, day(7) + 2 * HOUR, readings=readings(tins, life_days=300, until=7))
    bring_up_to_date(records, now=day(8), settings=settings)
    text = study().replace("days = [0, 3, 7, 14, 21, 28]", "days = [0, 14, 35]")
    file_study(records, text, person="Lena", now=day(8), zone=ZONE)
    bring_up_to_date(records, now=day(9), settings=settings)
    assert states(records, "S-07-X501") == {
        0: "done", 3: "done", 7: "done", 14: "planned", 21: "cancelled", 28: "cancelled", 35: "planned",
    }  # fmt: skip


def test_a_closed_study_has_nothing_left_to_do(records, settings, tins):
    bring_up_to_date(records, now=day(1), settings=settings)
    closing = study(extra=f"closed_at = {day(10).isoformat()}")
    file_study(records, closing, person="Lena", now=day(10), zone=ZONE)
    assert bring_up_to_date(records, now=day(40), settings=settings).checks == ()
    assert set(states(records, "S-07-X501").values()) == {"missed", "cancelled"}


def test_after_a_move_the_plan_of_the_new_store_goes_on(records, settings, tins):
    bring(records, day(5), moves=[{"sample": "S-07-X501", "at": day(5), "to_store": "ROOM-23"}])
    bring_up_to_date(records, now=day(6), settings=settings)
    assert sorted(rows(records, "S-07-X501")) == [0, 3, 7, 14, 28, 56, 90]


def test_a_sealed_twin_is_not_planned(records, settings):
    tins = samples()
    set_up(records, tins=[tins[0] | {"twin": "sealed"}, tins[1] | {"twin": "opened"}])
    bring_up_to_date(records, now=day(1), settings=settings)
    assert rows(records, tins[0]["sample"]) == {}
    assert len(rows(records, tins[1]["sample"])) == 6


def test_a_second_pass_writes_nothing(records, settings, tins, monkeypatch):
    bring_up_to_date(records, now=day(1), settings=settings)
    written: list[object] = []
    monkeypatch.setattr("stability.services.checks.write_checks", lambda *given, **_: written.append(given))
    bring_up_to_date(records, now=day(1) + HOUR, settings=settings)
    assert written == []
    assert checks_room.write_checks is not None


def test_what_was_planned_then_is_answered_without_touching_the_rows(records, settings, tins):
    bring(records, day(7) + 2 * HOUR, readings=readings(tins, life_days=300, until=7))
    bring_up_to_date(records, now=day(40), settings=settings)
    with records.reading() as connection:
        then = planned(connection, open_blends(connection, as_of=day(7)), as_of=day(7), settings=settings)
    of_tin = {c.due.age_days: c.state for c in then if c.sample.sample == "S-07-X501"}
    assert of_tin[14] == "planned"
    assert states(records, "S-07-X501")[14] == "missed"


def test_closed_days_come_from_the_files_of_the_settings(tmp_path):
    path = tmp_path / "days.toml"
    path.write_text('[days]\n2025-03-18 = "works outing"\n', "utf-8")
    shut = closed_dates(Settings(closed_days=(path,)))
    assert shut(datetime(2025, 3, 18).date())  # noqa: DTZ001
    assert not shut(datetime(2025, 3, 19).date())  # noqa: DTZ001


@pytest.mark.parametrize("text", ["[days", '[days]\n"18 March" = "x"\n', "days = 3\n"])
def test_a_closed_days_file_that_is_not_understood_is_refused(tmp_path, text):
    path = tmp_path / "days.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(InputError, match=r"days\.toml"):
        closed_dates(Settings(closed_days=(path,)))


def test_the_round_has_take_outs_readings_cautions_and_the_standing_line(records, settings, tins):
    bring(records, day(7) + 2 * HOUR, readings=readings(tins, life_days=300, until=7))
    found = round_of(records, as_of=day(13), settings=settings, within_days=1)
    acts = {(line.sample, line.take_out) for line in found.lines}
    assert ("S-07-X501", True) in acts
    assert ("S-07-X231", False) in acts
    assert ("S-07-X231", True) not in acts
    assert [line.store_temperature_c for line in found.lines if not line.take_out] == sorted(
        line.store_temperature_c for line in found.lines if not line.take_out
    )
    assert found.cautions[-1] == "SDS, local code and licensed practice come first."
    assert any("no flash point on record" in words for words in found.cautions)
    assert {line.state for line in work_lines(found, zone=ZONE)} == {"take out today", "due tomorrow"}


def test_an_empty_round_still_carries_the_standing_line(records, settings, tins):
    found = round_of(records, as_of=day(200), settings=settings)
    assert found.lines == ()
    assert found.cautions == ("SDS, local code and licensed practice come first.",)
