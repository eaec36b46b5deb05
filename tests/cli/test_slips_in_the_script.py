"""Slips of the invented study, through the commands: a bad lid, rows exchanged, a reading that came late."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
import time_machine

from stability.cli.edge import run
from stability.demo import acts
from stability.demo.schedule import taken_at, tins
from stability.demo.stage import INSTRUMENTS, LOTS, PEOPLE, STORES, THINNERS, ZONE, instant
from stability.demo.stream import stream, tin_at
from stability.records.engine import Records, open_records
from stability.records.tables import METADATA
from stability.services.bring import bring_rows
from stability.services.studies import file_study
from tests.conftest import fresh_sqlite

Shell = Callable[..., tuple[int, str, str]]


def _row(row: Any, *left_out: str) -> dict[str, Any]:
    said = {("class" if k == "thinner_class" else k): v for k, v in asdict(row).items() if k not in left_out}
    return {k: v for k, v in said.items() if v is not None}


def _read_until(folder: Path, arms: tuple[str, ...], at: datetime) -> Records:
    """Return the invented study with some blends only, as known at an instant."""
    records = fresh_sqlite(folder, "lab.db")
    own = {tin.code for tin in tins() if tin.arm.key in arms}
    tables: dict[str, list[dict[str, Any]]] = {
        "people": [_row(row) for row in PEOPLE],
        "stores": [_row(row) for row in STORES],
        "thinners": [_row(row) for row in THINNERS],
        "lots": [_row(row) for row in LOTS],
        "instruments": [_row(row) for row in INSTRUMENTS],
        "samples": [],
        "readings": [],
        "outings": [],
        "temperatures": [],
    }
    for act in stream():
        if act.entered_at > at:
            break
        if isinstance(act, acts.StudyFiled):
            file_study(records, act.text, person=act.person, now=act.entered_at, zone=ZONE)
        elif isinstance(act, acts.SamplesPlaced):
            tables["samples"] += [_row(row) for row in act.rows if row.sample in own]
        elif isinstance(act, acts.OutingsLogged):
            tables["outings"] += [_row(row) for row in act.rows if row.sample in own]
        elif isinstance(act, acts.TemperaturesLogged):
            tables["temperatures"] += [{"store": act.store, **_row(row)} for row in act.rows]
        elif isinstance(act, acts.ReadingTaken) and act.sample in own:
            tables["readings"].append(_row(act))
    bring_rows(records, tables, person="Mira O.", now=at, zone=ZONE)
    return records


@pytest.fixture
def shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Shell:
    """The commands, typed at an instant of the script."""
    monkeypatch.setenv("STABILITY_DB", str(tmp_path / "lab.db"))
    monkeypatch.setenv("STABILITY_TIME_ZONE", "Europe/Berlin")
    monkeypatch.chdir(tmp_path)

    def call(at: datetime, *arguments: str, person: str | None = "Mira O.") -> tuple[int, str, str]:
        with time_machine.travel(at, tick=True):
            code = run([*arguments, *(["--person", person] if person else [])])
        return code, *capsys.readouterr()

    return call


def rows(folder: Path, table: str) -> list[dict[str, Any]]:
    """Return all rows of a table, oldest first."""
    records = open_records(str(folder / "lab.db"))
    with records.reading() as connection:
        columns = METADATA.tables[table]
        found = [dict(r) for r in connection.execute(sa.select(columns).order_by(columns.c.id)).mappings()]
    records.close()
    return found


def _typed(reading: acts.ReadingTaken, viscosity: float | None = None) -> list[str]:
    value = reading.viscosity_mpas if viscosity is None else viscosity
    at = reading.taken_at.astimezone(ZONE).isoformat()
    words = ["log", reading.sample, f"{value:g}", "--temp", f"{reading.temperature_c:g}", "--at", at]
    return [*words, "--grade", str(reading.gel_grade), "--mass", f"{reading.mass_g:g}"]


def _reading(key: str, store: str, replicate: int, day: int) -> acts.ReadingTaken:
    tin = tin_at(key, store, replicate)
    at = taken_at(tin, day)
    return next(
        a for a in stream() if isinstance(a, acts.ReadingTaken) and (a.sample, a.taken_at) == (tin.code, at)
    )


def _forecast(shell: Shell, at: datetime, thinner: str, additive: bool = False) -> dict[str, Any]:
    code, out, _ = shell(at, "forecast", "--json", "--as-of", at.isoformat(), person=None)
    assert code == 0
    return next(
        row
        for row in json.loads(out)["forecasts"]
        if row["thinner"] == thinner and bool(row["additive"]) == additive and "HDPE" not in row["pack"]
    )


class TestTwoRowsExchanged:
    """E8: on day 56 the 23 °C readings of two blends' first tins stand in each other's row."""

    WRONG = ("A5", "ROOM-23", 1, 56), ("A8", "ROOM-23", 1, 56)

    @pytest.fixture
    def round_read(self, tmp_path: Path, shell: Shell) -> tuple[str, str]:
        _read_until(tmp_path, ("A5", "A8"), instant(55)).close()
        assert shell(instant(55, 20), "sweep", person=None)[0] == 0
        told = []
        for key, replicate in (("A5", 1), ("A5", 2), ("A8", 1), ("A8", 2)):
            reading = _reading(key, "ROOM-23", replicate, 56)
            code, _, err = shell(instant(56, 11), *_typed(reading))
            assert code == 0
            told.append(err)
        assert "outside what its forecast lets expect" in told[0]
        assert "swapped?" in told[2]
        assert "doubt" not in told[1] + told[3]
        return tin_at("A5", "ROOM-23", 1).code, tin_at("A8", "ROOM-23", 1).code

    def test_the_exchange_is_proposed_and_made_by_two_linked_corrections(
        self, tmp_path: Path, shell: Shell, round_read: tuple[str, str]
    ) -> None:
        acetate, dried = round_read
        before = rows(tmp_path, "reading")
        code, out, _ = shell(instant(57, 9), "correct", "--find-swaps", "--json", person=None)
        assert code == 0
        (swap,) = json.loads(out)["swaps"]
        assert (swap["what"], swap["likelihood"]) == ("rows", "more than a million times likelier")
        by_sample = {reading["sample"]: reading for reading in swap["readings"]}
        assert set(by_sample) == {acetate, dried}
        assert by_sample[acetate]["viscosity_mpas"] == pytest.approx(246, rel=0.01)
        assert by_sample[acetate]["expected_low_mpas"] < 357 < by_sample[acetate]["expected_high_mpas"]
        assert by_sample[dried]["viscosity_mpas"] == pytest.approx(357, rel=0.01)
        assert by_sample[dried]["expected_low_mpas"] < 246 < by_sample[dried]["expected_high_mpas"]
        assert rows(tmp_path, "reading") == before

        which = ["2025-04-29" if part == "day" else part for part in (acetate, "day", dried, "day")]
        reason = "refractive index of both tins confirms"
        code, out, _ = shell(instant(57, 10, 30), "correct", "--swap", *which, "--because", reason)
        assert code == 0
        assert [line.split(": ")[1].split(" (")[0] for line in out.splitlines()] == [
            "357 mPa·s, grade 0, was 246 mPa·s, grade 0",
            "246 mPa·s, grade 0, was 357 mPa·s, grade 0",
        ]
        after = rows(tmp_path, "reading")
        assert after[: len(before)] == before  # the originals stay as they were
        first, second = after[len(before) :]
        assert (first["viscosity_mpas"], second["viscosity_mpas"]) == (357.0, 246.0)
        assert {row["entered_by"] for row in (first, second)} == {"Mira O."}
        assert first["entered_at"] == second["entered_at"]
        assert first["entered_at"].astimezone(ZONE).date() == instant(57).astimezone(ZONE).date()
        # neither the balance nor the hand that weighed was in the wrong row
        originals = {row["id"]: row for row in before}
        assert all(row["mass_g"] == originals[row["corrects_id"]]["mass_g"] for row in (first, second))

        events = rows(tmp_path, "event")[-3:]
        assert [event["verb"] for event in events] == ["corrected a reading"] * 2 + ["exchanged two readings"]
        details = [json.loads(event["details"]) for event in events]
        assert len({told["exchange"] for told in details}) == 1
        assert details[2]["corrections"] == [first["id"], second["id"]]
        assert json.loads(shell(instant(58), "correct", "--find-swaps", "--json")[1])["swaps"] == []

    def test_forecasts_are_drawn_through_the_corrected_values(
        self, shell: Shell, round_read: tuple[str, str]
    ) -> None:
        acetate, dried = round_read
        thinner = "1-methoxy-2-propyl acetate"
        wrong = _forecast(shell, instant(57, 9), thinner)
        swap = ["correct", "--swap", acetate, "last", dried, "last", "--because", "rows exchanged"]
        assert shell(instant(57, 10), *swap)[0] == 0
        right = _forecast(shell, instant(57, 11), thinner)
        assert right["readings"] == wrong["readings"]
        assert right["noise_pct"] < 0.6 * wrong["noise_pct"]
        # what was known on the morning of day 57 is still what it was
        assert _forecast(shell, instant(57, 9), thinner)["life_days"] == wrong["life_days"]

    def test_the_tins_own_board_shows_both_values_and_why(
        self, shell: Shell, round_read: tuple[str, str]
    ) -> None:
        acetate, dried = round_read
        swap = ["correct", "--swap", acetate, "last", dried, "last", "--because", "rows exchanged"]
        assert shell(instant(57, 10), *swap)[0] == 0
        code, out, _ = shell(instant(57, 11), "board", "--sample", acetate, person=None)
        assert code == 0
        line = next(line for line in out.splitlines() if "29 Apr 2025" in line and "357" in line)
        assert "246" in line
        assert f"corrected: exchanged with {dried}" in out


class TestALidNotPressedHome:
    """E7: on day 42 a tin of the sentinel has lost 2.3 % of its mass and reads 439 beside its twin's 333."""

    def test_it_is_doubted_set_aside_with_its_cause_and_the_twin_carries_on(
        self, tmp_path: Path, shell: Shell
    ) -> None:
        _read_until(tmp_path, ("A2",), instant(41)).close()
        assert shell(instant(41, 20), "sweep", person=None)[0] == 0
        twin, leaking = (_reading("A2", "OVN-50", replicate, 42) for replicate in (1, 2))
        assert shell(instant(42, 12), *_typed(twin))[0] == 0
        code, out, err = shell(instant(42, 12, 4), *_typed(leaking))
        assert code == 0
        assert out.startswith(f"{leaking.sample}, xylene 20 %, 50 °C, day 42: 439 mPa·s")
        assert "doubt: 439 mPa·s is outside what its forecast lets expect" in err
        # one tin that is off is no exchange: nothing else of the round lies where it should not
        assert json.loads(shell(instant(42, 13), "correct", "--find-swaps", "--json")[1])["swaps"] == []
        split = _forecast(shell, instant(42, 14), "xylene")

        reason = "lid: 2.3 % of mass lost, solvent loss confirmed by density; twin carries"
        done = shell(instant(42, 16), "correct", leaking.sample, "last", "--set-aside", "--because", reason)
        assert done[0] == 0
        assert "set aside, was 439 mPa·s" in done[1]
        kept = [row for row in rows(tmp_path, "reading") if row["viscosity_mpas"] == 439.0]
        assert len(kept) == 1
        carried = _forecast(shell, instant(42, 17), "xylene")
        assert carried["readings"] == split["readings"] - 1
        assert carried["noise_pct"] < split["noise_pct"]
        code, out, _ = shell(instant(42, 17), "board", "--sample", leaking.sample, person=None)
        assert "set aside: lid: 2.3 % of mass lost" in out


