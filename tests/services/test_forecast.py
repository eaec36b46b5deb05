"""Forecasts from records: the reference study, what was known when, what is refitted and what is not."""

from __future__ import annotations

import json
import math
from datetime import timedelta
from typing import Any

import pytest

from stability.records.engine import Records
from stability.services.correct import correct_reading, set_aside
from stability.services.forecast import BlendForecast, forecasts, refresh
from stability.settings import Settings
from tests import fleet
from tests.fleet import ZONE, bring, day, samples, set_up
from tests.reference import LIFE_DAYS, LOWER_DAYS, NOW, reference_files
from tests.tables import stored, take

SETTINGS = Settings(time_zone="Europe/Berlin")
HOUR = timedelta(hours=1)
LIFE = 300.0


def told(records: Records, as_of: Any, **asked: Any) -> BlendForecast:
    (only,) = forecasts(records, as_of=as_of, settings=SETTINGS, **asked)
    return only


@pytest.fixture
def lab(on_sqlite: Records) -> Records:
    """Six tins of one blend, read for 28 days."""
    fill(on_sqlite)
    return on_sqlite


def fill(records: Records) -> None:
    tins = samples()
    set_up(records, tins=tins)
    bring(records, day(29), readings=fleet.readings(tins, life_days=LIFE, until=28))


def test_the_reference_study_comes_out_as_other_programs_have_it(records: Records) -> None:
    take(records, reference_files(), now=NOW)
    row = told(records, NOW, store_spread=0.0).row
    assert (row["readings"], row["tins"]) == (60, 10)
    assert row["life_days"] == pytest.approx(LIFE_DAYS, rel=0.02)
    assert row["life_days_lower95"] == pytest.approx(LOWER_DAYS, rel=0.03)


def test_departures_of_stores_move_the_life_little_and_the_bound_down(on_sqlite: Records) -> None:
    take(on_sqlite, reference_files(), now=NOW)
    row = told(on_sqlite, NOW).row
    assert row["life_days"] == pytest.approx(LIFE_DAYS, rel=0.10)
    assert row["life_days_lower95_next_tin"] < row["life_days_lower95"] < LOWER_DAYS
    assert row["life_days"] < row["life_days_upper95"]
    assert row["outcome"] == "estimated"


def test_a_payload_is_json_without_a_nan(lab: Records) -> None:
    for age in (0.5, 3.5, 29):
        found = told(lab, day(age))
        json.dumps([found.row, found.extra], allow_nan=False)


def test_nothing_taken_or_entered_later_counts(records: Records) -> None:
    fill(records)
    before = told(records, day(15)).row
    assert before["readings"] == sum(age <= 14 for ages in fleet.AGES.values() for age in ages) * 2
    late = {"sample": "S-07-X231", "taken_at": day(10), "viscosity_mpas": 900.0, "entered_at": day(40)}
    bring(records, day(40), readings=[late])
    assert told(records, day(15)).row == before
    assert told(records, day(41)).row["readings"] == told(records, day(39)).row["readings"] + 1


def test_a_correction_entered_later_does_not_count_before(records: Records) -> None:
    fill(records)
    at = {"sample": "S-07-X501", "taken_at": day(14), "person": "Mira", "zone": ZONE, "reason": "misread"}
    before = told(records, day(30)).row
    correct_reading(records, values={"viscosity_mpas": 300.0}, now=day(31), **at)
    assert told(records, day(30)).row == before
    assert told(records, day(32)).row != before
    set_aside(records, now=day(33), **at)
    assert told(records, day(30)).row == before
    assert told(records, day(34)).row["readings"] == before["readings"] - 1
    correct_reading(records, values={"viscosity_mpas": _original(records)}, now=day(35), **at)
    assert told(records, day(36)).row == before


def _original(records: Records) -> float:
    (row,) = [
        row
        for row in stored(records, "reading")
        if row["taken_at"] == day(14)
        and row["corrects_id"] is None
        and row["sample_id"] == next(s["id"] for s in stored(records, "sample") if s["sample"] == "S-07-X501")
    ]
    return float(row["viscosity_mpas"])


def test_a_sample_placed_later_is_not_there_yet(lab: Records) -> None:
    new = {**samples()[0], "sample": "NEW", "placed_at": day(40)}
    bring(lab, day(40), samples=[new])
    bring(lab, day(60), readings=[{"sample": "NEW", "taken_at": day(59), "viscosity_mpas": 410.0}])
    assert told(lab, day(39)).row["tins"] == 6
    assert told(lab, day(61)).row["tins"] == 7


