"""`sweep`, `alerts`, `acknowledge`, `due`, `run` as typed."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from stability.cli.edge import run
from stability.records.migrate import bring_up_to_date
from tests.fleet import bring, day, readings, samples, set_up

ALERT_KEYS = [
    "id", "kind", "study", "product", "thinner", "level_pct", "additive", "pack", "sample", "opened_at",
    "closed_at", "acknowledged_by", "probability", "priors_used", "limit_date", "says",
]  # fmt: skip
STANDING_LINE = "SDS, local code and licensed practice come first."

Typed = Callable[..., tuple[int, str, str]]


@pytest.fixture
def typed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Typed:
    """Return what types a command line: exit code, stdout, stderr."""
    db = tmp_path / "stability.db"
    records, _ = bring_up_to_date(str(db))
    tins = samples()
    set_up(records, tins=tins)
    bring(records, day(91), readings=readings(tins, life_days=150, until=90))
    records.close()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("STABILITY_DB", str(db))
    monkeypatch.setenv("STABILITY_TIME_ZONE", "Europe/Berlin")

    def typing(*arguments: str) -> tuple[int, str, str]:
        code = run(arguments)
        told = capsys.readouterr()
        return code, told.out, told.err

    return typing


def as_data(typed: Typed, *arguments: str) -> Any:
    code, out, err = typed(*arguments, "--json")
    assert code == 0, err
    return json.loads(out, parse_constant=lambda name: pytest.fail(f"{name} in JSON"))


def test_a_sweep_as_of_a_day_prints_what_it_opened_and_a_second_one_opens_nothing(typed):
    at = day(91).isoformat()
    first = as_data(typed, "sweep", "--as-of", at)
    assert [alert["kind"] for alert in first["opened"]] == ["heading_for_limit"]
    assert list(first["opened"][0]) == ALERT_KEYS
    assert first["refitted"] == 1
    second = as_data(typed, "sweep", "--as-of", at)
    assert second["opened"] == second["worse"] == second["closed"] == []
    assert second["refitted"] == 0


def test_a_sweep_knows_only_what_was_known_then(typed):
    early = as_data(typed, "sweep", "--as-of", day(3).isoformat())
    assert early["opened"] == [] or [a["kind"] for a in early["opened"]] == ["check_due"]


def test_a_sweep_in_the_future_is_refused(typed):
    code, out, err = typed("sweep", "--as-of", "2999-01-01")
    assert (code, out) == (2, "")
    assert "future" in err


def test_alerts_lists_the_open_ones_and_all_on_request(typed):
    typed("sweep", "--as-of", day(91).isoformat())
    (alert,) = as_data(typed, "alerts")["alerts"]
    assert list(alert) == ALERT_KEYS
    assert alert["opened_at"] == "2025-06-03T09:00:00Z"
    assert as_data(typed, "alerts", "--as-of", day(90).isoformat())["alerts"] == []
    code, out, _ = typed("alerts")
    assert code == 0
    assert "heading for" in out


def test_an_alert_is_acknowledged_with_a_reason_and_a_name(typed):
    typed("sweep", "--as-of", day(91).isoformat())
    code, out, _ = typed("acknowledge", "1", "--reason", "old drum", "--person", "Lena \x1b[31m")
    assert code == 0
    assert "\x1b" not in out
    assert as_data(typed, "alerts")["alerts"][0]["acknowledged_by"].startswith("Lena")
    assert typed("acknowledge", "7", "--reason", "x", "--person", "Lena")[0] == 2
    assert typed("acknowledge", "1", "--person", "Lena")[0] == 2


def test_the_round_sheet_is_in_walking_order_with_its_cautions(typed):
    data = as_data(typed, "due", "--as-of", day(6).isoformat())
    lines = data["checks"]
    assert [line["act"] for line in lines] == sorted(line["act"] for line in lines)
    measured = [line["temperature_c"] for line in lines if line["act"] == "measure"]
    assert measured == sorted(measured)
    assert data["cautions"][-1] == STANDING_LINE
    code, out, _ = typed("due", "--as-of", day(6).isoformat())
    assert code == 0
    assert STANDING_LINE in out
    assert "S-07-X501" in out


def test_the_round_as_csv_has_one_row_per_tin_and_act(typed):
    code, out, _ = typed("due", "--as-of", day(6).isoformat(), "--csv")
    assert code == 0
    found = list(csv.DictReader(io.StringIO(out)))
    assert {row["act"] for row in found} == {"measure", "take out"}
    assert found[0]["due_at"].endswith("+01:00")
    assert found[0]["checks"] == "viscosity"


def test_a_wider_round_holds_more(typed):
    near, far = (
        len(as_data(typed, "due", "--as-of", day(1).isoformat(), "--within", days)["checks"])
        for days in ("0", "30")
    )
    assert far > near


def test_an_empty_round_says_so_and_still_carries_the_standing_line(typed):
    code, out, _ = typed("due")
    assert code == 0
    assert "Nothing is due." in out
    assert STANDING_LINE in out


def test_run_looks_so_often_and_writes_the_file(typed, tmp_path):
    code, _, err = typed("run", "--every", "0.05", "--sweeps", "2")
    assert code == 0, err
    assert "alert 1 opened: heading_for_limit" in err
    lines = (tmp_path / "stability-out" / "alerts.txt").read_text("utf-8").splitlines()
    assert len(lines) == 1
    assert "heading_for_limit S-07 Heron-A in xylene 20 %" in lines[0]


@pytest.mark.parametrize("options", [("--every", "0"), ("--sweeps", "0"), ("--every", "soon")])
def test_run_refuses_what_is_no_number_of_looks(typed, options):
    assert typed("run", *options)[0] == 2


def test_a_look_back_after_a_later_look_repeats_nothing(typed):
    later = day(91) + timedelta(days=1)
    typed("sweep", "--as-of", later.isoformat())
    again = as_data(typed, "sweep", "--as-of", day(91).isoformat())
    assert again["opened"] == again["closed"] == []
    assert len(as_data(typed, "alerts", "--all")["alerts"]) == 1


def test_a_look_writes_the_wall_board_where_it_is_asked_to(typed, tmp_path):
    code, out, err = typed("sweep", "--as-of", day(91).isoformat(), "--board", "wall/board.html")
    assert (code, err) == (0, "")
    assert "1 opened" in out
    board = (tmp_path / "wall" / "board.html").read_text("utf-8")
    assert "written once" in board
    assert "heading for limit" in board
