"""The scripted slips of the invented study, typed as they happened: what the commands say and keep.

The study is played up to the minute before each slip; all numbers are of the invented scenario.
"""

from __future__ import annotations

import io
import json
import shutil
import sys
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from stability.app import App
from stability.cli.edge import run
from stability.demo import acts
from stability.demo.play import play
from stability.demo.schedule import Tin, taken_at
from stability.demo.stage import ZONE, instant
from stability.demo.stage_settings import demo_settings
from stability.demo.stream import stream, tin_at
from stability.records.engine import open_records
from stability.records.migrate import bring_up_to_date
from stability.records.tables import METADATA
from stability.services.sweep import sweep

pytestmark = pytest.mark.slow

TYPED_AT: dict[str, tuple[Tin, int]] = {
    "E1": (tin_at("A9", "ROOM-23", 1), 7),
    "E2": (tin_at("A5", "OVN-50", 2), 14),
    "E7": (tin_at("A2", "OVN-50", 2), 42),
    "E11": (tin_at("A4", "ROOM-23", 1), 112),
    "E17": (tin_at("A11", "ROOM-23", 1), 140),
}
KNOWN_AT = {**{event: taken_at(*tin_day) for event, tin_day in TYPED_AT.items()}, "E17": instant(150, 11)}
SWEPT = ("E2", "E7")


