"""The guided round as typed: what it asks, doubts, keeps, and what is on record after each way it can end."""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from stability.cli.edge import run
from stability.services.bring import bring_rows
from tests.builders import BERLIN, Bench
from tests.round_bench import DAY_21, code, round_bench

Round = Callable[..., tuple[int, str, str]]
K, X = code("xylene room"), code("acetate room")
P, J = code("xylene oven"), code("acetate oven")


@pytest.fixture
def at_bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Bench]:
    made = round_bench(tmp_path)
    monkeypatch.setenv("STABILITY_DB", str(made.path))
    monkeypatch.setenv("STABILITY_TIME_ZONE", "Europe/Berlin")
    monkeypatch.chdir(tmp_path)
    yield made
    made.records.close()


@pytest.fixture
def walk(at_bench: Bench, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Round:
    ticks = {"now": DAY_21}

    def clock() -> datetime:
        ticks["now"] += timedelta(seconds=7)
        return ticks["now"]

    monkeypatch.setattr("stability.cli.round.now_utc", clock)

    def call(*lines: str, arguments: tuple[str, ...] = ()) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
        exit_code = run(["log", "--round", "--person", "Mira", *arguments])
        told = capsys.readouterr()
        everything = told.out + told.err
        assert max(map(len, everything.splitlines())) < 80
        assert "safe" not in everything.casefold()
        return exit_code, told.out, told.err

    return call


def stored(at_bench: Bench) -> list[dict[str, Any]]:
    return [row for row in at_bench.rows("reading") if row["entered_at"] > DAY_21 - timedelta(hours=1)]


def events(at_bench: Bench, verb: str) -> list[dict[str, Any]]:
    return [
        {**json.loads(e["details"]), "subject": e["subject"], "person": e["person"]}
        for e in at_bench.rows("event")
        if e["verb"] == verb
    ]


def test_a_code_and_short_answers_make_a_reading_and_an_echo_in_words(at_bench: Bench, walk: Round) -> None:
    exit_code, out, err = walk(f"{K.lower()} 312 52 23.1 g0")
    assert exit_code == 0
    assert out.startswith(f"{K}, xylene 20 %, 23 °C, day 21: 312 mPa·s, up 1 % (expected ")
    (row,) = stored(at_bench)
    told = (row["viscosity_mpas"], row["torque_pct"], row["temperature_c"], row["gel_grade"])
    assert told == (312, 52, 23.1, 0)
    assert (row["instrument"], row["spindle"], row["speed_rpm"]) == ("VIS-1", "S2", 100)
    assert (row["entered_by"], row["corrects_id"]) == ("Mira", None)
    assert "Stopped: 1 tin measured; left: 3 tins to measure, 2 tins to take out." in " ".join(err.split())


def test_it_walks_in_order_and_asks_only_what_the_check_needs(walk: Round) -> None:
    _, _, err = walk(K, "312", "23.1", "0", X, "334", "23", "0", P, "ok", "322", "23", "0", "226.2")
    asked = [line for line in err.splitlines() if "> " in line and not line.startswith("tin")]
    kinds = [line.split(">")[0].split(",")[0] for line in asked]
    room = ["viscosity", "in the liquid", "gel grade"]
    oven = ["type ok when you have read this", *room, "mass before opening / after closing"]
    assert kinds == [*room, *room, *oven]
    turns = [line.split()[2] for line in err.splitlines() if line.startswith("[")]
    assert turns == [K, X, P, J]


def test_the_next_round_goes_on_with_what_is_left(walk: Round) -> None:
    walk(f"{K} 312 23.1C g0")
    _, _, err = walk()
    assert f"[5 left] {X}" in err
    assert K not in err


def test_a_store_alone_can_be_walked(walk: Round) -> None:
    _, _, err = walk(arguments=("--store", "ovn-50"))
    assert "2 tins to measure, about" in err.replace("\n ", "")


class TestCodes:
    def test_without_its_check_character_a_code_is_not_taken(self, walk: Round) -> None:
        _, _, err = walk(K[:4])
        assert f"not taken: {K[:4]!r} lacks its check character" in err
        assert f"hint: did you mean {K}?" in err

    def test_two_exchanged_characters_do_not_pass(self, at_bench: Bench, walk: Round) -> None:
        _, _, err = walk(f"{K[1]}{K[0]}{K[2:]} 312 23C g0")
        assert "the check character does not fit" in err
        assert not stored(at_bench)

    def test_a_tin_that_is_not_on_the_list_is_an_extra_reading(self, at_bench: Bench, walk: Round) -> None:
        walk(f"{K} 312 23.1C g0")
        _, _, err = walk(f"{K} 313 23.1C g0")
        assert "not on the list of today: an extra reading" in err
        assert "it was read at 09:40 already" in err
        assert len(stored(at_bench)) == 2


class TestShortAnswers:
    def test_two_fillings_make_one_reading_with_both_kept(self, at_bench: Bench, walk: Round) -> None:
        walk(f"{K} 310 314 23.1C g0")
        (row,) = stored(at_bench)
        assert row["viscosity_mpas"] == 312
        assert row["note"] == "determinations 310, 314 mPa·s"

    def test_a_third_is_asked_where_they_differ_and_the_median_kept(
        self, at_bench: Bench, walk: Round
    ) -> None:
        _, _, err = walk(f"{K} 310/335 23.1C g0", "5%", "312")
        assert "310 and 335 are 8 % apart: a third, fresh filling> " in err
        (row,) = stored(at_bench)
        assert (row["viscosity_mpas"], row["note"]) == (312, "determinations 310, 335, 312 mPa·s")

    def test_two_speeds_show_their_ratio(self, at_bench: Bench, walk: Round) -> None:
        walk(f"{K} 351@10 312@100 23.1C g0")
        (row,) = stored(at_bench)
        assert (row["viscosity_mpas"], row["speed_rpm"]) == (312, 100)
        assert row["note"].endswith("two-speed ratio 1.12, an early sign of gel")

    def test_a_torque_alone_is_computed_by_the_set_up_of_the_last_time(
        self, at_bench: Bench, walk: Round
    ) -> None:
        walk(f"{K} 52% 23.1C g0")
        (row,) = stored(at_bench)
        assert row["viscosity_mpas"] == pytest.approx(312)
        assert row["rule"].startswith("torque")

    def test_a_cup_can_be_set_and_then_seconds_are_asked(self, at_bench: Bench, walk: Round) -> None:
        """Ford 4: 3.85 · (87 - 4.49) = 317.7 mm²/s (ASTM D1200)."""
        _, _, err = walk("set cup Ford 4 0.981", K, "87", "23.0", "0")
        assert "from now on: cup Ford 4, density 0.981 g/mL" in err
        (row,) = stored(at_bench)
        assert (row["cup"], row["efflux_s"]) == ("Ford 4", 87)
        assert row["viscosity_mpas"] == pytest.approx(317.7 * 0.981, rel=1e-3)

    def test_mass_in_and_out_gives_the_loss_to_the_next_pull(self, at_bench: Bench, walk: Round) -> None:
        walk(P, "ok", "322 23C g0 m226.2/212.4")
        (row,) = stored(at_bench)
        assert (row["mass_g"], row["note"]) == (226.2, "mass after 212.40 g")
        _, out, _ = walk(P, "ok", "322 23C g0 m212.3")
        assert "0.10 g lighter than when it was put away (0.0 %)" in " ".join(out.split())

    def test_thick_wants_a_grade_that_says_so(self, at_bench: Bench, walk: Round) -> None:
        _, _, err = walk(K, "thick", "0", "3", "ok")
        assert "4 no flow, deforms; 5 hard, rings" in " ".join(err.split())
        (row,) = stored(at_bench)
        assert (row["viscosity_mpas"], row["gel_grade"]) == (None, 3)

    def test_the_whole_card_is_one_key_away(self, walk: Round) -> None:
        _, _, err = walk(K, "312 23C", "?")
        flat = " ".join(err.split())
        assert "Vial of 20 mL upside down at 23 °C for 30 s" in flat
        assert "grade 2: a tongue stays behind, under 10 %; rod: lumps or strings; drawdown: more" in flat


class TestDoubts:
    def test_the_value_read_again_is_a_repeat_and_the_attempt_stays(
        self, at_bench: Bench, walk: Round
    ) -> None:
        _, out, err = walk(f"{K} 3120 23.1C g0", "312")
        assert "doubt: ten times too much? 312 mPa·s would fit" in err
        assert "312 mPa·s" in out
        assert [row["viscosity_mpas"] for row in stored(at_bench)] == [312]
        (attempt,) = events(at_bench, "refused attempt")
        assert attempt["typed"]["viscosity_mpas"] == 3120
        assert attempt["because"].startswith("repeat: ten times too much?")

    def test_repeat_asks_for_all_that_was_measured_again(self, at_bench: Bench, walk: Round) -> None:
        walk(f"{K} 3120 23.1C g0", "r", "312 52", "23.2")
        (row,) = stored(at_bench)
        assert (row["viscosity_mpas"], row["temperature_c"], row["gel_grade"]) == (312, 23.2, 0)

    def test_kept_with_a_reason(self, at_bench: Bench, walk: Round) -> None:
        walk(f"{K} 3120 23.1C g0", "k", "", "k second spindle too")
        (row,) = stored(at_bench)
        assert (row["viscosity_mpas"], row["note"]) == (3120, "kept: second spindle too")

    def test_taken_back_the_tin_stays_on_the_list(self, at_bench: Bench, walk: Round) -> None:
        _, _, err = walk(f"{K} 3120 23.1C g0", "u")
        assert "not stored; the attempt is in the event log" in err
        assert err.count("[6 left]") == 2
        assert not stored(at_bench)

    def test_a_warm_tin_is_doubted_by_its_temperature(self, walk: Round) -> None:
        _, _, err = walk(f"{K} 270 26.8C g0", "u")
        assert "doubt: the liquid is at 26.8 °C: repeat at 23 °C" in err

    def test_the_next_tin_of_the_shelf_is_named_when_its_value_is_typed(self, walk: Round) -> None:
        _, _, err = walk(P, "ok", "481 23C g0 m226.2", "u")
        assert f"doubt: it would fit {J}, expected" in err

    def test_a_lid_that_leaked_comes_first(self, walk: Round) -> None:
        _, _, err = walk(P, "ok", "439 23C g0 m222.0", "u")
        first = err[err.index("doubt:") :]
        assert first.startswith(
            "doubt: 4.25 g lighter than at its last weighing (1.9 %): lid not pressed home?"
        )

    def test_a_contradiction_is_refused_and_the_attempt_kept(self, at_bench: Bench, walk: Round) -> None:
        _, _, err = walk(f"{K} 312 90% 23C g0", "312 52", "0")
        assert "not taken: viscosity 312 mPa·s, but 90 % torque gives 540 mPa·s" in err
        assert len(events(at_bench, "refused attempt")) == 1
        assert [row["torque_pct"] for row in stored(at_bench)] == [52]


class TestUndo:
    def test_the_last_reading_is_taken_back_by_a_row_and_asked_again(
        self, at_bench: Bench, walk: Round
    ) -> None:
        _, _, err = walk(f"{K} 312 23.1C g0", "undo wrong tin", f"{K} 311 23.1C g0")
        assert f"taken back: {K}, 312 mPa·s, grade 0; it stays on record" in err.replace("\n  ", " ")
        rows = stored(at_bench)
        assert [row["viscosity_mpas"] for row in rows] == [312, None, 311]
        assert (rows[1]["corrects_id"], rows[1]["reason"]) == (
            rows[0]["id"],
            "taken back at the bench: wrong tin",
        )

    def test_nothing_to_undo_is_said(self, walk: Round) -> None:
        _, _, err = walk("undo")
        assert "nothing was stored in this round" in err


class TestEndings:
    def test_a_stop_at_the_doubt_keeps_the_attempt_and_what_was_accepted(
        self, at_bench: Bench, walk: Round
    ) -> None:
        exit_code, _, _ = walk(f"{K} 312 23.1C g0", f"{X} 3340 23C g0")
        assert exit_code == 0
        assert [row["viscosity_mpas"] for row in stored(at_bench)] == [312]
        (attempt,) = events(at_bench, "refused attempt")
        assert attempt["because"].startswith("stopped at the question: ten times")

    def test_quit_is_heard_everywhere(self, at_bench: Bench, walk: Round) -> None:
        for lines in (["quit"], [K, "quit"], [f"{K} 3120 23C g0", "quit"], [f"{K} 312 23C", "q"]):
            exit_code, _, err = walk(*lines)
            assert exit_code == 0
            assert "goes on there" in err
        assert not stored(at_bench)

    def test_back_leaves_a_tin_without_a_trace(self, at_bench: Bench, walk: Round) -> None:
        _, _, err = walk(K, "312", "back")
        assert "nothing was stored of this tin" in err
        assert not stored(at_bench)

    def test_a_round_with_nothing_to_do_says_so(self, walk: Round, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr("stability.cli.round.now_utc", lambda: DAY_21 + timedelta(days=80))
        _, _, err = walk()
        assert "nothing to measure and nothing to take out today" in err

    def test_a_held_instrument_stores_nothing_and_says_why(self, at_bench: Bench, walk: Round) -> None:
        at = DAY_21 - timedelta(minutes=20)
        row = {
            "instrument": "VIS-1",
            "at": at,
            "certified_mpas": 350.0,
            "read_mpas": 370.0,
            "operator": "Mira",
        }
        bring_rows(at_bench.records, {"oil_checks": [row]}, person="Mira", now=at, zone=BERLIN)
        _, _, err = walk(f"{K} 312 52 23.1C g0")
        assert "not taken: the session with VIS-1 is held" in err
        assert not stored(at_bench)


class TestCautions:
    def test_a_pull_above_the_flash_point_wants_an_answer_once_a_round(
        self, at_bench: Bench, walk: Round
    ) -> None:
        d, n = code("xylene tomorrow"), code("tomorrow")
        _, out, err = walk(d, "no", "back", d, "ok", n)
        assert "caution: 40 °C stock above the thinner's flash point (27 °C). Cool closed 24 h" in err
        assert f"{d} is out of OVN-40" in out
        assert f"{n} is out of OVN-40" in out
        (seen,) = events(at_bench, "acknowledged a caution")
        assert (seen["subject"], seen["person"], seen["act"]) == (d, "Mira", "take_out")
        assert [e["subject"] for e in events(at_bench, "took out a tin")] == [d, n]
        _, _, err = walk()
        assert d not in err

    def test_grade_three_stores_first_and_then_wants_the_disposal_card_seen(
        self, at_bench: Bench, walk: Round
    ) -> None:
        _, out, err = walk(f"{K} g4", "ok")
        assert "grade 4: no flow, deforms" in out
        assert "caution: Gelled but not dried is still flammable solvent waste" in err
        assert "SDS, local code and licensed practice come first." in err
        (seen,) = events(at_bench, "acknowledged a caution")
        assert (seen["act"], seen["subject"]) == ("dispose", K)

    def test_without_an_answer_the_reading_stands(self, at_bench: Bench, walk: Round) -> None:
        walk(f"{K} g4")
        assert [row["gel_grade"] for row in stored(at_bench)] == [4]
        assert not events(at_bench, "acknowledged a caution")

    def test_a_bulged_tin_stays_closed_unless_it_is_said_to_be_opened(
        self, at_bench: Bench, walk: Round
    ) -> None:
        _, out, err = walk(K, "bulged", "")
        assert "caution: Bulged or singing tin: do not open or pierce it." in err
        assert "stays closed; bulged, noted" in out
        assert [e["subject"] for e in events(at_bench, "left a bulged tin closed")] == [K]
        assert not stored(at_bench)
        walk(K, "bulged", "opened", "312 23C g0")
        assert len(events(at_bench, "opens a bulged tin")) == 1
        assert len(stored(at_bench)) == 1


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["log"], "Missing argument 'SAMPLE'"),
        (["log", "--store", "OVN-50", K, "3"], "--store goes with --round"),
        (["log", "--round", "--json"], "--round asks for all itself"),
        (["log", "--round", K], "--round asks for all itself"),
    ],
)
def test_what_does_not_go_together_is_said(
    at_bench: Bench, capsys: pytest.CaptureFixture[str], arguments: list[str], told: str
) -> None:
    assert run([*arguments, "--person", "Mira"]) == 2
    assert told in capsys.readouterr().err
