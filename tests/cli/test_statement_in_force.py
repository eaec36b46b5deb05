"""Statements while time goes on: the scripted events 12 and 13 of the trade, and the watch at every look."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from stability.records.engine import open_records
from stability.records.migrate import bring_up_to_date
from tests.fleet import PLACED, STORES, bring, day, set_up, viscosity
from tests.lab import TIN
from tests.statement_desk import Desk, desk_in

AGES = {
    "ROOM-23": (0, 7, 14, 28, 56, 84, 112, 140, 168),
    "OVN-40": (0, 14, 28, 56, 84, 112),
    "OVN-50": (0, 7, 14, 28, 42),
}
STUDY = (
    'code = "S-07"\ntitle = "invented"\ntarget_life_days = 365\nstorage_c = 23.0\n'
    'owner = "lena@lab.example"\n[limits]\nviscosity_ratio = {ratio}\ngel_grade = 2\n'
)


def _tins(lot: str, thinner: str, placed: int) -> list[dict[str, Any]]:
    return [
        {
            "sample": f"{lot}-{thinner[0].upper()}{store[-2:]}{tin}", "study": "S-07", "product": "Heron-A",
            "product_lot": lot, "thinner": thinner, "thinner_lot": "X-11", "level_pct": 20.0, "pack": TIN,
            "store": store, "placed_at": PLACED + timedelta(days=placed),
        }
        for store in STORES
        for tin in (1, 2)
    ]  # fmt: skip


def _readings(tins: Sequence[dict[str, Any]], life: float, placed: int) -> list[dict[str, Any]]:
    return [
        {
            "sample": tin["sample"],
            "taken_at": day(placed + age),
            "viscosity_mpas": viscosity(tin["store"], age, life_days=life, tin=at),
            "gel_grade": 0,
            "entered_at": day(placed + age) + timedelta(hours=1),
        }
        for at, tin in enumerate(tins)
        for age in AGES[tin["store"]]
        if placed + age <= 168
    ]


def _made(folder: Path, ratio: float, lots: Sequence[tuple[str, float, int]], thinner: str) -> None:
    """Make a database of some lots as (name, days to double at 23 °C, day of its thinning)."""
    records, _ = bring_up_to_date(str(folder / "lab.db"))
    set_up(records, text=STUDY.format(ratio=ratio))
    classes = [{"thinner": thinner, "class": "aromatic", "flash_c": 27.0, "sds": "sheet 1"}]
    for lot, life, placed in lots:
        tins = _tins(lot, thinner, placed)
        rows = _readings(tins, life, placed)
        bring(records, day(175), thinners=classes, samples=tins, readings=rows)
    records.close()


@pytest.fixture
def desk_of(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    def make(ratio: float, lots: Sequence[tuple[str, float, int]], thinner: str) -> Desk:
        _made(tmp_path, ratio, lots, thinner)
        return desk_in(tmp_path, monkeypatch, capsys, made=True)

    return make


def _draft(desk: Desk, thinner: str, *more: str) -> tuple[int, str, str]:
    code, out, err = desk.draft(*more, thinner=thinner)
    names = {
        line.split("not answered: ")[1].split(":")[0] for line in err.splitlines() if "not answered" in line
    }
    if not names:
        return code, out, err
    answers = [part for name in sorted(names) for part in ("--answer", f"{name.replace(' ', '_')}=seen")]
    return desk.draft(*more, *answers, thinner=thinner)


def test_six_months_of_xylene_are_refused_on_day_90_granted_on_day_112_and_nine_after_day_168(desk_of):
    desk = desk_of(2.0, [("H-0417", 2600.0, 0), ("H-0431", 2500.0, 0), ("H-0442", 2550.0, 28)], "xylene")
    desk.at(90)
    code, _, err = _draft(desk, "xylene", "--months", "6")
    assert code == 3
    assert "twice the real time covered (84.0 d" in err
    assert "passes with a reading at day 92 or later" in err
    desk.at(112.5)
    code, out, err = _draft(desk, "xylene", "--months", "6", "--number", "ST-01")
    assert code == 0, err
    assert "Evidence rung 2" in out
    assert desk.issue("--to", "Buyer Ltd")[0] == 0
    desk.at(169)
    code, out, err = _draft(desk, "xylene", "--number", "ST-01", "--reason", "more real time")
    assert code == 0, err
    assert "At most 9 months" in out
    assert "Evidence rung 2" in out
    assert desk.issue()[0] == 0
    assert "ST-01 v1      6 months  superseded" in desk.does("statement", "list")
    assert "ST-01 v2      9 months  issued" in desk.does("statement", "list")


def test_a_faster_lot_takes_a_claim_down_and_the_recipients_are_named(desk_of):
    double = 213.0 / 0.585  # +50 % is reached at 213 d
    desk = desk_of(1.5, [("H-0417", double, 0), ("H-0442", double / 1.22, 111)], "naphtha")
    desk.at(112.5)
    code, _, err = _draft(desk, "naphtha", "--months", "6", "--number", "ST-02", "--lot", "H-0417")
    assert code == 0, err
    assert desk.issue("--to", "Buyer Ltd", "--to", "Depot North")[0] == 0
    desk.does("sweep")
    assert "claim_not_carried" not in desk.does("alerts", "--json")
    desk.at(169)
    desk.does("sweep")
    told = desk.does("alerts", "--json")
    assert "claim_not_carried" in told
    says = " ".join(told.split())
    for words in (
        "ST-02 v1 says 6 months and is not carried",
        "worst lot H-0442",
        "Buyer Ltd",
        "Depot North",
    ):
        assert words in says
    desk.does("sweep")
    assert desk.does("alerts", "--json").count('"claim_not_carried"') == told.count('"claim_not_carried"')
    code, _, err = desk.draft("--months", "6", "--number", "ST-02", "--reason", "again", thinner="naphtha")
    assert (code, "3 carried" in err) == (3, True)
    code, _, err = _draft(desk, "naphtha", "--number", "ST-02", "--reason", "lot H-0442 is faster")
    assert code == 0, err
    code, out, err = desk.issue()
    assert code == 0, err
    assert "ST-02 v2: 3 months" in out
    assert "to be told: Buyer Ltd, Depot North" in out
    desk.does("sweep")
    assert "claim_not_carried" not in desk.does("alerts", "--json")


def test_a_claim_on_one_lot_is_not_issued_against_what_another_lot_shows(desk_of):
    double = 213.0 / 0.585
    desk = desk_of(1.5, [("H-0417", double, 0), ("H-0442", double / 1.22, 111)], "naphtha")
    desk.at(169)
    code, _, err = _draft(desk, "naphtha", "--months", "6", "--lot", "H-0417")
    assert code == 0, err
    code, _, err = desk.issue()
    assert code == 3
    assert "lot H-0442 is forecast to reach its limit after 1" in err


def test_doctor_finds_every_changed_column_of_a_signed_row(desk_of):
    desk = desk_of(2.0, [("H-0417", 2600.0, 0)], "xylene")
    desk.at(112.5)
    assert _draft(desk, "xylene", "--months", "6", "--number", "ST-01")[0] == 0
    assert desk.issue()[0] == 0
    assert "statements: all 1 match their signatures" in desk.does("doctor")
    file = desk.folder / "lab.db"
    whole = file.read_bytes()
    changes = (
        ("number", "'ST-09'", "something else than its signed data"),
        ("months", "9", "something else than its signed data"),
        ("author", "'Nobody'", "something else than its signed data"),
        ("blend_key", "'[]'", "something else than its signed data"),
        ("made_at", "'2025-06-25 09:00:00.000000'", "another time"),
        ("digest", "replace(digest, substr(digest, 1, 1), 'x')", "do not match their digest"),
        ("payload", "replace(payload, '\"months\":6', '\"months\":9')", "do not match their digest"),
        ("signature", "substr(signature, 1, 140) || 'x' || substr(signature, 142)", "signature"),
        ("signature", "'x' || substr(signature, 2)", "signature"),
        ("signature", "NULL", "not signed"),
    )
    for column, value, said in changes:
        file.write_bytes(whole)
        connection = sqlite3.connect(file)
        connection.execute("DROP TRIGGER keep_statement_update")
        connection.execute(f"UPDATE statement SET {column} = {value}")  # noqa: S608 - written above
        connection.commit()
        connection.close()
        code, out, _ = desk.types("doctor")
        assert code == 3, column
        assert any(line.startswith("failed") and said in line for line in out.splitlines()), (column, out)
    file.write_bytes(whole)
    open_records(str(file)).close()
