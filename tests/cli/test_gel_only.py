"""A study that only looks for gel, through the commands: forecast, board, report, compare, sweep."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from stability.cli.edge import run
from tests.cli.test_forecast import KEYS
from tests.conftest import fresh_sqlite
from tests.fleet import day
from tests.services.test_gel_only import LIFE, fill

AT = ("--as-of", day(120).isoformat())

Typed = Callable[..., str]


@pytest.fixture
def typed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Typed:
    """Fill a database, and return what types a command line and gives back what was printed."""
    records = fresh_sqlite(tmp_path)
    fill(records)
    records.close()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("STABILITY_DB", str(tmp_path / "records.db"))

    def typing(*arguments: str) -> str:
        code = run(arguments)
        told = capsys.readouterr()
        assert (code, told.err) == (0, "")
        assert "nan" not in told.out.lower().split()
        return told.out

    return typing


def row_of(text: str) -> dict[str, Any]:
    (row,) = json.loads(text, parse_constant=lambda name: pytest.fail(f"{name} in JSON"))["forecasts"]
    return dict(row)


def test_forecast_as_json_has_every_key_and_the_gel_as_the_life(typed: Typed) -> None:
    row = row_of(typed("forecast", *AT, "--json"))
    assert set(row) >= KEYS
    assert row["outcome"] == "estimated"
    assert row["life_days"] == row["gel_life_days"] == pytest.approx(LIFE, rel=0.1)
    assert row["life_days_lower95_next_tin"] < row["life_days_lower95"] < row["life_days"]
    assert 0.0 <= row["probability_before_target"] <= 1.0
    for evidence in row["evidence"]:
        assert set(evidence) == {"name", "passed", "p", "says"}


def test_an_early_look_says_so_in_json_and_in_words(typed: Typed) -> None:
    at = ("--as-of", day(10).isoformat())
    row = row_of(typed("forecast", *at, "--json"))
    assert (row["outcome"], row["life_days"], row["gel_life_days"]) == ("lower_bound_only", None, None)
    assert row["life_days_lower95"] == pytest.approx(7.0)
    words = " ".join(typed("forecast", *at).split())
    assert "life to gel at 23.0 °C: at least 7.0 d, no upper end yet" in words
    assert "none of 12 tins has gelled, at least 4 are needed for a life" in words


def test_people_read_a_life_to_gel(typed: Typed) -> None:
    words = typed("forecast", *AT)
    assert "life to gel at 23.0 °C: " in words
    assert "lognormal or weibull" in words
    assert "12 tins, " in words
    assert "8 gelled" in words


def test_asking_twice_gives_the_same_bytes(typed: Typed) -> None:
    assert typed("forecast", *AT, "--json") == typed("forecast", *AT, "--json")


def test_board_report_compare_and_sweep_take_it_as_any_other_study(typed: Typed) -> None:
    swept = json.loads(typed("sweep", *AT, "--json"))
    assert {alert["kind"] for alert in swept["opened"]} == {"gelled"}
    board = typed("board", *AT)
    assert "creeping" in board
    assert "xylene 20 %" in board
    report = typed("report", "G-01", *AT)
    assert "the limit (gel grade 3)" in " ".join(report.split())
    assert "no readings yet" not in report
    assert "Heron-A + xylene 20 %" in typed("compare", "G-01", *AT)
