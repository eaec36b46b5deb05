"""Whether aged blends still dry: against their own control of day 0, at one humidity."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from stability.records.engine import Records
from stability.services.blends import blends_of
from stability.services.cure import CureVerdict, cure_verdict, cures_of
from tests.fleet import bring, day, samples, set_up, study

TEXT = study().replace("gel_grade = 2", "gel_grade = 2\ndry_through_ratio = 1.25")


def verdict(records: Records, age: float = 100) -> CureVerdict | None:
    with records.reading() as connection:
        (blend,) = blends_of(connection, as_of=day(age))
        return cure_verdict(blend, cures_of(connection, blend, as_of=day(age)))


def drying(sample: str, age: float, hours: float, humidity: float = 50.0, **given: Any) -> dict[str, Any]:
    at = day(age) + timedelta(hours=2)
    return {
        "sample": sample,
        "taken_at": at,
        "humidity_pct": humidity,
        "dry_through_h": hours,
        "entered_at": at + timedelta(hours=30),
        **given,
    }


@pytest.fixture
def lab(on_sqlite: Records) -> Records:
    set_up(on_sqlite, text=TEXT, tins=samples())
    return on_sqlite


def test_the_oldest_tests_are_held_against_the_first_ones(lab):
    first = [drying("S-07-X231", 0, 4.0), drying("S-07-X232", 0, 5.0)]
    later = [drying("S-07-X231", 28, 4.5), drying("S-07-X231", 56, 6.0), drying("S-07-X232", 56, 6.6)]
    bring(lab, day(60), cures=first + later)
    found = verdict(lab)
    assert found is not None
    assert found.ratio == pytest.approx(6.3 / 4.5)
    assert (found.age_days, found.lost, found.word) == (56, True, "cure lost")
    assert found.words == "cure lost: +40 % at day 56, 50 % RH"
    early = verdict(lab, 40)
    assert early is not None
    assert (early.age_days, early.lost) == (28, False)
    assert early.words == "cures (+0 % at day 28, 50 % RH)"


def test_the_humidity_that_shows_most_speaks(lab):
    rows = [
        drying("S-07-X231", age, hours, humidity)
        for humidity, hours_then in ((30.0, (5.0, 7.0)), (50.0, (4.0, 4.4)), (75.0, (3.0, 3.9)))
        for age, hours in zip((0, 56), hours_then, strict=True)
    ]
    bring(lab, day(60), cures=rows)
    found = verdict(lab)
    assert found is not None
    assert (found.humidity_pct, found.ratio) == (30.0, pytest.approx(1.4))


def test_without_a_control_at_the_same_humidity_there_is_no_verdict(lab):
    bring(lab, day(60), cures=[drying("S-07-X231", 0, 4.0, 50.0), drying("S-07-X231", 56, 9.0, 30.0)])
    assert verdict(lab) is None


def test_tins_of_warm_stores_say_nothing_of_the_storage_temperature(lab):
    bring(lab, day(60), cures=[drying("S-07-X501", 0, 4.0), drying("S-07-X501", 28, 9.0)])
    assert verdict(lab) is None


def test_a_correction_counts_from_its_entry_on(lab):
    rows = [drying("S-07-X231", 0, 4.0), drying("S-07-X231", 28, 6.0)]
    again = drying("S-07-X231", 28, 4.2, corrects=rows[1]["taken_at"], reason="misread", entered_at=day(40))
    bring(lab, day(60), cures=[*rows, again])
    before, after = verdict(lab, 35), verdict(lab, 45)
    assert before is not None
    assert after is not None
    assert (before.ratio, after.ratio) == (pytest.approx(1.5), pytest.approx(1.05))


def test_faster_drying_is_written_with_a_true_minus(lab):
    bring(lab, day(60), cures=[drying("S-07-X231", 0, 4.0), drying("S-07-X231", 28, 3.0)])
    found = verdict(lab)
    assert found is not None
    assert "−25 %" in found.words
