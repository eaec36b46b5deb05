"""A reading at the bench: what is stored, what is echoed, what is doubted."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from stability.bench.plausible import DoubtKind
from stability.chemistry.cautions import STANDING_LINE
from stability.services.entry import ReadingEntry
from stability.services.record import Answer, Logged, OnDoubt, Reply, keep, log_reading, refuse
from tests.builders import BERLIN, NOW, PLACED, Bench, bench, expect

DAY = timedelta(days=1)


@pytest.fixture
def at_bench(tmp_path: Path) -> Iterator[Bench]:
    made = bench(tmp_path)
    yield made
    made.records.close()


def log(
    at_bench: Bench,
    sample: str = "0417-K",
    viscosity: float | str | None = None,
    *,
    at: datetime | None = None,
    now: datetime = NOW,
    on_doubt: OnDoubt | None = None,
    **given: object,
) -> Logged:
    entry = ReadingEntry(sample=sample, viscosity_mpas=viscosity, taken_at=at, **given)  # type: ignore[arg-type]
    return log_reading(at_bench.records, entry, person="Mira", now=now, zone=BERLIN, on_doubt=on_doubt)


def test_the_echo_says_what_the_bench_wants_to_hear(at_bench: Bench) -> None:
    log(at_bench, viscosity=278.3, at=PLACED, now=PLACED)
    expect(at_bench.records, "0417-K", [(0, math.log(278), 0.02), (42, 2 * 5.991 - math.log(278), 0.0136)])
    done = log(
        at_bench, viscosity=398, at=PLACED + 21 * DAY, now=PLACED + 21 * DAY, temperature_c=23.1, gel_grade=0
    )
    assert done.echo == "0417-K, propyl acetate 20 %, 50 °C, day 21: 398 mPa·s, up 43 % (expected 380–420)"
    assert (done.stored, done.doubts) == (True, ())


def test_a_reading_is_kept_with_both_its_times_and_who_entered_it(at_bench: Bench) -> None:
    done = log(at_bench, viscosity="398", at=NOW - DAY, mass_g=251.2, operator="Jonas", note="lid tight")
    (row,) = at_bench.rows("reading")
    told = {
        "id": done.reading_id,
        "taken_at": NOW - DAY,
        "entered_at": NOW,
        "entered_by": "Mira",
        "operator": "Jonas",
        "mass_g": 251.2,
        "note": "lid tight",
    }
    assert {name: row[name] for name in told} == told


def test_the_act_is_noted_in_the_same_breath(at_bench: Bench) -> None:
    before = len(at_bench.rows("event"))
    log(at_bench, viscosity=398)
    event = at_bench.rows("event")[before:]
    assert [(e["verb"], e["subject"], e["person"], e["at"]) for e in event] == [
        ("logged a reading", "0417-K", "Mira", NOW)
    ]
    assert json.loads(event[0]["details"])["viscosity_mpas"] == 398


def test_without_a_time_the_reading_was_taken_now_to_the_second(at_bench: Bench) -> None:
    done = log(at_bench, viscosity=398, now=NOW.replace(microsecond=123_456))
    assert done.taken_at == NOW


def test_over_range_is_a_lower_bound_and_kept_as_typed(at_bench: Bench) -> None:
    done = log(at_bench, viscosity=">50000", gel_grade=3)
    (row,) = at_bench.rows("reading")
    assert (row["viscosity_mpas"], row["over_range"], row["viscosity_text"]) == (50_000, 1, ">50000")
    assert "above 50000 mPa·s, grade 3: most stays, sags" in done.echo


def test_torque_becomes_a_viscosity_by_the_range_on_record(at_bench: Bench) -> None:
    """Factor 6 at 100 rpm is 600 mPa·s full scale (the manuals' factor × 10 000 ÷ speed)."""
    done = log(at_bench, spindle="S62", speed_rpm=100, torque_pct=45, instrument="VIS-1")
    (row,) = at_bench.rows("reading")
    assert done.viscosity_mpas == row["viscosity_mpas"] == pytest.approx(270.0)
    assert (row["rule"], row["torque_pct"], row["speed_rpm"]) == ("torque 1", 45, 100)


def test_a_low_torque_is_stored_with_advice_for_the_next_time(at_bench: Bench) -> None:
    done = log(at_bench, spindle="S62", speed_rpm=100, torque_pct=12, instrument="VIS-1")
    assert done.stored
    assert done.advice is not None
    assert "larger spindle" in done.advice


def test_a_cup_becomes_a_viscosity_by_its_equation_and_the_density(at_bench: Bench) -> None:
    """ISO 2431, 4 mm cup, 60 s: 1.37·60 - 200/60 = 78.867 mm²/s."""
    log(at_bench, cup="ISO 4", efflux_s=60, density_g_ml=0.95)
    (row,) = at_bench.rows("reading")
    assert row["viscosity_mpas"] == pytest.approx(78.867 * 0.95, rel=1e-4)
    assert row["rule"] == "cup 1"


def test_a_grade_alone_is_a_reading(at_bench: Bench) -> None:
    done = log(at_bench, gel_grade=4)
    assert done.echo.endswith("grade 4: no flow, deforms; rod: cuts, does not heal")
    assert at_bench.rows("reading")[0]["viscosity_mpas"] is None


def test_within_one_degree_the_value_at_23_is_said_and_the_read_one_kept(at_bench: Bench) -> None:
    done = log(at_bench, viscosity=400, temperature_c=23.8)
    assert "at 23 °C about 414 mPa·s by 4.4 %/°C (default of its class, not measured)" in done.echo
    assert at_bench.rows("reading")[0]["viscosity_mpas"] == 400


def test_a_late_entry_is_marked(at_bench: Bench) -> None:
    done = log(at_bench, viscosity=398, at=NOW - 10 * DAY)
    assert done.echo.endswith("; entered 10 d after it was taken")


def test_the_same_reading_twice_writes_nothing_and_says_so(at_bench: Bench) -> None:
    first = log(at_bench, viscosity=398, at=NOW)
    events = len(at_bench.rows("event"))
    again = log(at_bench, viscosity="398.0", at=NOW, now=NOW + DAY)
    assert (again.already, again.stored, again.reading_id) == (True, False, first.reading_id)
    assert len(at_bench.rows("reading")) == 1
    assert len(at_bench.rows("event")) == events


class TestDoubts:
    """E1 of the invented scenario: 4120 entered for 412 is caught while the sample is still in the cup."""

    @pytest.fixture
    def known(self, at_bench: Bench) -> Bench:
        log(at_bench, viscosity=402, at=PLACED, now=PLACED)
        return at_bench

    def test_ten_times_too_much_is_doubted_and_the_likeliest_slip_comes_first(self, known: Bench) -> None:
        done = log(known, viscosity=4120)
        assert done.doubts[0].kind is DoubtKind.TEN_TIMES
        assert "412" in done.doubts[0].sentence

    def test_a_doubt_never_loses_a_reading(self, known: Bench) -> None:
        done = log(known, viscosity=4120)
        assert done.stored
        assert json.loads(known.rows("event")[-1]["details"])["doubts"][0] == "ten_times"

    def test_a_reason_to_keep_it_goes_into_the_note(self, known: Bench) -> None:
        done = log(known, viscosity=4120, note="thick", on_doubt=keep("second cup says the same"))
        assert done.answer is Answer.KEEP
        assert known.rows("reading")[-1]["note"] == "thick; kept: second cup says the same"

    def test_what_is_taken_back_is_not_stored_but_the_attempt_stays(self, known: Bench) -> None:
        done = log(known, viscosity="4120", on_doubt=refuse)
        assert (done.stored, done.reading_id, done.answer) == (False, None, Answer.UNDO)
        assert len(known.rows("reading")) == 1
        event = known.rows("event")[-1]
        details = json.loads(event["details"])
        assert (event["verb"], details["typed"]["viscosity_mpas"]) == ("refused attempt", "4120")
        assert "ten times" in details["because"]

    def test_a_repeated_reading_is_told_as_such(self, known: Bench) -> None:
        asked: list[str] = []

        def repeat(echo: str, _doubts: object) -> Reply:
            asked.append(echo)
            return Reply(Answer.REPEAT)

        assert log(known, viscosity=4120, on_doubt=repeat).answer is Answer.REPEAT
        assert "4120 mPa·s" in asked[0]

    def test_nobody_is_asked_about_what_was_expected(self, known: Bench) -> None:
        def never(_echo: str, _doubts: object) -> Reply:
            raise AssertionError

        assert log(known, viscosity=430, on_doubt=never).stored

    def test_the_band_of_the_forecast_is_narrower_than_a_guess(self, known: Bench) -> None:
        assert log(known, viscosity=480, at=NOW).doubts == ()
        expect(known.records, "0417-K", [(0, math.log(402), 0.01), (60, math.log(430), 0.01)])
        (doubt,) = log(known, viscosity=470, at=NOW + DAY, now=NOW + DAY, temperature_c=23.0).doubts
        assert doubt.kind is DoubtKind.OUTSIDE
        assert "its forecast" in doubt.sentence

    def test_the_row_above_is_offered_when_its_value_was_typed_again(self, known: Bench) -> None:
        log(known, "0417-L", 1250, at=NOW)
        done = log(known, viscosity=1250, at=NOW + timedelta(minutes=5), now=NOW + timedelta(minutes=5))
        assert any(d.kind is DoubtKind.NEIGHBOUR and "0417-L" in d.sentence for d in done.doubts)

    def test_a_warm_liquid_is_doubted_with_the_value_at_23_beside(self, known: Bench) -> None:
        """E2: 344 at 26.8 °C is about 406 at 23 °C by 4.4 %/°C (planning figure of the trade)."""
        done = log(known, viscosity=344, temperature_c=26.8)
        assert done.doubts[0].kind is DoubtKind.WARM
        assert "407" in done.doubts[0].sentence


class TestCautions:
    def test_a_heated_store_without_a_flash_point_counts_as_above_it(self, at_bench: Bench) -> None:
        lines = log(at_bench, viscosity=300).cautions
        assert "no flash point on record: treat it as above its flash point" in lines[0]
        assert lines[-1] == STANDING_LINE

    def test_at_room_temperature_the_standing_line_is_said_all_the_same(self, at_bench: Bench) -> None:
        assert log(at_bench, "0417-L", 300).cautions == (STANDING_LINE,)

    def test_grade_3_or_worse_says_how_it_is_thrown_away(self, at_bench: Bench) -> None:
        assert any("Never water" in line for line in log(at_bench, "0417-L", gel_grade=3).cautions)
        assert not any("Never water" in line for line in log(at_bench, "0418-M", gel_grade=2).cautions)
