"""`forecast` as typed, on the reference study: figures of other programs, every key, never a NaN."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from stability.cli.edge import run
from tests.conftest import fresh_sqlite
from tests.reference import LIFE_DAYS, LOWER_DAYS, NOW, PLACED, reference_files

KEYS = {
    "study", "product", "product_lots", "thinner", "thinner_lots", "level_pct", "additive", "pack",
    "storage_c",
    "limit_viscosity_ratio", "target_life_days", "outcome", "says", "life_days", "life_days_lower95",
    "life_days_lower95_next_tin", "life_days_upper95", "probability_before_target", "limit_date",
    "gel_life_days", "activation_energy_kj_mol", "activation_energy_se_kj_mol", "order_m",
    "self_acceleration_b", "initial_viscosity_mpas", "noise_pct", "tin_spread_pct", "tins", "readings",
    "gelled_tins", "priors_used", "evidence",
}  # fmt: skip
AT = ("--as-of", NOW.isoformat())

Typed = Callable[..., tuple[int, str, str]]


@pytest.fixture
def typed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Typed:
    """Take the reference study in by `import`, and return what types a command line."""
    fresh_sqlite(tmp_path).close()
    (tmp_path / "in").mkdir()
    for name, text in reference_files().items():
        (tmp_path / "in" / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("STABILITY_DB", str(tmp_path / "records.db"))

    def typing(*arguments: str) -> tuple[int, str, str]:
        code = run(arguments)
        told = capsys.readouterr()
        assert "sa" + "fe" not in (told.out + told.err).lower()
        return code, told.out, told.err

    code, _, err = typing("import", "in")
    assert code == 0, err
    return typing


def rows(typed: Typed, *arguments: str) -> list[dict[str, Any]]:
    code, out, err = typed("forecast", *arguments, "--json")
    assert code == 0, err
    data = json.loads(out, parse_constant=lambda name: pytest.fail(f"{name} in JSON"))
    assert set(data) == {"as_of", "forecasts"}
    return list(data["forecasts"])


def test_the_plain_model_gives_the_figures_of_other_programs(typed):
    (row,) = rows(typed, *AT, "--store-spread", "0")
    assert (row["tins"], row["readings"], row["gelled_tins"]) == (10, 60, 0)
    assert row["life_days"] == pytest.approx(LIFE_DAYS, rel=0.02)
    assert row["life_days_lower95"] == pytest.approx(LOWER_DAYS, rel=0.03)


def test_every_key_is_there_and_says_what_it_should(typed):
    (row,) = rows(typed, *AT)
    assert set(row) >= KEYS
    assert row["life_days"] == pytest.approx(LIFE_DAYS, rel=0.10)
    assert row["life_days_lower95_next_tin"] < row["life_days_lower95"] < LOWER_DAYS
    assert row["outcome"] == "estimated"
    assert (row["study"], row["product_lots"], row["thinner_lots"], row["pack"]) == (
        "R-01",
        ["H-1"],
        [],
        None,
    )
    assert 0 <= row["probability_before_target"] <= 1
    assert row["activation_energy_kj_mol"] == pytest.approx(76, abs=4)
    assert row["limit_date"] == (PLACED + timedelta(days=row["life_days"])).date().isoformat()
    assert row["priors_used"] is False
    for evidence in row["evidence"]:
        assert set(evidence) == {"name", "passed", "p", "says"}
    assert row["gel_life_days"] is None or row["gel_life_days"] > row["life_days"]


def test_an_early_look_says_what_is_missing_in_nulls(typed):
    (row,) = rows(typed, "--as-of", (PLACED + timedelta(hours=3)).isoformat())
    assert set(row) >= KEYS
    assert row["outcome"] == "too_early"
    assert row["says"]
    assert row["life_days"] is row["life_days_lower95"] is row["probability_before_target"] is None


def test_another_limit_is_asked_for_and_nonsense_is_refused_in_one_line(typed):
    (row,) = rows(typed, *AT, "--limit", "1.5")
    assert row["limit_viscosity_ratio"] == 1.5
    assert row["life_days"] < 0.8 * LIFE_DAYS
    for wrong in (("--limit", "1"), ("--limit", "-2"), ("--store-spread", "-1"), ("--store-spread", "nan")):
        code, out, err = typed("forecast", *wrong)
        assert (code, out) == (2, "")
        assert "Traceback" not in err


def test_a_table_for_people_holds_the_rounded_life(typed):
    code, out, err = typed("forecast", *AT)
    assert (code, err) == (0, "")
    assert "Heron-A + xylene 20 %" in out


def test_asking_twice_gives_the_same_bytes_and_writes_nothing(typed, tmp_path):
    before = (tmp_path / "records.db").read_bytes()
    assert typed("forecast", *AT, "--json") == typed("forecast", *AT, "--json")
    assert (tmp_path / "records.db").read_bytes() == before