@pytest.fixture(scope="module")
def stages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The database as it stood just before each slip; before some of them the daemon had looked."""
    folder = tmp_path_factory.mktemp("stages")
    settings = demo_settings(folder / "settings")
    records, _ = bring_up_to_date(str(folder / "demo.db"))
    asked = (acts.Swept, acts.StatementAsked)
    left = [act for act in stream() if not isinstance(act, asked)]
    found = {}
    for event, at in sorted(KNOWN_AT.items(), key=lambda pair: pair[1]):
        known = [act for act in left if act.entered_at < at]
        left = left[len(known) :]
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("stability.demo.play.stream", lambda known=known: tuple(known))
            play(records, settings)
        if event in SWEPT:
            sweep(records, now=at - timedelta(minutes=1), settings=settings)
        found[event] = folder / f"{event}.db"
        shutil.copyfile(folder / "demo.db", found[event])
    records.close()
    return found


class Typed:
    """One stage with the command line at its minute."""

    def __init__(self, path: Path, now: datetime, capture: pytest.CaptureFixture[str]) -> None:
        self.path, self.now, self.capture = path, now, capture

    def type(
        self, *arguments: str, person: str = "Mira O.", lines: tuple[str, ...] = ()
    ) -> tuple[int, str, str]:
        clock = iter(self.now + timedelta(seconds=number) for number in range(1, 1000))
        with pytest.MonkeyPatch.context() as patch:
            patch.setenv("STABILITY_DB", str(self.path))
            patch.setenv("STABILITY_TIME_ZONE", ZONE.key)
            patch.setattr("stability.cli.options.App", partial(App, now=self.now))
            patch.setattr("stability.cli.round.now_utc", lambda: next(clock))
            patch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
            exit_code = run([*arguments, "--person", person])
        told = self.capture.readouterr()
        return exit_code, told.out, told.err

    def rows(self, name: str, **where: Any) -> list[dict[str, Any]]:
        table = METADATA.tables[name]
        records = open_records(str(self.path))
        with records.reading() as connection:
            found = [
                dict(row) for row in connection.execute(sa.select(table).order_by(table.c.id)).mappings()
            ]
        records.close()
        return [row for row in found if all(row[key] == value for key, value in where.items())]

    def readings(self, code: str) -> list[dict[str, Any]]:
        (sample,) = self.rows("sample", sample=code)
        return self.rows("reading", sample_id=sample["id"])

    def attempts(self, code: str) -> list[dict[str, Any]]:
        found = self.rows("event", verb="refused attempt", subject=code)
        return [json.loads(row["details"]) for row in found]


Stage = Callable[..., Typed]


@pytest.fixture
def stage(
    stages: dict[str, Path],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> Stage:
    monkeypatch.chdir(tmp_path)

    def at(event: str, *, minutes: float = 1) -> Typed:
        path = tmp_path / f"{event}.db"
        shutil.copyfile(stages[event], path)
        return Typed(path, KNOWN_AT[event] + timedelta(minutes=minutes), capsys)

    return at


def code_of(event: str) -> str:
    return TYPED_AT[event][0].code


def test_e1_ten_times_too_much_is_doubted_typed_again_and_the_attempt_is_kept(stage: Stage) -> None:
    typed, code = stage("E1"), code_of("E1")
    before = len(typed.readings(code))
    _, out, err = typed.type("log", "--round", lines=(f"{code} 4120 23.0C g0", "412", "quit"))
    assert "doubt: ten times too much? 412 mPa·s would fit" in err
    assert f"{code}, ethyl 3-ethoxypropionate 20 %, 23 °C, day 7: 412 mPa·s" in out
    assert [row["viscosity_mpas"] for row in typed.readings(code)[before:]] == [412]
    (attempt,) = typed.attempts(code)
    assert attempt["typed"]["viscosity_mpas"] == 4120


def test_e1_in_one_line_strictly(stage: Stage) -> None:
    typed, code = stage("E1"), code_of("E1")
    exit_code, _, err = typed.type("log", code, "4120", "--temp", "23.0", "--strict")
    assert exit_code == 2
    assert err.startswith(f"error: sample {code}: ten times too much?")
    assert len(typed.attempts(code)) == 1


def test_e2_a_warm_tin_shows_both_values_and_is_repeated_the_next_day(stage: Stage) -> None:
    typed, code = stage("E2"), code_of("E2")
    exit_code, out, err = typed.type("log", code, "344", "--temp", "26.8", "--grade", "0")
    assert exit_code == 0
    assert "day 14: 344 mPa·s" in out
    first = err.splitlines()[0]
    assert first.startswith(
        "doubt: the liquid is at 26.8 °C: repeat at 23 °C; at 23 °C this would be about 407"
    )
    repeated = stage("E2", minutes=24 * 60)
    _, out, err = repeated.type("log", code, "408", "--temp", "23.0", "--grade", "0")
    assert "day 15: 408 mPa·s" in out
    assert "doubt" not in err


def test_e7_a_tin_that_lost_mass_is_told_by_the_balance_beside_its_twin(stage: Stage) -> None:
    typed, code, twin = stage("E7", minutes=5), code_of("E7"), tin_at("A2", "OVN-50", 1).code
    right = next(
        act
        for act in stream()
        if isinstance(act, acts.ReadingTaken) and act.sample == code and act.viscosity_mpas == 439
    )
    typed.type("log", twin, "333", "--temp", "23.0", "--grade", "0")
    at = right.taken_at.isoformat()
    values = ("439", "--temp", "23.0", "--mass", str(right.mass_g), "--at", at)
    exit_code, _, err = typed.type("log", code, *values, "--strict")
    assert exit_code == 2
    assert "lighter than at its last weighing" in err.splitlines()[0]
    assert "lid not pressed home?" in err.splitlines()[0]
    assert f"its twin {twin} read 333" in err
    assert typed.type("log", code, *values, "--keep", "mass down, lid")[0] == 0
    typed.now += timedelta(hours=1)
    assert typed.type("correct", code, at, "--set-aside", "--reason", "lid")[0] == 0
    kept = typed.readings(code)[-2:]
    assert [(row["viscosity_mpas"], row["reason"]) for row in kept] == [(439, None), (None, "lid")]
    assert typed.readings(twin)[-1]["viscosity_mpas"] == 333


def test_e11_a_cup_that_contradicts_the_spindle_is_refused_and_the_right_one_named(stage: Stage) -> None:
    """ASTM D1200: Ford 4 3.85 (t - 4.49), Ford 5 12.1 (t - 2.00), mm²/s."""
    typed, code = stage("E11"), code_of("E11")
    before = len(typed.readings(code))
    density = str(tin_at("A4", "ROOM-23", 1).arm.density_g_ml)
    cup = ("--cup", "Ford 4", "--efflux", "28", "--density", density)
    exit_code, _, err = typed.type("log", code, "322", "--temp", "23.0", *cup)
    assert exit_code == 2
    assert err.startswith("error: viscosity 322 mPa·s, but 28 s from ")
    assert "28 s would fit Ford 5: was that the cup?" in err
    assert len(typed.readings(code)) == before
    lines = (f"set cup Ford 4 {density}", f"{code} 322 28s 23.0C g0", "322 87s", "0", "quit")
    _, _, err = typed.type("log", "--round", lines=lines)
    assert "not taken: viscosity 322 mPa·s, but 28 s from Ford 4 gives" in " ".join(err.split())
    (attempt,) = typed.attempts(code)
    assert (attempt["typed"]["cup"], attempt["typed"]["efflux_s"]) == ("Ford 4", 28)
    assert typed.readings(code)[-1]["efflux_s"] == 87


def test_e17_a_reading_entered_ten_days_late_is_accepted_with_both_its_times(stage: Stage) -> None:
    typed, code = stage("E17"), code_of("E17")
    observed = taken_at(*TYPED_AT["E17"])
    value = str(typed.readings(code)[-1]["viscosity_mpas"] * 1.04)
    at = observed.astimezone(ZONE).isoformat()
    exit_code, out, _ = typed.type("log", code, value, "--temp", "23.0", "--at", at, person="Jonas K.")
    assert exit_code == 0
    assert "day 140" in out
    assert out.rstrip().endswith("entered 10 d after it was taken")
    row = typed.readings(code)[-1]
    assert (row["taken_at"], row["entered_at"]) == (observed, typed.now)
    assert row["entered_by"] == "Jonas K."
