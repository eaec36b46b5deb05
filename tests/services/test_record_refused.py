"""What is refused at the bench: one line per fault, and nothing written."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stability.errors import InputError
from stability.services.correct import correct_reading
from stability.services.end import end_sample
from stability.services.entry import ReadingEntry, parse_number, parse_viscosity
from stability.services.record import log_reading
from tests.builders import BERLIN, NOW, PLACED, Bench, bench

DAY = timedelta(days=1)


@pytest.fixture
def at_bench(tmp_path: Path) -> Iterator[Bench]:
    made = bench(tmp_path)
    yield made
    made.records.close()


def refused(
    at_bench: Bench, *, sample: str = "0417-K", at: datetime | None = None, **given: Any
) -> InputError:
    """Return the error of an entry that must be refused without a trace."""
    before = [at_bench.rows(name) for name in ("reading", "event")]
    entry = ReadingEntry(sample=sample, taken_at=at, **given)
    with pytest.raises(InputError) as caught:
        log_reading(at_bench.records, entry, person="Mira", now=NOW, zone=BERLIN)
    assert [at_bench.rows(name) for name in ("reading", "event")] == before
    return caught.value


def stored(
    at_bench: Bench, viscosity: float | None, at: datetime, *, sample: str = "0417-K", **given: Any
) -> None:
    entry = ReadingEntry(sample=sample, viscosity_mpas=viscosity, taken_at=at, **given)
    log_reading(at_bench.records, entry, person="Mira", now=at, zone=BERLIN)


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("-5", "-5 is not a positive number"),
        ("0", "0 is not a positive number"),
        ("nan", "'nan' is not a finite number"),
        ("inf", "'inf' is not a finite number"),
        (">inf", "'inf' is not a finite number"),
        ("1e999", "'1e999' is not a finite number"),
        ("1e300", "1e300 is not a positive number"),
        ("41,2", "'41,2' has a comma"),
        ("1,234.5", "'1,234.5' has a comma"),
        ("1_000", "'1_000' is not a finite number"),
        ("thick", "'thick' is not a number"),
        ("398 mPas", "'398 mPas' is not a number"),
        ("", "'' is not a number"),
        (">", "'' is not a number"),
        (">-3", ">-3 is not a positive number"),
    ],
)
def test_what_is_no_viscosity_is_told_as_typed(at_bench: Bench, typed: str, told: str) -> None:
    assert told in str(refused(at_bench, viscosity_mpas=typed))


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"gel_grade": 6}, "gel grade 6 is not one of 0 to 5"),
        ({"viscosity_mpas": 398, "temperature_c": 296.15}, "temperature 296.15 °C is not that of a liquid"),
        ({"viscosity_mpas": 398, "temperature_c": float("nan")}, "temperature nan °C"),
        ({"viscosity_mpas": 398, "mass_g": -1.0}, "mass -1 is not a positive number of g"),
        ({"viscosity_mpas": 398, "density_g_ml": float("inf")}, "density inf is not a positive number"),
        ({"viscosity_mpas": 398, "spindle": "S" * 61}, "spindle has 61 characters, at most 60"),
        ({"viscosity_mpas": 398, "operator": "Mi\x1b[31mra"}, "operator 'Mi\\x1b[31mra' holds a character"),
        ({"viscosity_mpas": 398, "note": "a\x00b"}, "holds a character that does not print"),
        ({}, "nothing to log"),
        ({"torque_pct": 45.0}, "--spindle, --speed, --instrument is missing"),
        ({"cup": "ISO 4", "efflux_s": 60.0}, "a cup reading needs --cup, --efflux [s] and --density"),
        ({"cup": "ISO 4", "efflux_s": 12.0, "density_g_ml": 1.0}, "12 s is outside the window of ISO 4"),
        ({"cup": "CUP-4", "efflux_s": 60.0, "density_g_ml": 1.0}, "no flow cup is called 'CUP-4'"),
        ({"viscosity_mpas": 398, "torque_pct": 5.0}, "torque 5 % is not within 10 to 100 %"),
    ],
)
def test_what_is_wrong_on_its_face_is_told(at_bench: Bench, given: dict[str, Any], told: str) -> None:
    assert told in str(refused(at_bench, **given))


def test_all_faults_are_told_at_once(at_bench: Bench) -> None:
    error = refused(at_bench, viscosity_mpas="-5", mass_g=0.0, gel_grade=9, at=NOW + DAY)
    assert len(error.lines) == 4


def test_torque_under_ten_per_cent_names_the_better_choice(at_bench: Bench) -> None:
    error = refused(at_bench, spindle="S62", speed_rpm=100.0, torque_pct=8.0, instrument="VIS-1")
    assert "torque 8 % is under 10 %" in str(error)
    assert "larger spindle" in (error.hint or "")


def test_an_instrument_that_nobody_knows_gives_no_viscosity(at_bench: Bench) -> None:
    error = refused(at_bench, spindle="S62", speed_rpm=100.0, torque_pct=45.0, instrument="VIS-9")
    assert "instrument 'VIS-9' is not on record" in str(error)


def test_a_cup_that_contradicts_the_spindle_is_refused(at_bench: Bench) -> None:
    """E11's slip with a cup whose equation is known: 28 s of Ford 4 is 90.5 mm²/s (ASTM D1200)."""
    error = refused(at_bench, viscosity_mpas=322, cup="Ford 4", efflux_s=28.0, density_g_ml=0.98)
    assert "viscosity 322 mPa·s, but 28 s from Ford 4 gives 88.7 mPa·s" in str(error)


