"""`labels` as typed."""

from __future__ import annotations

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

    def typing(*arguments: str) -> tuple[int, str, str]:
        code = run(arguments)
        told = capsys.readouterr()
        return code, told.out, told.err

    return typing


def test_labels_are_written_and_counted(typed, tmp_path):
    code, out, err = typed("labels", "out/l.pdf", "--store", "OVN-40", *AT)
    assert (code, err) == (0, "")
    assert out == "8 labels for 4 tins on 1 sheet written to out/l.pdf\n"
    text = text_of((tmp_path / "out" / "l.pdf").read_bytes())
    assert text.count("Heron-A + butyl acetate 20 %") == 4
    first = (tmp_path / "out" / "l.pdf").read_bytes()
    typed("labels", "out/l.pdf", "--store", "OVN-40", *AT)
    assert (tmp_path / "out" / "l.pdf").read_bytes() == first


def test_labels_are_json_too(typed):
    code, out, _ = typed("labels", "l.pdf", "--sample", "S-07-X231", "--part", "lid", "--json", *AT)
    assert code == 0
    data = json.loads(out)
    assert data["sheets"] == 1
    assert [label["sample"] for label in data["labels"]] == ["S-07-X231"]


def test_the_sheet_follows_the_settings(typed, monkeypatch):
    monkeypatch.setenv("STABILITY_LABELS__ROWS", "2")
    monkeypatch.setenv("STABILITY_LABELS__COLUMNS", "1")
    assert "on 4 sheets" in typed("labels", "l.pdf", "--store", "OVN-40", *AT)[1]
    monkeypatch.setenv("STABILITY_LABELS__ROWS", "13")
    monkeypatch.setenv("STABILITY_LABELS__COLUMNS", "6")
    code, out, err = typed("labels", "m.pdf", "--store", "OVN-40", *AT)
    assert (code, out) == (2, "")
    assert "hint: fewer rows or columns" in err
    assert not Path("m.pdf").exists()


def test_what_cannot_be_labelled_or_written_is_one_line(typed, tmp_path):
    (tmp_path / "file").write_text("")
    assert typed("labels", "l.pdf", "--sample", "nope", *AT)[0] == 2
    code, out, err = typed("labels", "file/l.pdf", *AT)
    assert (code, out) == (2, "")
    assert err.startswith("error: file/l.pdf cannot be written: ")
