"""What a sweep finds on record, kind by kind, and what a history that is brought in must not raise."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from typing import Any

import pytest

from stability.services.sweep import SweepOutcome, sweep
from stability.settings import AlertSettings, MailSettings
from tests.fleet import bring, day, readings, refresh_with, samples, set_up, settings_for, study

HOUR = timedelta(hours=1)
LIFE = 300.0


class House:
    def __init__(self, records, folder) -> None:
        self.records = records
        self.settings = settings_for(
            folder, mail=MailSettings(host="localhost"), alerts=AlertSettings(blind_after_hours=1e6)
        )
        self.tins = samples()
        self.chance: float | None = 0.2
        self.row: dict[str, Any] = {}
        set_up(records, text=study(plan=False), tins=self.tins)

    def bring(self, now: datetime, **tables: Any) -> None:
        bring(self.records, now, **tables)

    def read(self, until: float, since: float = -1.0) -> None:
        found = readings(self.tins, life_days=LIFE, until=until, since=since)
        self.bring(day(until) + 2 * HOUR, readings=found)

    def look(self, now: datetime) -> SweepOutcome:
        refresh = refresh_with(lambda _now: self.chance, **self.row)
        return sweep(self.records, now=now, settings=self.settings, refresh=refresh)

    def opened(self, now: datetime) -> list[str]:
        return sorted(row.kind for row in self.look(now).opened)


@pytest.fixture
def house(records, tmp_path) -> House:
    return House(records, tmp_path)


def reading(sample: str, age: float, **given: Any) -> dict[str, Any]:
    return {"sample": sample, "taken_at": day(age), "entered_at": day(age) + HOUR, **given}


def test_two_readings_above_the_limit_in_a_storage_tin_are_told_once(house):
    house.read(14)
    house.bring(day(29), readings=[reading("S-07-X231", 28, viscosity_mpas=815.0)])
    assert house.opened(day(29)) == []
    house.bring(day(31), readings=[reading("S-07-X231", 30, viscosity_mpas=830.0)])
    outcome = house.look(day(31))
    assert [row.kind for row in outcome.opened] == ["limit_reached"]
    assert outcome.opened[0].sample == "S-07-X231"
    assert house.opened(day(32)) == []


def test_a_hot_tin_that_crosses_is_data_and_no_alert(house):
    house.read(14)
    house.bring(day(29), readings=[reading("S-07-X501", 28, viscosity_mpas=5000.0)])
    assert house.opened(day(29)) == []


def test_two_tins_that_gel_in_one_store_are_one_alert_with_the_caution(house):
    house.read(14)
    gels = [reading(code, 28, gel_grade=4) for code in ("S-07-X501", "S-07-X502")]
    house.bring(day(29), readings=gels)
    outcome = house.look(day(29))
    assert [row.kind for row in outcome.opened] == ["gelled"]
    assert "no flash point on record" in " ".join(outcome.opened[0].detail["cautions"])


def test_a_corrected_slip_closes_the_alert_it_raised(house):
    house.read(14)
    house.bring(day(29), readings=[reading("S-07-X501", 28, gel_grade=4)])
    house.look(day(29))
    house.bring(
        day(30),
        readings=[
            reading("S-07-X501", 28, gel_grade=1)
            | {"corrects": day(28), "reason": "wrong tin", "entered_at": day(29.5)}
        ],
    )
    assert [row.kind for row in house.look(day(30)).closed] == ["gelled"]


def test_a_reading_outside_its_band_is_told_by_the_band_known_before_it(house):
    house.read(14)
    _expect(house, "S-07-X231", made=day(15), value=420.0, sd=0.02)
    house.bring(day(29), readings=[reading("S-07-X231", 28, viscosity_mpas=246.0)])
    _expect(house, "S-07-X231", made=day(28.5), value=246.0, sd=0.02)
    outcome = house.look(day(29))
    assert [row.kind for row in outcome.opened] == ["out_of_trend"]
    assert "below the expected" in outcome.opened[0].says


def test_a_reading_inside_its_band_or_entered_weeks_later_raises_nothing(house):
    house.read(14)
    _expect(house, "S-07-X231", made=day(15), value=420.0, sd=0.02)
    house.bring(day(29), readings=[reading("S-07-X231", 28, viscosity_mpas=425.0)])
    assert house.opened(day(29)) == []
    late = reading("S-07-X231", 30, viscosity_mpas=246.0) | {"entered_at": day(38)}
    house.bring(day(39), readings=[late])
    assert house.opened(day(39)) == []


def test_a_reading_after_an_excursion_is_told_and_not_called_a_slip(house):
    house.read(14)
    _expect(house, "S-07-X501", made=day(15), value=430.0, sd=0.02)
    house.bring(day(20), temperatures=[*_log("OVN-50", 15, 16, 63.0), *_log("OVN-50", 16, 18, 50.0)])
    house.look(day(20))
    house.bring(day(21.5), readings=[reading("S-07-X501", 21, viscosity_mpas=500.0)])
    (told,) = house.look(day(21.5)).opened
    assert told.kind == "out_of_trend"
    assert told.says.endswith("of an even OVN-50, which left its tolerance meanwhile")
    assert "slips" not in told.detail["do_next"]


def test_beyond_the_last_knot_of_a_band_nothing_is_expected(house):
    house.read(14)
    _expect(house, "S-07-X231", made=day(15), value=420.0, sd=0.02, ages=(14.0, 24.0))
    house.bring(day(29), readings=[reading("S-07-X231", 28, viscosity_mpas=600.0)])
    assert house.opened(day(29)) == []


def _expect(
    house: House,
    sample: str,
    *,
    made: datetime,
    value: float,
    sd: float,
    ages: tuple[float, ...] = (0.0, 200.0),
) -> None:
    from stability.records.forecasts import store_forecast
    from stability.services.blends import blends_of

    with house.records.writing() as connection:
        blend = blends_of(connection, as_of=day(1))[0]
        number = next(s.id for s in blend.samples if s.sample == sample)
        values = {
            "study_id": blend.study.id, "blend_key": blend.key.text, "as_of": made, "made_at": made,
            "digest": f"{value:064.0f}", "outcome": "estimated", "payload": {},
        }  # fmt: skip
        knots = [(age, math.log(value), sd) for age in ages]
        store_forecast(connection, values, {number: knots})


def test_twins_apart_on_one_day_are_told_and_forgotten_after_two_weeks(house):
    house.read(14)
    house.bring(
        day(29),
        readings=[
            reading("S-07-X231", 28, viscosity_mpas=439.0),
            reading("S-07-X232", 28, viscosity_mpas=333.0),
        ],
    )
    assert house.opened(day(29)) == ["tins_disagree"]
    assert [row.kind for row in house.look(day(44)).closed] == ["tins_disagree"]


def test_twins_within_their_noise_are_not_apart(house):
    house.read(14)
    house.row["noise_pct"] = 8.0
    house.bring(
        day(29),
        readings=[
            reading("S-07-X231", 28, viscosity_mpas=439.0),
            reading("S-07-X232", 28, viscosity_mpas=380.0),
        ],
    )
    assert house.opened(day(29)) == []


def test_a_tin_that_lost_mass_beside_its_twin_is_told_although_they_read_alike(house):
    masses = {0: (250.0, 250.0), 28: (244.2, 249.6)}
    for age, pair in masses.items():
        both = [
            reading(code, age, viscosity_mpas=400.0 + age, mass_g=mass)
            for code, mass in zip(("S-07-X231", "S-07-X232"), pair, strict=True)
        ]
        house.bring(day(age) + 2 * HOUR, readings=both)
    outcome = house.look(day(29))
    assert [row.kind for row in outcome.opened] == ["tins_disagree"]
    assert "2.3 % of its mass" in outcome.opened[0].says


def test_a_blend_that_stays_fluid_and_no_longer_dries_is_told(house):
    house.read(28)
    tests = [
        {"sample": "S-07-X231", "taken_at": day(age), "humidity_pct": 30, "dry_through_h": hours}
        for age, hours in ((0, 4.4), (28, 5.4), (56, 6.3))
    ]
    house.bring(day(29), cures=[row | {"entered_at": row["taken_at"]} for row in tests[:2]])
    assert house.opened(day(29)) == []
    house.bring(day(57), cures=[tests[2] | {"entered_at": day(56)}])
    outcome = house.look(day(57))
    assert [row.kind for row in outcome.opened] == ["cure_lost"]
    assert "1.43 × the control" in outcome.opened[0].says
    assert "dead but fluid" in outcome.opened[0].says


def _log(store: str, since: float, until: float, value: float, *, step_h: float = 1.0) -> list[dict]:
    steps = int((until - since) * 24 / step_h)
    return [
        {"store": store, "at": day(since) + timedelta(hours=step_h * i), "temperature_c": value}
        for i in range(steps)
    ]


def test_an_oven_that_ran_hot_is_told_with_its_peak_and_hours_and_once(house):
    house.read(14)
    log = [
        *_log("OVN-50", 15, 17.29, 50.1),
        *_log("OVN-50", 17.29, 18.875, 63.0),
        *_log("OVN-50", 18.9, 20, 50.0),
    ]
    house.bring(day(18), temperatures=[row for row in log if row["at"] < day(18)])
    first = house.look(day(18))
    assert [row.kind for row in first.opened] == ["store_excursion"]
    assert "13.0 °C too hot" in first.opened[0].says
    assert first.opened[0].severity == 3
    house.bring(day(20), temperatures=[row for row in log if row["at"] >= day(18)])
    again = house.look(day(20))
    assert again.opened == ()
    assert any("Heron-A" in words for words in first.opened[0].detail["evidence"])
    assert [row.kind for row in house.look(day(27)).closed] == ["store_excursion"]


def test_a_logger_that_falls_silent_is_told_and_closes_when_it_speaks(house):
    house.read(14)
    house.bring(day(15), temperatures=_log("OVN-40", 14, 15, 40.0))
    assert house.opened(day(15)) == []
    assert house.opened(day(16) + HOUR) == ["probe_silent"]
    house.bring(day(17), temperatures=_log("OVN-40", 16.5, 17, 40.0))
    assert [row.kind for row in house.look(day(17)).closed] == ["probe_silent"]


def test_a_log_from_long_ago_is_history_and_no_silent_probe(house):
    house.read(14)
    house.bring(day(300), temperatures=_log("OVN-40", 14, 15, 40.0))
    assert house.opened(day(300)) == []


def test_an_instrument_used_after_its_certificate_ran_out_is_told_until_it_is_certified(house):
    house.read(14)
    certificate = {"instrument": "VIS-1", "at": day(-300), "due_at": day(20)}
    house.bring(
        day(15), instruments=[{"instrument": "VIS-1", "kind": "rotational"}], calibrations=[certificate]
    )
    assert house.opened(day(21)) == []
    house.bring(day(29), readings=[reading("S-07-X231", 28, viscosity_mpas=425.0, instrument="VIS-1")])
    assert house.opened(day(29)) == ["calibration_lapsed"]
    house.bring(day(30), calibrations=[{"instrument": "VIS-1", "at": day(29), "due_at": day(400)}])
    assert [row.kind for row in house.look(day(30)).closed] == ["calibration_lapsed"]


def test_a_dead_mail_channel_is_told_in_the_file_and_not_by_mail(house):
    from stability.records import outbox

    house.read(14)
    with house.records.writing() as connection:
        outbox.put(connection, key="k", channel="mail", receiver="lena@lab.example", payload={}, at=day(14))
        claimed = outbox.claim(connection, channels=["mail"], now=day(14), lease=HOUR)
        outbox.mark_dead(connection, claimed, at=day(14), error="550 no such user")
    assert house.opened(day(15)) == ["channel_dead"]
    with house.records.reading() as connection:
        found = outbox.claim(connection, channels=["mail"], now=day(15), lease=HOUR)
    assert found is None
    assert outbox_channels(house) == ["mail", "file"]


def outbox_channels(house: House) -> list[str]:
    import sqlalchemy as sa

    from stability.records.tables import METADATA

    table = METADATA.tables["outbox"]
    with house.records.reading() as connection:
        return list(connection.execute(sa.select(table.c.channel).order_by(table.c.id)).scalars())


def test_a_history_brought_in_a_year_later_raises_only_what_is_true_now(records, tmp_path):
    house = House(records, tmp_path)
    house.bring(
        day(400),
        readings=[
            row | {"entered_at": row["taken_at"]} for row in readings(house.tins, life_days=150, until=90)
        ],
        temperatures=_log("OVN-50", 0, 56, 63.0, step_h=12),
    )
    house.chance = 0.99
    assert house.opened(day(400)) == ["heading_for_limit"]
