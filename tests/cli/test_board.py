"""`board` as typed."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from stability.cli.edge import run
from tests.fleet import day
from tests.lab import lab

AT = ("--as-of", day(114).isoformat())

Typed = Callable[..., tuple[int, str, str]]


@pytest.fixture
def typed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Typed:
    """Return what types a command line: exit code, stdout, stderr."""
    lab(tmp_path).close()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("STABILITY_DB", str(tmp_path / "lab.db"))
    monkeypatch.setenv("STABILITY_TIME_ZONE", "Europe/Berlin")

    def typing(*arguments: str) -> tuple[int, str, str]:
        code = run(arguments)
        told = capsys.readouterr()
        assert "sa" + "fe" not in (told.out + told.err).lower()
        return code, told.out, told.err

    return typing


@pytest.mark.parametrize("columns", ["80", "120", "200"])
def test_the_board_fits_its_terminal(typed, monkeypatch, columns):
    monkeypatch.setenv("COLUMNS", columns)
    code, out, err = typed("board", *AT)
    assert (code, err) == (0, "")
    assert max(map(len, out.splitlines())) <= int(columns)
    for thinner in ("xylene", "naphtha", "butyl acetate"):
        assert thinner in out
    assert "SDS, local code and licensed practice come first." in " ".join(out.split())


def test_the_board_is_json_without_a_nan_and_the_same_twice(typed):
    first, second = (typed("board", *AT, "--json") for _ in range(2))
    assert first == second
    assert first[0] == 0
    data = json.loads(first[1], parse_constant=lambda name: pytest.fail(f"{name} in JSON"))
    assert len(data["blends"]) == 3
    assert {blend["word"] for blend in data["blends"]} <= {"lost", "creeping", "too early", "steady"}


def test_a_study_shows_its_tins(typed):
    data = json.loads(typed("board", "--study", "S-07", *AT, "--json")[1])
    assert len(data["samples"]) == data["samples_total"] == 16
    assert "S-07-X231" in typed("board", "--study", "S-07", *AT)[1]


def test_a_date_alone_means_the_end_of_that_day(typed):
    data = json.loads(typed("board", "--as-of", "2025-06-26", "--json")[1])
    assert data["as_of"].startswith("2025-06-26T21:59:59")


@pytest.mark.parametrize(
    "wrong",
    [
        ("--live", *AT),
        ("--live", "--json"),
        ("--live", "--every", "0"),
        ("--as-of", "yesterday"),
        ("--sample", "NOT-THERE", *AT),
    ],
)
def test_what_cannot_be_shown_is_said_without_a_traceback(typed, wrong):
    code, out, err = typed("board", *wrong)
    assert (code, out) == (2, "")
    assert err
    assert "Traceback" not in err
