"""`stability move` and `stability end` as typed."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from stability.cli.edge import run
from tests.builders import Bench, bench

Shell = Callable[..., tuple[int, str, str]]


@pytest.fixture
def at_bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Bench]:
    made = bench(tmp_path)
    monkeypatch.setenv("STABILITY_DB", str(made.path))
    monkeypatch.setenv("STABILITY_TIME_ZONE", "Europe/Berlin")
    monkeypatch.chdir(tmp_path)
    yield made
    made.records.close()


@pytest.fixture
def shell(at_bench: Bench, capsys: pytest.CaptureFixture[str]) -> Shell:
    def call(*arguments: str) -> tuple[int, str, str]:
        code = run([*arguments, "--person", "Mira"])
        return code, *capsys.readouterr()

    return call


def test_a_sample_is_moved_and_the_move_told(at_bench: Bench, shell: Shell) -> None:
    code, out, err = shell("move", "0417-K", "ROOM-23", "--at", "2025-03-25T08:30")
    assert (code, out) == (0, "0417-K moved from OVN-50 to ROOM-23 (23 °C)\n")
    assert err.startswith("caution: 50 °C stock")
    assert at_bench.rows("event")[-1]["person"] == "Mira"


def test_without_a_time_it_is_now(at_bench: Bench, shell: Shell) -> None:
    assert shell("move", "0417-K", "ROOM-23")[0] == 0
    (row,) = at_bench.rows("sample_move")
    assert row["at"] == row["entered_at"].replace(microsecond=0)


def test_a_gelled_ending_shows_how_the_tin_is_thrown_away(shell: Shell) -> None:
    code, out, err = shell("end", "0418-M", "--reason", "gelled")
    assert (code, out) == (0, "0418-M ended: gelled; no check falls due any more\n")
    assert "caution: Gelled but not dried is still flammable solvent waste with methanol" in err
    assert err.splitlines()[-1] == "caution: SDS, local code and licensed practice come first."


@pytest.mark.parametrize(
    "arguments",
    [
        ("move", "0417-K", "ROOM-23", "--at", "2025-03-25"),
        ("end", "0417-K", "--reason", "used", "--at", "2025-03-25"),
    ],
)
def test_the_same_act_twice_is_told_and_writes_nothing(
    at_bench: Bench, shell: Shell, arguments: tuple[str, ...]
) -> None:
    shell(*arguments, "--at", "2025-03-25")
    events = at_bench.rows("event")
    code, out, err = shell(*arguments, "--at", "2025-03-25", "--json")
    assert (code, json.loads(out)["already_stored"]) == (0, True)
    assert "was stored before; nothing was written" in err
    assert at_bench.rows("event") == events


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (
            ["move", "0417-K", "ROOM-32"],
            "error: store 'ROOM-32' is not on record\nhint: did you mean ROOM-23",
        ),
        (["move", "0417-X", "ROOM-23"], "error: sample '0417-X' is not on record\nhint: did you mean 0417-"),
        (["move", "0417-K", "OVN-50"], "error: sample 0417-K stands in OVN-50 already"),
        (
            ["move", "0417-K", "ROOM-23", "--at", "2999-01-01"],
            "error: time 2999-01-01 00:00+01:00 is in the future",
        ),
        (["end", "0417-K", "--reason", "lost"], "error: Invalid value for '--reason': 'lost' is not one of"),
        (["end", "0417-K"], "error: Missing option '--reason'"),
        (
            ["end", "0417-K", "--reason", "used", "--at", "2020-01-01"],
            "error: time 2020-01-01 00:00+01:00 is",
        ),
    ],
)
def test_bad_input_is_told_with_exit_2_and_nothing_written(
    at_bench: Bench, shell: Shell, arguments: list[str], told: str
) -> None:
    code, out, err = shell(*arguments)
    assert (code, out) == (2, "")
    assert err.startswith(told), err
    assert at_bench.rows("sample_move") == at_bench.rows("ending") == []
