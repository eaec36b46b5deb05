"""`compare` as typed."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from stability.cli.edge import run
from tests.fleet import day
from tests.lab import lab

KEYS = {
    "rank", "product", "product_lots", "thinner", "thinner_lots", "level_pct", "additive", "pack", "outcome",
    "life_days_lower95_next_tin", "months", "life_ratio", "life_ratio_lower95", "life_ratio_upper95",
    "dry_through_ratio", "cure_lost", "flash_c", "class", "evidence_rung", "remark",
    "flash_class", "capped_by",
}  # fmt: skip
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


def test_the_ranking_is_json_without_a_nan(typed):
    code, out, err = typed("compare", "S-07", *AT, "--json")
    assert (code, err) == (0, "")
    data = json.loads(out, parse_constant=lambda name: pytest.fail(f"{name} in JSON"))
    assert all(set(blend) == KEYS for blend in data["blends"])
    assert [blend["rank"] for blend in data["blends"]] == [1, 2, None]
    assert data["blends"][2]["class"] == "ester"
    assert data["reference"] in ("Heron-A + xylene 20 %", "Heron-A + naphtha 20 %")


def test_the_only_study_needs_no_name_and_the_reference_can_be_chosen(typed):
    assert typed("compare", *AT) == typed("compare", "S-07", *AT)
    data = json.loads(typed("compare", *AT, "--reference", "butyl acetate", "--json")[1])
    assert data["reference"] == "Heron-A + butyl acetate 20 %"


def test_the_table_names_the_choice_and_the_standing_caution(typed):
    code, out, _ = typed("compare", *AT)
    words = " ".join(out.split())
    assert code == 0
    assert "at least" in words
    assert "not recommendable yet" in words
    assert "SDS, local code and licensed practice come first." in words


@pytest.mark.parametrize(("arguments"), [("S-99",), ("S-07", "--reference", "water")])
def test_what_is_not_there_is_one_line_and_a_hint(typed, arguments):
    code, out, err = typed("compare", *arguments, *AT)
    assert (code, out) == (2, "")
    assert "Traceback" not in err
    assert len(err.strip().splitlines()) <= 2
