"""`stability correct` as typed."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from stability.cli.edge import run
from stability.services.bring import bring_rows
from tests.builders import BERLIN, NOW, PLACED, Bench, bench

Shell = Callable[..., tuple[int, str, str]]


@pytest.fixture
def at_bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Bench]:
    made = bench(tmp_path)
    readings = [
        {"sample": sample, "taken_at": f"{day}T10:00", "viscosity_mpas": value, "gel_grade": 0}
        for sample, day, value in (
            ("0417-K", "2025-03-05", 278),
            ("0417-K", "2025-03-25", 398),
            ("0418-M", "2025-03-25", 246),
        )
    ]
    cures = [{"sample": "0417-K", "taken_at": PLACED, "humidity_pct": 50, "dry_through_h": 2.7}]
    tables = {"readings": readings, "cures": cures}
    bring_rows(made.records, tables, person="Mira", now=NOW, zone=BERLIN)
    monkeypatch.setenv("STABILITY_DB", str(made.path))
    monkeypatch.setenv("STABILITY_TIME_ZONE", "Europe/Berlin")
    monkeypatch.chdir(tmp_path)
    yield made
    made.records.close()


@pytest.fixture
def shell(at_bench: Bench, capsys: pytest.CaptureFixture[str]) -> Shell:
    def call(*arguments: str) -> tuple[int, str, str]:
        code = run(["correct", *arguments, "--person", "Mira"])
        return code, *capsys.readouterr()

    return call


@pytest.mark.parametrize(
    "typed",
    [
        "2025-03-25",
        "2025-03-25T10",
        "2025-03-25 10:00",
        "2025-03-25T10:00+01:00",
        "2025-03-25T09:00Z",
        "2025-03-2",
    ],
)
def test_a_reading_is_found_by_the_beginning_of_its_time(at_bench: Bench, shell: Shell, typed: str) -> None:
    code, out, err = shell("0417-K", typed, "--viscosity", "389", "--reason", "digits exchanged")
    assert (code, err) == (0, "")
    assert out == "0417-K, propyl acetate 20 %, 50 °C, day 21: 389 mPa·s, grade 0, was 398 mPa·s, grade 0\n"
    assert at_bench.rows("reading")[-1]["entered_by"] == "Mira"


def test_a_beginning_of_two_times_lists_both(shell: Shell) -> None:
    code, _, err = shell("0417-K", "2025-03", "--viscosity", "389", "--reason", "x")
    assert code == 2
    assert err.splitlines() == [
        "error: '2025-03' is the beginning of 2 times of a reading of 0417-K",
        "hint: 2025-03-05 10:00+01:00, 2025-03-25 10:00+01:00",
    ]


def test_a_time_of_no_reading_lists_what_there_is(shell: Shell) -> None:
    code, _, err = shell("0418-M", "2025-03-24", "--viscosity", "389", "--reason", "x")
    assert code == 2
    assert err.endswith("hint: there is 2025-03-25 10:00+01:00\n")


def test_two_readings_are_exchanged_by_one_command(at_bench: Bench, shell: Shell) -> None:
    code, out, _ = shell("--swap", "0417-K", "2025-03-25", "0418-M", "2025-03-25", "--reason", "row above")
    assert code == 0
    assert [line.split(": ")[1] for line in out.splitlines()] == [
        "246 mPa·s, grade 0, was 398 mPa·s, grade 0",
        "398 mPa·s, grade 0, was 246 mPa·s, grade 0",
    ]
    assert [r["corrects_id"] for r in at_bench.rows("reading")[-2:]] == [2, 3]


def test_a_reading_is_set_aside(shell: Shell) -> None:
    code, out, _ = shell("0417-K", "2025-03-25", "--set-aside", "--reason", "lid")
    assert code == 0
    assert out.endswith("set aside, was 398 mPa·s, grade 0\n")


def test_its_time_is_corrected(at_bench: Bench, shell: Shell) -> None:
    code, _, _ = shell("0417-K", "2025-03-25", "--at", "2025-03-26T10:00", "--reason", "wrong day")
    assert code == 0
    assert at_bench.rows("reading")[-1]["taken_at"].day == 26


def test_a_drying_test_is_corrected_by_its_humidity(shell: Shell) -> None:
    code, out, _ = shell("0417-K", "2025-03-04", "--cure", "50", "--dry-through", "3.1", "--reason", "offset")
    assert code == 0
    assert out.endswith("drying at 50 %: 3.10 h, was 2.70 h\n")


def test_json_tells_both_values(shell: Shell) -> None:
    code, out, _ = shell("0417-K", "2025-03-25", "--viscosity", "389", "--reason", "x", "--json")
    (one,) = json.loads(out)["corrections"]
    assert code == 0
    assert (one["was"], one["now"]) == ("398 mPa·s, grade 0", "389 mPa·s, grade 0")


OF_MARCH_25 = ["0417-K", "2025-03-25"]


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["0417-K"], "error: which reading?"),
        (OF_MARCH_25, "error: either new values or --set-aside"),
        ([*OF_MARCH_25, "--grade", "1", "--set-aside"], "error: either new values"),
        ([*OF_MARCH_25, "--dry-through", "2"], "error: dry_through_h does not belong to a reading"),
        (
            ["0417-K", "2025-03-04", "--cure", "50", "--viscosity", "2"],
            "error: viscosity_mpas does not belong",
        ),
        ([*OF_MARCH_25, "--viscosity", "-3"], "error: viscosity -3 is not a positive"),
        (
            [*OF_MARCH_25, "--viscosity", "398"],
            "error: sample 0417-K, 2025-03-25 10:00+01:00: it says already",
        ),
        (["0417-X", "2025-03-25", "--viscosity", "398"], "error: sample '0417-X' is not on record"),
        (["0417-K", "--swap", "a", "b", "c", "d"], "error: --swap goes with --reason alone"),
        (["0417-K", "--fresh"], "error: No such option '--fresh'."),
    ],
)
def test_bad_input_is_one_line_with_exit_2_and_nothing_written(
    at_bench: Bench, shell: Shell, arguments: list[str], told: str
) -> None:
    before = [at_bench.rows(name) for name in ("reading", "cure", "event")]
    code, out, err = shell(*arguments, "--reason", "x")
    assert (code, out) == (2, "")
    assert err.startswith(told), err
    assert [at_bench.rows(name) for name in ("reading", "cure", "event")] == before


def test_without_a_reason_nothing_is_corrected(shell: Shell) -> None:
    code, _, err = shell(*OF_MARCH_25, "--viscosity", "389")
    assert (code, err.splitlines()[0]) == (2, "error: Missing option '--reason'.")
