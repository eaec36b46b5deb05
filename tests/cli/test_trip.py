"""`trip` as typed: what a record of temperatures cost a blend, and records that are refused whole."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import pytest

from stability.services.trip_dose import dose_days, hours_above, trip_of
from tests.fleet import day
from tests.statement_desk import Desk, desk_in


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Desk:
    return desk_in(tmp_path, monkeypatch, capsys)


def _record(
    desk: Desk, warmths: list[float], *, separator: str = ",", head: str = "at{}temperature_c"
) -> str:
    lines = [head.format(separator)]
    for hour, warmth in enumerate(warmths):
        shown = f"{warmth:g}".replace(".", "," if separator == ";" else ".")
        lines.append(f"{(day(100) + timedelta(hours=hour)).isoformat()}{separator}{shown}")
    (desk.folder / "trip.csv").write_text("\n".join(lines) + "\n")
    return "trip.csv"


def test_ten_days_at_the_storage_temperature_cost_ten_days(desk):
    out = desk.does("trip", _record(desk, [23.0] * 241), "S-07", "--thinner", "xylene", "--json")
    told = json.loads(out)
    assert told["duration_days"] == pytest.approx(10)
    assert [cost["days"] for cost in told["costs"]] == pytest.approx([10, 10, 10])
    assert [cost["mean_kinetic_c"] for cost in told["costs"]] == pytest.approx([23, 23, 23])
    assert told["costs"][0]["share"] == pytest.approx(10 / told["life_days"])


def test_a_hot_trip_is_told_as_a_share_of_the_life_with_peak_hours_and_both_ends(desk):
    record = _record(desk, [23.0] * 24 + [45.0] * 48 + [23.0] * 24, separator=";")
    told = json.loads(desk.does("trip", record, "S-07", "--thinner", "xylene", "--json"))
    own, lower, upper = (cost["days"] for cost in told["costs"])
    assert lower < own < upper
    assert own == pytest.approx(16, abs=2)  # two days at 45 °C by 75 kJ/mol are 16.6, two at 23 °C are 2
    assert told["peak_c"] == 45
    assert told["hours_above_warm"] == pytest.approx(47.5, abs=1)
    out = desk.does("trip", record, "S-07", "--thinner", "xylene")
    assert "Heron-A + xylene 20 %: this trip cost" in out
    for words in (
        "peak 45.0 °C",
        "h above 40 °C",
        "flash point of the thinner, 27 °C",
        "mean kinetic",
        "SDS",
    ):
        assert words in out


def test_a_gap_is_counted_at_the_peak_and_said(desk):
    (desk.folder / "gap.csv").write_text(
        "at,temperature_c\n2025-06-01T00:00Z,23\n2025-06-01T01:00Z,40\n2025-06-04T01:00Z,23\n"
    )
    out = desk.does("trip", "gap.csv", "S-07", "--thinner", "xylene")
    assert "3.00 d not recorded, counted at the peak" in out


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "empty"),
        ("when,warm\n1,2\n", "when, warm"),
        ("at,temperature_c\n2025-06-01T00:00Z,23\n", "1 points"),
        ("at,temperature_c\nyesterday,23\n2025-06-01T00:00Z,nan\n", "line 3: nan °C"),
        ("at,temperature_c\n2025-06-01T00:00Z,23\n2025-06-01T00:00Z,24\n", "contradicts"),
        ("at,temperature_c\n2025-06-01T00:00Z,900\n2025-06-01T01:00Z,24\n", "expected -90 to 150"),
        ("at,temperature_c\n2025-06-01T00:00Z\n2025-06-01T01:00Z,24\n", "line 2"),
    ],
)
def test_a_record_that_is_not_clear_is_refused_whole(desk, text, said):
    (desk.folder / "bad.csv").write_text(text)
    code, out, err = desk.types("trip", "bad.csv", "S-07", "--thinner", "xylene")
    assert (code, out) == (2, "")
    assert said in err


def test_the_dose_of_a_ramp_is_that_of_its_integral():
    import numpy as np

    trip = trip_of([0.0, 4.0], [20.0, 50.0], gap_days=9.0)
    fine = np.linspace(20.0, 50.0, 200_001)
    rate = np.exp(-83.144 / 8.314462618e-3 * (1 / (fine + 273.15) - 1 / 296.15))
    assert dose_days(trip, 23.0, 83.144) == pytest.approx(4.0 * rate.mean(), rel=2e-3)
    assert hours_above(trip, 40.0) == pytest.approx(32.0, rel=0.1)
