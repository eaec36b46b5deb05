"""`statement draft` as typed: exit code 3 where the evidence does not carry the claim."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from stability.cli.edge import run
from stability.records.engine import open_records
from stability.records.events import events_of
from tests.fleet import day
from tests.lab import TIN, lab

Typed = Callable[..., tuple[int, str, str]]
AT = ("--as-of", day(114).isoformat())
DRAFT = ("statement", "draft", "S-07")


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


def _acts(folder: Path) -> list[str]:
    records = open_records(str(folder / "lab.db"))
    with records.reading() as connection:
        found = [f"{act.verb} by {act.person}" for act in events_of(connection)]
    records.close()
    return found


def test_a_claim_that_is_carried_leaves_with_zero(typed, tmp_path):
    before = _acts(tmp_path)
    code, out, err = typed(*DRAFT, "--thinner", "xylene", "--pack", TIN, "--months", "6", *AT)
    assert (code, err) == (0, "")
    assert "At most 6 months (asked for: 6 months)." in out
    assert "NOT A STATEMENT" in out.splitlines()[0]
    assert _acts(tmp_path) == before, "without a person nothing is stored"


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--thinner", "butyl acetate"), "ester thinner without a finished test"),
        (("--thinner", "naphtha", "--months", "6"), "two heated stores"),
        (("--thinner", "xylene", "--months", "9"), "passes with a reading at day 137 or later"),
        (("--thinner", "xylene", "--pack", "HDPE bottle"), "the pack HDPE bottle was not tested"),
    ],
)
def test_a_claim_that_is_not_carried_leaves_with_three_and_its_reasons(typed, options, said):
    code, out, _ = typed(*DRAFT, *options, *AT)
    assert code == 3
    assert "REFUSED: no figure in months" in out
    assert said in " ".join(out.split())
    assert "would be lifted by" in out


def test_a_draft_is_json_without_a_nan(typed):
    code, out, _ = typed(*DRAFT, "--thinner", "butyl acetate", "--json", *AT)
    data = json.loads(out, parse_constant=lambda name: pytest.fail(f"{name} in JSON"))
    assert code == 3
    assert (data["refused"], data["months"], data["rung"]) == (True, None, 1)
    assert data["refusals"][0]["lifted_by"]


def test_a_person_who_drafts_is_noted_and_shown_without_control_characters(typed, tmp_path):
    code, out, _ = typed(*DRAFT, "--thinner", "xylene", "--person", "Tomas \x1b[31m", *AT)
    assert code == 0
    assert "\x1b" not in out
    assert _acts(tmp_path)[-1].startswith("drafted statement by Tomas")


@pytest.mark.parametrize(
    "options",
    [
        ("--product", "Heron-A"),
        ("--thinner", "tar"),
        ("--thinner", "xylene", "--months", "0"),
        ("--thinner", "xylene", "--limit", "1"),
        ("--thinner", "xylene", "--limit", "nan"),
        ("--thinner", "xylene", "--level", "much"),
        ("--thinner", "xylene", "--lot", "nobody's"),
    ],
)
def test_what_is_not_clear_leaves_with_two_and_a_hint(typed, options):
    code, out, err = typed(*DRAFT, *options, *AT)
    assert (code, out) == (2, "")
    assert err.startswith("error: ")
    assert "hint: " in err or "--" in err
    assert "Traceback" not in err


def test_without_a_command_it_says_what_is_missing_in_one_line(typed):
    code, out, err = typed("statement")
    assert (code, out) == (2, "")
    assert err == "error: Missing command.\nhint: stability statement --help\n"
