"""`stability correct --find-swaps` and what the exchange of lids, masses and days changes."""

from __future__ import annotations

import json
import math
import shlex
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click
import pytest
import time_machine

from stability.cli import correct_swaps
from stability.cli.edge import run
from stability.services.bring import bring_rows
from tests.builders import BERLIN, NOW, Bench, bench, expect

READ_AT = datetime(2025, 4, 9, 9, 0, tzinfo=UTC)
Shell = Callable[..., tuple[int, str, str]]
Reading = tuple[str, str, float, float | None]


@pytest.fixture
def at_bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Bench]:
    made = bench(tmp_path)
    for sample, mpas in (("0417-K", 889.0), ("0417-L", 357.0), ("0418-M", 246.0)):
        growth = 0.02 if sample == "0417-K" else 0.0
        knots = [(age, math.log(mpas) + growth * (age - 35), 0.02) for age in (20.0, 35.0, 60.0)]
        expect(made.records, sample, knots)
    weighed = [("0417-L", "2025-03-05T10:00", 355.0, 250.21), ("0418-M", "2025-03-05T10:00", 245.0, 240.37)]
    _bring(made, *weighed, now=NOW)
    monkeypatch.setenv("STABILITY_DB", str(made.path))
    monkeypatch.setenv("STABILITY_TIME_ZONE", "Europe/Berlin")
    monkeypatch.chdir(tmp_path)
    yield made
    made.records.close()


def _bring(made: Bench, *readings: Reading, now: datetime = READ_AT) -> None:
    rows: list[dict[str, Any]] = [
        {"sample": code, "taken_at": at, "viscosity_mpas": mpas, "mass_g": mass, "gel_grade": 0}
        for code, at, mpas, mass in readings
    ]
    bring_rows(made.records, {"readings": rows}, person="Mira", now=now, zone=BERLIN)


@pytest.fixture
def shell(at_bench: Bench, capsys: pytest.CaptureFixture[str]) -> Shell:
    def call(*arguments: str) -> tuple[int, str, str]:
        with time_machine.travel(datetime(2025, 4, 10, 8, 0, tzinfo=UTC), tick=True):
            code = run(["correct", *arguments, "--person", "Mira"])
        return code, *capsys.readouterr()

    return call


def test_nothing_is_proposed_where_all_is_as_expected(at_bench: Bench, shell: Shell) -> None:
    _bring(
        at_bench, ("0417-L", "2025-04-08T10:00", 357.0, 250.2), ("0418-M", "2025-04-08T10:02", 246.0, 240.4)
    )
    assert shell("--find-swaps") == (0, "no two readings seem exchanged\n", "")


def test_a_proposal_says_what_was_expected_and_how_to_exchange(at_bench: Bench, shell: Shell) -> None:
    _bring(at_bench, ("0417-L", "2025-04-08T10:00", 246.0, None), ("0418-M", "2025-04-08T10:02", 357.0, None))
    code, out, err = shell("--find-swaps", "--study", "S-07")
    assert (code, err) == (0, "")
    assert out.splitlines() == [
        "rows exchanged? 0417-L and 0418-M: exchanged they are more than a million times likelier than as "
        "entered",
        "  0417-L, propyl acetate 20 %, 23 °C, day 35: 246 mPa·s (expected 336–379)",
        "  0418-M, xylene 20 %, 23 °C, day 35: 357 mPa·s (expected 232–261)",
        "  stability correct --swap 0417-L '2025-04-08 10:00+02:00' 0418-M '2025-04-08 10:02+02:00' --reason "
        "'what happened'",
    ]
    # what is printed can be typed
    typed = shlex.split(out.splitlines()[-1])[2:]
    assert shell(*typed)[0] == 0
    assert shell("--find-swaps")[1] == "no two readings seem exchanged\n"


def test_swapped_lids_take_the_masses_with_them(at_bench: Bench, shell: Shell) -> None:
    _bring(
        at_bench, ("0417-L", "2025-04-08T10:00", 246.0, 240.3), ("0418-M", "2025-04-08T10:02", 357.0, 250.2)
    )
    (swap,) = json.loads(shell("--find-swaps", "--json")[1])["swaps"]
    assert swap["what"] == "lids"
    assert shell(*shlex.split(swap["command"])[2:])[0] == 0
    rows = at_bench.rows("reading")[-2:]
    assert [(r["viscosity_mpas"], r["mass_g"]) for r in rows] == [(357.0, 250.2), (246.0, 240.3)]