class TestAReadingEnteredLate:
    """E17: the stand-in enters a reading of day 140 on day 150."""

    def test_it_is_accepted_with_both_times_shown(self, tmp_path: Path, shell: Shell) -> None:
        _read_until(tmp_path, ("A11",), instant(139)).close()
        reading = _reading("A11", "ROOM-23", 1, 140)
        typed = _typed(reading)
        code, out, _ = shell(instant(150, 17), *typed, person="Jonas K.")
        assert code == 0
        assert "day 140: " in out
        assert out.rstrip().endswith("entered 10 d after it was taken")
        stored = rows(tmp_path, "reading")[-1]
        assert stored["taken_at"] == reading.taken_at
        assert timedelta(days=10) < stored["entered_at"] - stored["taken_at"] < timedelta(days=10, hours=8)
        assert stored["entered_by"] == "Jonas K."
        code, out, _ = shell(instant(151), "board", "--sample", reading.sample, person=None)
        assert "late entry; entered 1 Aug 2025" in out or "late entry: entered 1 Aug 2025" in out
        # before it was entered nobody knew of it
        early = shell(
            instant(151),
            "board",
            "--sample",
            reading.sample,
            "--as-of",
            instant(149).isoformat(),
            person=None,
        )
        assert "late entry" not in early[1]
