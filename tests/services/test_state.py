"""The one word a blend gets, shares of life used, and what a week cost a store."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from stability.board.view import BlendWord
from stability.records.engine import Records
from stability.services.blends import blends_of
from stability.services.cure import CureVerdict
from stability.services.forecast import BlendForecast, limit_date
from stability.services.state import blend_lines, blend_word, sample_lines, store_lines
from tests.fleet import PLACED, bring, day, samples, set_up
from tests.lab import lab


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> tuple[BlendForecast, ...]:
    """The forecasts of three blends, frozen on day 114."""
    from stability.services.forecast import forecasts
    from tests.lab import SETTINGS

    records = lab(tmp_path_factory.mktemp("state"))
    told = forecasts(records, as_of=day(114), settings=SETTINGS)
    records.close()
    return told


def said(forecast: BlendForecast, *, outcome: str, plain: float | None, alert: float | None) -> BlendForecast:
    row = {**forecast.row, "outcome": outcome, "probability_before_target": plain}
    return replace(forecast, row=row, extra={**forecast.extra, "alert": {"probability": alert}})


@pytest.mark.parametrize(
    ("outcome", "plain", "alert", "word"),
    [
        ("limit_reached", 0.1, 0.1, BlendWord.LOST),
        ("estimated", 0.2, 0.951, BlendWord.LOST),
        ("estimated", 0.99, 0.95, BlendWord.CREEPING),
        ("estimated", 0.0, 0.05, BlendWord.CREEPING),
        ("lower_bound_only", 0.5, 0.049, BlendWord.STEADY),
        ("lower_bound_only", 0.5, None, BlendWord.CREEPING),
        ("estimated", None, None, BlendWord.TOO_EARLY),
        ("too_early", None, 0.99, BlendWord.TOO_EARLY),
    ],
)
def test_the_word_comes_from_the_chance_that_alerts_use(found, outcome, plain, alert, word):
    assert blend_word(said(found[0], outcome=outcome, plain=plain, alert=alert)) is word


def test_blends_are_listed_worst_first_and_say_when_they_no_longer_dry(found):
    lost = CureVerdict(ratio=1.43, age_days=56, humidity_pct=30, limit_ratio=1.25)
    outcomes = (("estimated", 0.01), ("limit_reached", 1.0), ("estimated", 0.5))
    given = [
        said(f, outcome=outcome, plain=chance, alert=chance)
        for f, (outcome, chance) in zip(found, outcomes, strict=True)
    ]
    lines = blend_lines(given, as_of=day(114), cures={given[0].blend_key: lost})
    assert [line.word for line in lines] == [BlendWord.LOST, BlendWord.CREEPING, BlendWord.STEADY]
    assert lines[-1].notes == ("not curing: +43 % at day 56, 30 % RH",)


def test_the_share_of_life_used_is_age_over_life(found):
    for forecast, line in zip(
        sorted(found, key=lambda f: f.blend_key),
        sorted(blend_lines(found, as_of=day(120), cures={}), key=lambda b: str(b.thinner)),
        strict=True,
    ):
        assert line.age_days == pytest.approx(120.0)
        assert line.life_used == pytest.approx(120.0 / forecast.row["life_days"])
        assert line.limit_date == limit_date(PLACED, forecast.row["life_days"])


def test_a_date_beyond_a_hundred_years_is_no_date():
    assert limit_date(PLACED, 30) == (PLACED + timedelta(days=30)).date()
    assert limit_date(PLACED, 40_000) is None
    assert limit_date(PLACED, -1) is None


def test_a_tin_goes_on_using_its_life_at_its_own_rate_until_it_ends(found, tmp_path):
    records = lab(tmp_path)
    bring(records, day(120), endings=[{"sample": "S-07-X502", "at": day(118), "reason": "used"}])
    by_key = {f.blend_key: f for f in found}
    with records.reading() as connection:
        blends = blends_of(connection, as_of=day(130))
    lines = {line.sample: line for line in sample_lines(blends, by_key, as_of=day(130))}
    records.close()
    shares: dict[str, Any] = {}
    for forecast in found:
        shares |= forecast.extra["shares"]
    standing, ended = lines["S-07-X231"], lines["S-07-X502"]
    share = shares["S-07-X231"]
    assert standing.life_used == pytest.approx(share["used"] + share["per_day"] * (130 - share["age_days"]))
    assert ended.life_used == shares["S-07-X502"]["used"]
    assert (ended.ended, ended.state) == (True, "used")
    order = [(line.ended, -(line.life_used or 0.0)) for line in lines.values()]
    assert order == sorted(order)


def test_without_a_forecast_a_tin_is_still_listed(on_sqlite: Records):
    set_up(on_sqlite, tins=[{**samples()[0], "twin": "sealed"}])
    with on_sqlite.reading() as connection:
        blends = blends_of(connection, as_of=day(1))
    (line,) = sample_lines(blends, {}, as_of=day(1))
    assert (line.life_used, line.ratio, line.last_viscosity_mpas, line.state) == (
        None,
        None,
        None,
        "sealed twin",
    )
    assert sample_lines(blends, {}, as_of=day(1), limit=0) == ()


def test_a_store_tells_its_last_value_and_what_the_week_cost(records: Records):
    """Five days at 52 °C in a 50 °C store at 83.144 kJ/mol (E/R = 10 000 K): 5·(exp(0.1903) − 1) = 1.05 d."""
    set_up(records, tins=samples())
    rows = [
        {"store": "OVN-50", "at": day(5 + hour / 24), "temperature_c": 52.0, "entered_at": day(10)}
        for hour in range(121)
    ]
    bring(records, day(10), temperatures=rows)
    with records.reading() as connection:
        tins = [s for b in blends_of(connection, as_of=day(10)) for s in b.samples]
    stores = {line.store: line for line in store_lines(records, as_of=day(10), samples=tins)}
    hot = stores["OVN-50"]
    assert hot.week_dose_days == pytest.approx(5 * math.expm1(10_000 * (1 / 323.15 - 1 / 325.15)), rel=1e-3)
    assert hot.week_dose_days == pytest.approx(1.05, abs=0.01)
    assert (hot.last_c, hot.last_at, hot.samples, hot.word) == (52.0, day(10), 2, "in range")
    assert stores["OVN-40"].word == "no log this week"
    assert stores["OVN-40"].week_dose_days is None
    bring(records, day(11), temperatures=[{"store": "OVN-50", "at": day(10.1), "temperature_c": 55.1}])
    (after,) = [s for s in store_lines(records, as_of=day(11), samples=tins) if s.store == "OVN-50"]
    assert after.word == "out by 5.1 °C"
