"""Drying tests corrected, samples moved and ended."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from stability.chemistry.cautions import STANDING_LINE
from stability.errors import InputError
from stability.records.history import samples
from stability.services.bring import bring_rows
from stability.services.correct import Corrected
from stability.services.correct_cure import correct_cure
from stability.services.end import Ended, end_sample
from stability.services.entry import ReadingEntry
from stability.services.move import Moved, move_sample
from stability.services.record import log_reading
from tests.builders import BERLIN, NOW, PLACED, Bench, bench

DAY = timedelta(days=1)


@pytest.fixture
def at_bench(tmp_path: Path) -> Iterator[Bench]:
    made = bench(tmp_path)
    yield made
    made.records.close()


class TestCures:
    @pytest.fixture
    def dried(self, at_bench: Bench) -> Bench:
        row = {"sample": "0417-K", "taken_at": PLACED + DAY, "film_um": 60.0}
        cures = [
            {**row, "humidity_pct": humidity, "dry_through_h": hours}
            for humidity, hours in ((30, 4.4), (50, 2.7))
        ]
        bring_rows(at_bench.records, {"cures": cures}, person="Mira", now=PLACED + DAY, zone=BERLIN)
        return at_bench

    @staticmethod
    def correct(dried: Bench, *, humidity_pct: float = 50.0, **values: Any) -> Corrected:
        return correct_cure(
            dried.records,
            sample="0417-K",
            taken_at=PLACED + DAY,
            humidity_pct=humidity_pct,
            values=values,
            reason="recorder offset",
            person="Mira",
            now=NOW,
        )

    def test_the_test_at_that_humidity_is_corrected_and_the_original_stays(self, dried: Bench) -> None:
        done = self.correct(dried, dry_through_h=3.1)
        assert done.says == "0417-K, propyl acetate 20 %, 50 °C, drying at 50 %: 3.10 h, was 2.70 h"
        rows = dried.rows("cure")
        assert [r["dry_through_h"] for r in rows] == [4.4, 2.7, 3.1]
        assert (rows[2]["corrects_id"], rows[2]["film_um"]) == (rows[1]["id"], 60)

    def test_it_can_be_set_aside(self, dried: Bench) -> None:
        assert self.correct(dried, dry_through_h=None).now == "set aside"
        assert json.loads(dried.rows("event")[-1]["details"])["was"] == {"dry_through_h": 2.7}

    @pytest.mark.parametrize(
        ("given", "told"),
        [
            ({"humidity_pct": 75.0, "dry_through_h": 2.0}, "has no drying test at 75 %"),
            ({"dry_through_h": 2.7}, "says already 2.70 h"),
            ({"dry_through_h": -1.0}, "dry-through time -1 is not a positive number"),
            ({"film_um": float("nan")}, "film thickness nan is not a positive number"),
        ],
    )
    def test_what_cannot_be_is_refused(self, dried: Bench, given: dict[str, Any], told: str) -> None:
        with pytest.raises(InputError, match=told):
            self.correct(dried, **given)


def move(at_bench: Bench, to: str, *, at: datetime = NOW - DAY, now: datetime = NOW) -> Moved:
    return move_sample(at_bench.records, "0417-K", to, at=at, person="Mira", now=now, zone=BERLIN)


def stands_in(at_bench: Bench, at: datetime) -> str:
    with at_bench.records.reading() as connection:
        (found,) = samples(connection, as_of=at, sample="0417-K")
    return found.store


class TestMoves:
    def test_the_sample_stands_there_from_then_on(self, at_bench: Bench) -> None:
        done = move(at_bench, "ROOM-23")
        assert done.says == "0417-K moved from OVN-50 to ROOM-23 (23 °C)"
        assert stands_in(at_bench, NOW) == "ROOM-23"
        assert at_bench.rows("event")[-1]["verb"] == "moved"

    def test_the_warmer_of_the_two_stores_asks_for_the_care(self, at_bench: Bench) -> None:
        lines = move(at_bench, "ROOM-23").cautions
        assert lines[0].startswith("50 °C stock, no flash point on record")
        assert lines[-1] == STANDING_LINE

    def test_the_same_move_twice_writes_nothing(self, at_bench: Bench) -> None:
        move(at_bench, "ROOM-23")
        assert move(at_bench, "ROOM-23", now=NOW + DAY).already
        assert len(at_bench.rows("sample_move")) == 1

    def test_moves_follow_each_other(self, at_bench: Bench) -> None:
        move(at_bench, "ROOM-23", at=NOW - 2 * DAY)
        assert move(at_bench, "OVN-40").from_store == "ROOM-23"

    @pytest.mark.parametrize(
        ("to", "at", "told"),
        [
            ("ROOM-32", NOW, "store 'ROOM-32' is not on record"),
            ("OVN-50", NOW, "stands in OVN-50 already"),
            ("ROOM-23", NOW + DAY, "is in the future"),
            ("ROOM-23", PLACED - DAY, "before sample 0417-K was placed"),
        ],
    )
    def test_what_cannot_be_is_refused(self, at_bench: Bench, to: str, at: datetime, told: str) -> None:
        with pytest.raises(InputError, match=told):
            move(at_bench, to, at=at)
        assert at_bench.rows("sample_move") == []

    def test_the_nearest_store_is_offered(self, at_bench: Bench) -> None:
        with pytest.raises(InputError) as caught:
            move(at_bench, "room-32")
        assert "ROOM-23" in (caught.value.hint or "")

    def test_two_places_at_one_instant_are_refused(self, at_bench: Bench) -> None:
        move(at_bench, "ROOM-23")
        with pytest.raises(InputError, match="has another move"):
            move(at_bench, "OVN-40")


def end(at_bench: Bench, reason: str, *, at: datetime = NOW, now: datetime = NOW) -> Ended:
    return end_sample(at_bench.records, "0417-K", at=at, reason=reason, person="Mira", now=now, zone=BERLIN)


class TestEndings:
    def test_it_ends_once_and_the_act_is_noted(self, at_bench: Bench) -> None:
        assert end(at_bench, "used").says == "0417-K ended: used; no check falls due any more"
        assert [(r["reason"], r["at"]) for r in at_bench.rows("ending")] == [("used", NOW)]
        assert at_bench.rows("event")[-1]["verb"] == "ended"

    def test_a_gelled_tin_comes_with_how_it_is_thrown_away(self, at_bench: Bench) -> None:
        lines = end(at_bench, "gelled").cautions
        assert any("flammable solvent waste with methanol" in line for line in lines)
        assert lines[-1] == STANDING_LINE

    def test_a_tin_of_grade_3_that_is_closed_does_too(self, at_bench: Bench) -> None:
        entry = ReadingEntry(sample="0417-K", gel_grade=3, taken_at=NOW - DAY)
        log_reading(at_bench.records, entry, person="Mira", now=NOW, zone=BERLIN)
        assert any("Never water" in line for line in end(at_bench, "closed").cautions)

    def test_the_same_ending_twice_writes_nothing(self, at_bench: Bench) -> None:
        end(at_bench, "gelled")
        assert end(at_bench, "gelled", now=NOW + DAY).already
        assert len(at_bench.rows("ending")) == 1

    def test_another_ending_is_refused_with_the_first(self, at_bench: Bench) -> None:
        end(at_bench, "gelled", at=NOW - DAY)
        with pytest.raises(InputError, match=r"ended already, 2025-03-31 11:00\+02:00 \(gelled\)"):
            end(at_bench, "used")

    @pytest.mark.parametrize(
        ("reason", "at", "told"),
        [
            ("lost", NOW, "'lost' is not one of gelled, dropped, used, closed"),
            ("used", NOW + DAY, "is in the future"),
            ("used", PLACED - DAY, "before sample 0417-K was placed"),
            ("used", NOW - 3 * DAY, "was read after that, 2025-03-30 11:00"),
        ],
    )
    def test_what_cannot_be_is_refused(self, at_bench: Bench, reason: str, at: datetime, told: str) -> None:
        entry = ReadingEntry(sample="0417-K", viscosity_mpas=300, taken_at=NOW - 2 * DAY)
        log_reading(at_bench.records, entry, person="Mira", now=NOW, zone=BERLIN)
        with pytest.raises(InputError, match=told):
            end(at_bench, reason, at=at)
        assert at_bench.rows("ending") == []