def test_what_has_not_changed_is_not_fitted_again(lab: Records, monkeypatch: pytest.MonkeyPatch) -> None:
    (first,) = refresh(lab, now=day(29), settings=SETTINGS)
    assert first.changed
    rows = [stored(lab, name) for name in ("forecast", "expected_band")]
    monkeypatch.setattr("stability.services.fitting.fitted", lambda *_: pytest.fail("fitted again"))
    for age in (29.0, 29.1, 36.0):
        (again,) = refresh(lab, now=day(age), settings=SETTINGS)
        assert (again.changed, again.digest, again.row) == (False, first.digest, first.row)
    assert told(lab, day(30)).row == first.row
    assert [stored(lab, name) for name in ("forecast", "expected_band")] == rows


@pytest.mark.parametrize("change", ["reading", "correction", "log", "outing", "move", "setting", "limit"])
def test_whatever_goes_into_a_fit_makes_a_new_one(lab: Records, change: str) -> None:
    first = told(lab, day(30)).digest
    asked: dict[str, Any] = {"settings": SETTINGS}
    tin = "S-07-X501"
    if change == "reading":
        row = {"sample": tin, "taken_at": day(29), "viscosity_mpas": 600.0, "entered_at": day(29)}
        bring(lab, day(30), readings=[row])
    elif change == "correction":
        act = {"person": "Mira", "zone": ZONE, "reason": "misread", "now": day(30)}
        correct_reading(lab, sample=tin, taken_at=day(14), values={"viscosity_mpas": 300.0}, **act)
    elif change == "log":
        rows = [{"store": "OVN-50", "at": day(3), "temperature_c": 50.4, "entered_at": day(3)}]
        bring(lab, day(30), temperatures=rows)
    elif change == "outing":
        out = {"sample": tin, "out_at": day(5), "back_at": day(6), "entered_at": day(6)}
        bring(lab, day(30), outings=[out])
    elif change == "move":
        bring(
            lab, day(30), moves=[{"sample": tin, "at": day(20), "to_store": "OVN-40", "entered_at": day(20)}]
        )
    elif change == "setting":
        asked["store_spread"] = 0.1
    else:
        asked["limit_ratio"] = 1.5
    (now,) = forecasts(lab, as_of=day(30), **asked)
    assert now.digest != first


def test_a_log_after_the_last_reading_changes_no_digest(lab: Records) -> None:
    first = told(lab, day(30)).digest
    rows = [{"store": "OVN-50", "at": day(29), "temperature_c": 63.0, "entered_at": day(29)}]
    bring(lab, day(30), temperatures=rows)
    assert told(lab, day(30)).digest == first


def test_another_limit_asks_for_another_life_of_the_same_fit(lab: Records) -> None:
    twice, half = told(lab, day(30)).row, told(lab, day(30), limit_ratio=1.5).row
    assert half["limit_viscosity_ratio"] == 1.5
    # growth is close to exponential: the lives are as ln 1.5 to ln 2
    assert half["life_days"] / twice["life_days"] == pytest.approx(math.log(1.5) / math.log(2), rel=0.1)


def test_the_band_of_every_standing_tin_is_kept_with_the_forecast(lab: Records) -> None:
    refresh(lab, now=day(29), settings=SETTINGS)
    bands = stored(lab, "expected_band")
    assert len(bands) == 6
    for band in bands:
        knots = json.loads(band["knots"])
        ages, _, spreads = zip(*knots, strict=True)
        assert list(ages) == sorted(ages)
        assert ages[0] == pytest.approx(28.0, abs=0.01)
        assert min(spreads) > SETTINGS.fit.day_bias_pct / 100


def test_a_closed_study_is_not_refreshed_and_still_answers(lab: Records) -> None:
    from stability.services.studies import file_study

    closed = fleet.study(extra=f"closed_at = {day(30).isoformat()}")
    file_study(lab, closed, person="Lena", now=day(30), zone=ZONE)
    assert refresh(lab, now=day(31), settings=SETTINGS) == ()
    assert told(lab, day(31)).row["outcome"] in ("estimated", "lower_bound_only")


def test_no_readings_no_forecast(on_sqlite: Records) -> None:
    set_up(on_sqlite, tins=samples())
    assert forecasts(on_sqlite, as_of=day(1), settings=SETTINGS) == ()
    assert refresh(on_sqlite, now=day(1) + HOUR, settings=SETTINGS) == ()


def test_an_energy_on_the_edge_of_what_is_searched_is_not_told(on_sqlite: Records) -> None:
    """Tins that age alike whatever their store is: no activation energy was found, and none is printed."""
    tins = samples()
    set_up(on_sqlite, tins=tins)
    rows = [
        {
            **row,
            "viscosity_mpas": fleet.viscosity(
                "OVN-50", (row["taken_at"] - day(0)).days, life_days=LIFE, tin=at
            ),
        }
        for at, row in enumerate(fleet.readings(tins, life_days=LIFE, until=28))
    ]
    bring(on_sqlite, day(29), readings=rows)
    row = told(on_sqlite, day(30)).row
    assert row["readings"] == len(rows)
    assert row["activation_energy_kj_mol"] is row["activation_energy_se_kj_mol"] is None
