"""`report` and `board --sample` as typed."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from stability.cli.edge import run
from tests.fleet import day
from tests.lab import lab

Typed = Callable[..., tuple[int, str, str]]
AT = ("--as-of", day(114).isoformat())


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


def test_the_report_is_text_on_stdout(typed):
    code, out, err = typed("report", "S-07", *AT)
    assert (code, err) == (0, "")
    assert out.startswith("STUDY REPORT S-07")
    assert out.endswith("SDS, local code and licensed practice come first.\n")
    assert typed("report", *AT)[1] == out, "the only study needs no name"


def test_the_report_is_json_without_a_nan(typed):
    code, out, _ = typed("report", "S-07", *AT, "--json")
    assert code == 0
    data = json.loads(out, parse_constant=lambda name: pytest.fail(f"{name} in JSON"))
    assert data["as_of"] == "2025-06-26T09:00:00Z"
    assert len(data["verdicts"]) == 3


def test_a_page_and_paper_are_written_instead_of_the_text(typed, tmp_path):
    code, out, err = typed("report", "S-07", *AT, "--html", "out/S-07.html", "--pdf", "S-07.pdf")
    assert (code, out) == (0, "")
    assert err == "page written to out/S-07.html\npaper written to S-07.pdf\n"
    page = (tmp_path / "out" / "S-07.html").read_text("utf-8")
    assert page.count("<figure>") == 6
    assert 'href="#b1-readings"' in page
    assert page.count('class="readings"') == 16
    assert (tmp_path / "S-07.pdf").read_bytes().startswith(b"%PDF-")


def test_a_page_can_go_with_the_data_and_a_file_that_cannot_be_is_told(typed, tmp_path):
    code, out, _ = typed("report", *AT, "--html", "S-07.html", "--json")
    assert (code, json.loads(out)["code"]) == (0, "S-07")
    (tmp_path / "file").write_text("")
    code, out, err = typed("report", *AT, "--html", "file/x.html")
    assert (code, out) == (2, "")
    assert "cannot be written" in err


MEANS = "20 22 25 29 33 36 38 37 33 29 24 21"


def test_a_customer_gets_his_sheet_as_text_data_page_and_paper(typed, tmp_path):
    asked = ("report", *AT, "--for-customer", "--thinner", "xylene", "--means", MEANS, "--filled", "June")
    code, out, err = typed(*asked)
    assert (code, err) == (0, "")
    assert "for tins filled in Jun" in out.splitlines()[2]
    data = json.loads(typed(*asked, "--json")[1])
    assert (data["filled"], len(data["lines"])) == (6, 12)
    code, out, err = typed(*asked, "--html", "a.html", "--pdf", "a.pdf")
    assert (code, out) == (0, "")
    assert err == "answer sheet written to a.html\nanswer sheet written to a.pdf\n"
    assert 'class="months"' in (tmp_path / "a.html").read_text("utf-8")
    assert (tmp_path / "a.pdf").read_bytes().startswith(b"%PDF-")


@pytest.mark.parametrize(
    "asked",
    [
        ("--thinner", "xylene"),
        ("--for-customer", "--thinner", "xylene", "--filled", "June"),
        ("--for-customer", "--thinner", "xylene", "--means", "20 22"),
        ("--for-customer", "--thinner", "xylene", "--means", MEANS.replace("36", "warm")),
        ("--for-customer", "--thinner", "xylene", "--means", MEANS, "--filled", "13"),
        ("--for-customer", "--thinner", "xylene", "--limit", "0.5"),
        ("--for-customer", "--thinner", "water"),
    ],
)
def test_a_question_that_cannot_be_answered_is_told_in_a_line(typed, asked):
    code, out, err = typed("report", *AT, *asked)
    assert (code, out) == (2, "")
    assert "Traceback" not in err


def test_figures_are_written_beside_it(typed, tmp_path):
    code, out, err = typed("report", "S-07", *AT, "--figures", "figures", "--json")
    assert (code, err) == (0, "6 figures written to figures\n")
    json.loads(out)
    files = sorted((tmp_path / "figures").iterdir())
    assert len(files) == 6
    for file in files:
        ET.parse(file)  # noqa: S314 - we wrote it


def test_what_cannot_be_reported_is_one_line(typed, tmp_path):
    (tmp_path / "file").write_text("")
    assert typed("report", "S-99", *AT)[0] == 2
    code, out, err = typed("report", *AT, "--figures", "file/x")
    assert (code, out) == (2, "")
    assert err.startswith("error: figures file/x")


def test_one_tin_is_drawn_and_is_json(typed):
    code, out, _ = typed("board", "--sample", "S-07-X231", *AT)
    assert code == 0
    assert "Heron-A + xylene 20 %" in out
    code, out, _ = typed("board", "--sample", "S-07-X231", *AT, "--json")
    assert json.loads(out)["readings"][0]["counts"] is True
    code, out, err = typed("board", "--sample", "S-07-X23\x1b", *AT)
    assert (code, out) == (2, "")
    assert "did you mean" in err
    assert "\x1b" not in err
