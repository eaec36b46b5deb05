"""`due` as typed: the terminal, the paper, the table."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path

import pytest

from stability.cli.edge import run
from tests.fleet import day
from tests.lab import lab
from tests.paper import text_of

Typed = Callable[..., tuple[int, str, str]]
AT = ("--as-of", day(6).isoformat(), "--person", "Mira")


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
        return code, told.out, told.err

    return typing


def test_the_terminal_numbers_the_cautions_and_names_them_at_the_tin(typed):
    code, out, err = typed("due", *AT)
    assert (code, err) == (0, "")
    assert "\n1  " in out
    assert "small-sample cell · 32 mL · heed 1 · " in out or "small-sample cell · 32 mL · heed 2 · " in out
    assert max(map(len, out.splitlines())) <= 100


def test_the_paper_is_written_and_said(typed, tmp_path):
    code, out, err = typed("due", *AT, "--pdf", "out/round.pdf")
    assert (code, out, err) == (0, "", "round sheet written to out/round.pdf\n")
    text = text_of((tmp_path / "out" / "round.pdf").read_bytes())
    assert "Round sheet, Mon 10 Mar 2025" in text
    assert "by: Mira" in text


def test_the_table_goes_to_a_file_or_to_the_terminal(typed, tmp_path):
    code, out, _ = typed("due", *AT, "--csv")
    assert code == 0
    code, nothing, err = typed("due", *AT, "--csv", "round.csv")
    assert (code, nothing) == (0, "")
    assert (tmp_path / "round.csv").read_text("utf-8") == out
    rows = list(csv.DictReader(out.splitlines()))
    assert err == f"{len(rows)} rows written to round.csv\n"
    assert {"cell", "spindle", "needs_ml", "cautions", "minutes"} <= set(rows[0])


def test_json_keeps_its_keys_beside_a_file(typed):
    _, alone, _ = typed("due", *AT, "--json")
    code, beside, err = typed("due", *AT, "--json", "--pdf", "round.pdf")
    assert (code, beside, err) == (0, alone, "round sheet written to round.pdf\n")
    keys = "sample study blend store temperature_c act checks due_at state age_days moved minutes"
    assert list(json.loads(alone)["checks"][0]) == keys.split()


def test_a_file_that_cannot_be_written_is_one_line(typed, tmp_path):
    (tmp_path / "file").write_text("")
    for option in ("--pdf", "--csv"):
        code, out, err = typed("due", *AT, option, "file/x")
        assert (code, out) == (2, "")
        assert err.startswith("error: file/x cannot be written: ")