def test_masses_alone_leave_the_cup_as_it_is(at_bench: Bench, shell: Shell) -> None:
    _bring(
        at_bench, ("0417-L", "2025-04-08T10:00", 357.0, 240.3), ("0418-M", "2025-04-08T10:02", 246.0, 250.2)
    )
    (swap,) = json.loads(shell("--find-swaps", "--json")[1])["swaps"]
    assert swap["what"] == "masses"
    code, out, _ = shell(*shlex.split(swap["command"])[2:])
    assert code == 0
    assert "mass_g 250.2, was 240.3" in out.splitlines()[0]
    rows = at_bench.rows("reading")[-2:]
    assert [(r["viscosity_mpas"], r["mass_g"]) for r in rows] == [(357.0, 250.2), (246.0, 240.3)]


def test_two_days_of_one_tin_entered_in_each_other_s_place(at_bench: Bench, shell: Shell) -> None:
    _bring(at_bench, ("0417-K", "2025-04-02T10:00", 889.0, None), ("0417-K", "2025-04-08T10:00", 789.0, None))
    (swap,) = json.loads(shell("--find-swaps", "--json")[1])["swaps"]
    assert swap["what"] == "days"
    assert shell(*shlex.split(swap["command"])[2:])[0] == 0
    rows = at_bench.rows("reading")[-2:]
    assert [(r["taken_at"].day, r["viscosity_mpas"]) for r in rows] == [(2, 789.0), (8, 889.0)]


def test_what_was_known_before_the_slip_shows_none(at_bench: Bench, shell: Shell) -> None:
    _bring(at_bench, ("0417-L", "2025-04-08T10:00", 246.0, None), ("0418-M", "2025-04-08T10:02", 357.0, None))
    assert json.loads(shell("--find-swaps", "--as-of", "2025-04-07", "--json")[1])["swaps"] == []


def test_a_person_at_the_terminal_is_asked_and_may_say_no(
    at_bench: Bench, shell: Shell, monkeypatch: pytest.MonkeyPatch
) -> None:
    _bring(at_bench, ("0417-L", "2025-04-08T10:00", 246.0, None), ("0418-M", "2025-04-08T10:02", 357.0, None))

    class Terminal:
        def isatty(self) -> bool:
            return True

    answers = iter([False, True])
    monkeypatch.setattr(correct_swaps, "sys", type("S", (), {"stdin": Terminal(), "stderr": Terminal()}))
    monkeypatch.setattr(click, "confirm", lambda *_, **__: next(answers))
    monkeypatch.setattr(click, "prompt", lambda *_, **__: "refractive index")
    before = at_bench.rows("reading")
    assert shell("--find-swaps")[0] == 0
    assert at_bench.rows("reading") == before
    code, out, err = shell("--find-swaps")
    assert (code, err) == (0, "exchanged by two linked corrections:\n")
    assert "357 mPa·s, grade 0, was 246 mPa·s, grade 0" in out
    assert at_bench.rows("reading")[-1]["reason"].endswith(": refractive index")


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--find-swaps", "0417-L"], "error: --find-swaps goes with --study and --as-of alone"),
        (["--find-swaps", "--study", "S-99"], "error: study 'S-99' has no readings on record"),
        (["0417-L", "last", "--viscosity", "2", "--study", "S-07"], "error: --study goes with --find-swaps"),
        (["0417-L", "last", "--viscosity", "2", "--what", "lids"], "error: --what goes with --swap"),
        (["--swap", "0417-L", "last", "0417-L", "last"], "error: a reading cannot be exchanged with itself"),
    ],
)
def test_bad_input_is_one_line_and_nothing_is_written(
    at_bench: Bench, shell: Shell, arguments: list[str], told: str
) -> None:
    before = [at_bench.rows(name) for name in ("reading", "event")]
    code, out, err = shell(*arguments, "--reason", "x")
    assert (code, out) == (2, "")
    assert err.startswith(told), err
    assert [at_bench.rows(name) for name in ("reading", "event")] == before


def test_the_last_reading_is_corrected_in_one_line(at_bench: Bench, shell: Shell) -> None:
    code, out, _ = shell("0417-L", "last", "--viscosity", "353", "--because", "digits exchanged")
    assert code == 0
    assert out.endswith("day 1: 353 mPa·s, grade 0, was 355 mPa·s, grade 0\n")


def test_a_sample_alone_lists_its_readings(shell: Shell) -> None:
    code, _, err = shell("0417-L")
    assert code == 2
    assert err.splitlines()[1] == (
        "hint: 0417-L has 2025-03-05 10:00+01:00 (355 mPa·s, grade 0); or type last"
    )
