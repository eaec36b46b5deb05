"""The view of one tin: what counts, what was first written, the curve, the next check, what happened."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from stability.board.detail import SampleView
from stability.board.view import to_json
from stability.errors import InputError
from stability.records.engine import Records
from stability.services.correct import correct_reading, set_aside
from stability.services.end import end_sample
from stability.services.move import move_sample
from stability.services.sample import sample_view
from tests.fleet import ZONE, bring, day
from tests.lab import SETTINGS, lab

NOW = day(114)
ROOM, HOT = "S-07-X231", "S-07-X501"


@pytest.fixture
def records(tmp_path: Path) -> Iterator[Records]:
    found = lab(tmp_path)
    yield found
    found.close()


def seen(records: Records, sample: str = ROOM, at: datetime = NOW) -> SampleView:
    return sample_view(records, sample, as_of=at, settings=SETTINGS)


def test_a_tin_is_told_with_its_blend_its_store_and_its_age(records):
    view = seen(records)
    assert view.blend_words == "Heron-A + xylene 20 %, lined tin 250 mL"
    assert (view.product_lot, view.thinner_lot, view.store) == ("H-0417", "X-11", "ROOM-23")
    assert view.age_days == pytest.approx(114)
    assert len(view.readings) == 7
    assert [r.word for r in view.readings] == [""] * 7
    assert view.limit_mpas == pytest.approx(800, rel=0.03)
    assert view.invented


def test_the_share_of_life_used_and_the_date_agree_with_the_invented_law(records):
    view = seen(records)
    assert view.life_used == pytest.approx(114 / 900, rel=0.2)
    assert (view.limit_date - day(900).date()) < timedelta(days=300)
    assert seen(records, HOT).life_used > view.life_used


def test_the_curve_goes_through_the_readings_and_then_widens(records):
    view = seen(records)
    fitted = [p for p in view.curve if p.lower_mpas is None]
    coming = [p for p in view.curve if p.lower_mpas is not None]
    ages = [p.age_days for p in view.curve]
    assert ages == sorted(ages)
    assert fitted[-1].age_days == pytest.approx(112, abs=0.1)
    last = view.readings[-1].viscosity_mpas
    assert fitted[-1].viscosity_mpas == pytest.approx(last, rel=0.04)
    assert coming[-1].upper_mpas / coming[-1].lower_mpas > coming[0].upper_mpas / coming[0].lower_mpas
    assert all(p.lower_mpas < p.viscosity_mpas < p.upper_mpas for p in coming)


def test_what_was_expected_of_a_reading_is_what_was_forecast_before_it(records):
    view = seen(records)
    assert view.readings[0].expected_low_mpas is None, "no forecast stood before the first reading"
    last = view.readings[-1]
    assert last.expected_low_mpas < last.viscosity_mpas < last.expected_high_mpas


def test_the_next_check_comes_with_what_is_expected_of_it(records):
    early = seen(records, at=day(60))
    assert early.next_check_at == day(90) - timedelta(hours=1), "10:00 in Berlin, summer time by then"
    assert seen(records).next_check_at is None, "the plan ends on day 90"


def test_a_corrected_reading_shows_what_was_first_written_and_why(records):
    act = {"person": "Mira", "now": day(113), "zone": ZONE}
    correct_reading(
        records, sample=ROOM, taken_at=day(56), values={"viscosity_mpas": 431.0}, reason="typed", **act
    )
    view = seen(records)
    line = next(r for r in view.readings if r.taken_at == day(56))
    assert (line.viscosity_mpas, line.word, line.reason) == (431.0, "corrected", "typed")
    assert line.original_mpas == pytest.approx(417, rel=0.05)
    assert line.counts
    assert any(e.words == "corrected a reading" and e.person == "Mira" for e in view.events)
    before = seen(records, at=day(112.5))
    assert all(r.word == "" for r in before.readings), "nobody had corrected it yet"


def test_a_reading_set_aside_is_shown_and_does_not_count(records):
    act = {"person": "Mira", "now": day(113), "zone": ZONE}
    set_aside(records, sample=ROOM, taken_at=day(56), reason="lid", **act)
    line = next(r for r in seen(records).readings if r.taken_at == day(56))
    assert (line.counts, line.word, line.reason) == (False, "set aside", "lid")
    assert line.viscosity_mpas == pytest.approx(417, rel=0.05)


def test_a_late_entry_says_so(records):
    late = {"sample": ROOM, "taken_at": day(100), "viscosity_mpas": 432.0, "entered_at": day(113)}
    bring(records, day(114), readings=[late])
    view = seen(records, at=day(114.5))
    assert [r.word for r in view.readings if r.taken_at == day(100)] == ["late entry"]
    assert len(seen(records, at=day(112.5)).readings) == 7


def test_moves_outings_and_endings_are_told_once(records):
    act = {"person": "Jonas", "zone": ZONE}
    out = {"sample": HOT, "out_at": day(57), "back_at": day(57.5), "temperature_c": 23.0}
    bring(records, day(114), outings=[out])
    move_sample(records, HOT, to_store="OVN-40", at=day(113), now=day(113), **act)
    end_sample(records, HOT, at=day(113.5), reason="used", now=day(113.5), **act)
    view = seen(records, HOT)
    told = [event.words for event in view.events]
    assert told == [
        "placed in OVN-50", "out of its store for 12 h at 23 °C", "moved to OVN-40", "ended: used",
    ]  # fmt: skip
    assert view.state == "used"
    assert view.limit_date is None
    assert view.next_check_at is None


def test_a_tin_without_readings_can_be_looked_at(records):
    tin = {"sample": "NEW-1", "study": "S-07", "product": "Heron-A", "product_lot": "H-0417"}
    tin |= {"store": "OVN-40", "placed_at": day(113)}
    bring(records, day(113), samples=[tin])
    view = seen(records, "NEW-1")
    assert (view.readings, view.curve, view.life_used) == ((), (), None)


def test_the_cautions_of_the_tin_come_with_it(records):
    assert any("above the thinner's flash point (27 °C)" in line for line in seen(records, HOT).cautions)
    assert seen(records).cautions[-1] == "SDS, local code and licensed practice come first."


def test_an_unknown_code_is_answered_with_the_nearest(records):
    with pytest.raises(InputError, match="S-07-X23") as refused:
        seen(records, "S-07-X23")
    assert "S-07-X231" in refused.value.hint


def test_a_tin_is_not_known_before_it_was_placed(records):
    with pytest.raises(InputError, match="not on record at that time"):
        seen(records, at=day(-1))


def test_the_view_is_json_without_a_nan(records):
    text = json.dumps(to_json(seen(records)), allow_nan=False)
    assert json.loads(text)["sample"] == ROOM
