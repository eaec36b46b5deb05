"""Corrections: both values stay for ever, the latest entry counts, a swap is both or neither."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from stability.errors import InputError
from stability.records.history import readings
from stability.services.correct import Corrected, correct_reading, set_aside, swap_readings
from stability.services.entry import ReadingEntry
from stability.services.record import log_reading
from tests.builders import BERLIN, NOW, PLACED, Bench, bench

DAY = timedelta(days=1)
FIRST, SECOND = PLACED, PLACED + 21 * DAY


@pytest.fixture
def at_bench(tmp_path: Path) -> Iterator[Bench]:
    made = bench(tmp_path)
    for sample, viscosity, at in (
        ("0417-K", 278.0, FIRST),
        ("0417-K", 398.0, SECOND),
        ("0418-M", 246.0, SECOND),
    ):
        entry = ReadingEntry(
            sample=sample,
            viscosity_mpas=viscosity,
            taken_at=at,
            temperature_c=23.1,
            gel_grade=0,
            mass_g=250.0,
        )
        log_reading(made.records, entry, person="Mira", now=at, zone=BERLIN)
    yield made
    made.records.close()


def correct(
    at_bench: Bench, values: dict[str, Any], *, taken_at: datetime = SECOND, now: datetime = NOW
) -> Corrected:
    return correct_reading(
        at_bench.records,
        sample="0417-K",
        taken_at=taken_at,
        values=values,
        reason="digits exchanged",
        person="Mira",
        now=now,
        zone=BERLIN,
    )


def counted(at_bench: Bench, as_of: datetime = NOW + 9 * DAY) -> list[tuple[datetime, float | None]]:
    with at_bench.records.reading() as connection:
        found = readings(connection, as_of=as_of, study="S-07")
    return [(r.taken_at, r.viscosity_mpas) for r in found if r.sample_id == 1]


def test_the_original_is_shown_beside_the_new_value_and_stays_on_record(at_bench: Bench) -> None:
    done = correct(at_bench, {"viscosity_mpas": "389"})
    assert (
        done.says == "0417-K, propyl acetate 20 %, 50 °C, day 21: 389 mPa·s, grade 0, was 398 mPa·s, grade 0"
    )
    rows = at_bench.rows("reading")
    assert [r["viscosity_mpas"] for r in rows] == [278, 398, 246, 389]
    assert (rows[3]["corrects_id"], rows[3]["reason"]) == (rows[1]["id"], "digits exchanged")
    assert counted(at_bench) == [(FIRST, 278), (SECOND, 389)]


def test_what_was_known_before_the_correction_does_not_change(at_bench: Bench) -> None:
    correct(at_bench, {"viscosity_mpas": 389})
    assert counted(at_bench, NOW - DAY) == [(FIRST, 278), (SECOND, 398)]


def test_what_is_not_named_is_carried_over(at_bench: Bench) -> None:
    correct(at_bench, {"viscosity_mpas": 389})
    row = at_bench.rows("reading")[-1]
    assert (row["temperature_c"], row["gel_grade"], row["mass_g"]) == (23.1, 0, 250)


def test_a_correction_of_a_correction_names_the_original_and_the_last_one_counts(at_bench: Bench) -> None:
    correct(at_bench, {"viscosity_mpas": 389})
    done = correct(at_bench, {"temperature_c": 22.9}, now=NOW + DAY)
    row = at_bench.rows("reading")[-1]
    assert (row["corrects_id"], row["viscosity_mpas"]) == (done.reading_id, 389)
    assert done.says.endswith("(temperature_c 22.9, was 23.1)")


def test_the_act_says_what_was_and_what_is(at_bench: Bench) -> None:
    correct(at_bench, {"viscosity_mpas": 389})
    event = at_bench.rows("event")[-1]
    details = json.loads(event["details"])
    assert (event["verb"], event["subject"], details["reason"]) == (
        "corrected a reading",
        "0417-K",
        "digits exchanged",
    )
    assert (details["was"], details["is"]) == ({"viscosity_mpas": 398.0}, {"viscosity_mpas": 389.0})


def test_the_time_can_be_corrected_and_both_times_find_the_reading(at_bench: Bench) -> None:
    really = SECOND + timedelta(hours=2)
    correct(at_bench, {"viscosity_mpas": 389})
    correct(at_bench, {"taken_at": really}, now=NOW + DAY)
    assert counted(at_bench) == [(FIRST, 278), (really, 389)]
    done = correct(at_bench, {"viscosity_mpas": 390}, taken_at=really, now=NOW + 2 * DAY)
    assert done.was == "389 mPa·s, grade 0"


def test_a_viscosity_from_torque_is_computed_again(at_bench: Bench) -> None:
    at = NOW - DAY
    entry = ReadingEntry(
        sample="0417-L", spindle="S62", speed_rpm=100, torque_pct=45, instrument="VIS-1", taken_at=at
    )
    log_reading(at_bench.records, entry, person="Mira", now=at, zone=BERLIN)
    done = correct_reading(
        at_bench.records,
        sample="0417-L",
        taken_at=at,
        values={"torque_pct": 54.0},
        reason="digits",
        person="Mira",
        now=NOW,
    )
    assert (done.was, done.now) == ("270 mPa·s", "324 mPa·s")
    assert at_bench.rows("reading")[-1]["rule"] == "torque 1"


def test_a_number_typed_over_a_computed_one_is_a_typed_number(at_bench: Bench) -> None:
    at = NOW - DAY
    entry = ReadingEntry(
        sample="0417-L", spindle="S62", speed_rpm=100, torque_pct=45, instrument="VIS-1", taken_at=at
    )
    log_reading(at_bench.records, entry, person="Mira", now=at, zone=BERLIN)
    correct_reading(
        at_bench.records,
        sample="0417-L",
        taken_at=at,
        values={"viscosity_mpas": 540},
        reason="wrong spindle entered",
        person="Mira",
        now=NOW,
    )
    assert at_bench.rows("reading")[-1]["rule"] is None


class TestSetAside:
    def test_it_counts_no_more_but_stays(self, at_bench: Bench) -> None:
        done = self.aside(at_bench)
        assert (done.was, done.now) == ("398 mPa·s, grade 0", "set aside")
        assert counted(at_bench) == [(FIRST, 278)]
        assert at_bench.rows("reading")[1]["viscosity_mpas"] == 398

    def test_it_comes_back_with_all_it_had(self, at_bench: Bench) -> None:
        self.aside(at_bench)
        done = correct(at_bench, {"viscosity_mpas": 398}, now=NOW + DAY)
        assert (done.was, done.now) == ("set aside", "398 mPa·s, grade 0")
        assert at_bench.rows("reading")[-1]["temperature_c"] == 23.1

    def test_nothing_but_a_value_brings_it_back(self, at_bench: Bench) -> None:
        self.aside(at_bench)
        with pytest.raises(InputError, match="is set aside"):
            correct(at_bench, {"temperature_c": 23.0}, now=NOW + DAY)

    def test_twice_is_refused_with_the_first_reason(self, at_bench: Bench) -> None:
        self.aside(at_bench)
        with pytest.raises(InputError, match="set aside already") as caught:
            self.aside(at_bench, now=NOW + DAY)
        assert "lid" in (caught.value.hint or "")

    @staticmethod
    def aside(at_bench: Bench, now: datetime = NOW) -> Corrected:
        return set_aside(
            at_bench.records, sample="0417-K", taken_at=SECOND, reason="lid", person="Mira", now=now
        )


class TestSwap:
    """E8 of the invented scenario: two rows of one round were entered in each other's place."""

    def test_both_readings_say_what_the_other_said(self, at_bench: Bench) -> None:
        done = self.swap(at_bench, ("0417-K", SECOND), ("0418-M", SECOND))
        assert [(d.sample, d.was, d.now) for d in done] == [
            ("0417-K", "398 mPa·s, grade 0", "246 mPa·s, grade 0"),
            ("0418-M", "246 mPa·s, grade 0", "398 mPa·s, grade 0"),
        ]

    def test_each_correction_names_the_other_reading(self, at_bench: Bench) -> None:
        self.swap(at_bench, ("0417-K", SECOND), ("0418-M", SECOND))
        first, second = at_bench.rows("reading")[-2:]
        assert first["reason"].startswith("exchanged with 0418-M, 2025-03-25 10:00+01:00: ")
        assert second["reason"].startswith("exchanged with 0417-K, 2025-03-25 10:00+01:00: ")
        assert first["entered_at"] == second["entered_at"] == NOW

    def test_the_mass_stays_with_the_tin_that_was_weighed(self, at_bench: Bench) -> None:
        correct(at_bench, {"mass_g": 249.0}, now=NOW - DAY)
        self.swap(at_bench, ("0417-K", SECOND), ("0418-M", SECOND))
        assert [r["mass_g"] for r in at_bench.rows("reading")[-2:]] == [249, 250]

    def test_both_or_neither(self, at_bench: Bench) -> None:
        before = at_bench.rows("reading")
        with pytest.raises(InputError, match="0418-M has no reading of"):
            self.swap(at_bench, ("0417-K", SECOND), ("0418-M", FIRST))
        assert at_bench.rows("reading") == before

    def test_a_reading_is_not_exchanged_with_itself(self, at_bench: Bench) -> None:
        with pytest.raises(InputError, match="with itself"):
            self.swap(at_bench, ("0417-K", SECOND), ("0417-K", SECOND))

    @staticmethod
    def swap(
        at_bench: Bench, first: tuple[str, datetime], second: tuple[str, datetime]
    ) -> tuple[Corrected, Corrected]:
        return swap_readings(
            at_bench.records,
            first=first,
            second=second,
            reason="row above",
            person="Mira",
            now=NOW,
            zone=BERLIN,
        )


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"viscosity_mpas": 398}, "it says already 398 mPa·s, grade 0"),
        ({"viscosity_mpas": "41,2"}, "has a comma"),
        ({"viscosity_mpas": -3}, "is not a positive number"),
        ({"viscosity_mpas": 398_000}, "more than 1000 times"),
        ({"temperature_c": 400.0}, "is not that of a liquid"),
        ({"taken_at": FIRST}, "has another reading at 2025-03-04 10:00"),
        ({"taken_at": NOW + DAY}, "is in the future"),
        ({"taken_at": FIRST - DAY}, "before sample 0417-K was placed"),
        ({"viscosity_mpas": None, "gel_grade": None}, "without viscosity and grade"),
    ],
)
def test_a_correction_is_checked_like_a_reading(at_bench: Bench, values: dict[str, Any], told: str) -> None:
    before = at_bench.rows("reading")
    with pytest.raises(InputError) as caught:
        correct(at_bench, values)
    assert told in str(caught.value)
    assert at_bench.rows("reading") == before


@pytest.mark.parametrize("reason", ["", "   ", "x" * 501, "a\x1bb"])
def test_a_correction_needs_a_reason(at_bench: Bench, reason: str) -> None:
    with pytest.raises(InputError, match="needs a reason"):
        set_aside(at_bench.records, sample="0417-K", taken_at=SECOND, reason=reason, person="Mira", now=NOW)


def test_a_reading_that_is_not_there_gets_the_nearest_named(at_bench: Bench) -> None:
    with pytest.raises(InputError, match="0417-K has no reading of 2025-03-24") as caught:
        correct(at_bench, {"viscosity_mpas": 389}, taken_at=SECOND - DAY)
    assert (caught.value.hint or "").startswith("it has 2025-03-25 10:00+01:00")


def test_the_database_itself_refuses_to_overwrite_what_was_read(at_bench: Bench) -> None:
    for statement in ("UPDATE reading SET viscosity_mpas = 1", "DELETE FROM reading"):
        with (
            pytest.raises(sa.exc.IntegrityError, match="append-only"),
            at_bench.records.writing() as connection,
        ):
            connection.exec_driver_sql(statement)