def test_torque_that_contradicts_the_number_is_refused(at_bench: Bench) -> None:
    error = refused(at_bench, viscosity_mpas=2700, torque_pct=45.0, speed_rpm=100.0, instrument="VIS-1")
    assert "but 45 % torque gives 270 mPa·s" in str(error)


def test_an_unknown_sample_gets_the_nearest_codes(at_bench: Bench) -> None:
    error = refused(at_bench, sample="0417-k", viscosity_mpas=398)
    assert "sample '0417-k' is not on record" in str(error)
    assert "0417-K" in (error.hint or "")


@pytest.mark.parametrize(
    ("at", "told"),
    [
        (
            NOW + timedelta(minutes=1),
            "time 2025-04-01 11:01+02:00 is in the future: it is 2025-04-01 11:00+02:00",
        ),
        (PLACED - timedelta(minutes=1), "is before sample 0417-K was placed, 2025-03-04 10:00+01:00"),
    ],
)
def test_a_time_that_cannot_be_is_refused_with_both_times(at_bench: Bench, at: datetime, told: str) -> None:
    assert told in str(refused(at_bench, viscosity_mpas=398, at=at))


def test_nothing_is_read_after_the_ending_but_until_then_it_may_be_entered_late(at_bench: Bench) -> None:
    end_sample(at_bench.records, "0417-K", at=NOW - DAY, reason="dropped", person="Mira", now=NOW - DAY)
    assert "after sample 0417-K ended" in str(refused(at_bench, viscosity_mpas=398))
    stored(at_bench, 398, NOW - 2 * DAY)


def test_another_value_at_the_same_instant_points_to_correct(at_bench: Bench) -> None:
    stored(at_bench, 398, PLACED + DAY)
    error = refused(at_bench, viscosity_mpas=399, at=PLACED + DAY)
    assert "has another reading at 2025-03-05 10:00+01:00: 398 mPa·s" in str(error)
    assert "stability correct" in (error.hint or "")


def test_the_original_and_what_was_made_of_it_both_count_as_known(at_bench: Bench) -> None:
    stored(at_bench, 398, PLACED + DAY)
    correct_reading(
        at_bench.records,
        sample="0417-K",
        taken_at=PLACED + DAY,
        values={"viscosity_mpas": 389},
        reason="digits",
        person="Mira",
        now=NOW - DAY,
    )
    for typed in (398, 389):
        entry = ReadingEntry(sample="0417-K", viscosity_mpas=typed, taken_at=PLACED + DAY)
        assert log_reading(at_bench.records, entry, person="Mira", now=NOW, zone=BERLIN).already
    refused(at_bench, viscosity_mpas=390, at=PLACED + DAY)


@pytest.mark.parametrize(("value", "words"), [(0.27, "a thousandth of"), (280_000, "more than 1000 times")])
def test_a_smell_of_another_unit_is_refused(at_bench: Bench, value: float, words: str) -> None:
    stored(at_bench, 278, PLACED)
    assert words in str(refused(at_bench, viscosity_mpas=value))


def test_graded_two_or_worse_a_leap_is_believed(at_bench: Bench) -> None:
    stored(at_bench, 278, PLACED)
    entry = ReadingEntry(sample="0417-K", viscosity_mpas=280_000, gel_grade=2)
    assert log_reading(at_bench.records, entry, person="Mira", now=NOW, zone=BERLIN).stored


def test_a_gelled_sample_has_no_number_any_more(at_bench: Bench) -> None:
    stored(at_bench, None, PLACED + DAY, gel_grade=4)
    assert "was graded 4" in str(refused(at_bench, viscosity_mpas=900))
    entry = ReadingEntry(sample="0417-K", gel_grade=5)
    assert log_reading(at_bench.records, entry, person="Mira", now=NOW, zone=BERLIN).stored


@given(st.text(max_size=12))
def test_no_text_makes_the_parser_fall_over_or_yields_a_value_outside_its_rule(text: str) -> None:
    try:
        value, _ = parse_viscosity(text)
    except InputError:
        return
    assert 0 < value < 1e300


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_written_by_the_program_is_read_again(value: float) -> None:
    assert parse_number(repr(value)) == value


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    typed=st.one_of(
        st.none(), st.text(max_size=8), st.floats(), st.sampled_from(["398", ">50000", "0", "-1"])
    ),
    grade=st.one_of(st.none(), st.integers(-1, 7)),
    degrees=st.one_of(st.none(), st.floats()),
    minutes=st.integers(-100_000, 100_000),
)
def test_whatever_is_typed_is_stored_within_its_rule_or_refused_as_input(
    at_bench: Bench, typed: str | float | None, grade: int | None, degrees: float | None, minutes: int
) -> None:
    entry = ReadingEntry(
        sample="0417-K",
        viscosity_mpas=typed,
        gel_grade=grade,
        temperature_c=degrees,
        taken_at=NOW + timedelta(minutes=minutes),
    )
    try:
        log_reading(at_bench.records, entry, person="Mira", now=NOW, zone=BERLIN)
    except InputError:
        return
    row = at_bench.rows("reading")[-1]
    assert row["viscosity_mpas"] is None or 0 < row["viscosity_mpas"] < 1e300
    assert row["gel_grade"] in (None, 0, 1, 2, 3, 4, 5)
    assert PLACED <= row["taken_at"] <= NOW
