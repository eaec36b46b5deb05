"""Lots in forecasts, on the board, in a comparison and in a statement: together where they age alike."""

from __future__ import annotations

from typing import Any

import pytest

from stability.records.engine import Records
from stability.services.blends import blends_of
from stability.services.board import board_view
from stability.services.claim_data import blend_data, bound_from
from stability.services.compare import compare
from stability.services.curves import master_curve_view
from stability.services.forecast import BlendForecast, forecasts, refresh
from stability.services.lots import as_rows, by_lot, families, lot_numbers, row_for, together
from stability.services.report import study_report
from stability.services.sample import sample_view
from stability.services.statement import Asked, prepare
from stability.settings import Settings
from tests.fleet import ZONE, bring, day, readings, samples, set_up

SETTINGS = Settings(time_zone="Europe/Berlin")
FIRST, SECOND, NEW = "H-0417", "H-0500", "H-0600"


def tins(lot: str) -> list[dict[str, Any]]:
    return [{**tin, "sample": f"{tin['sample']}-{lot[-3:]}", "product_lot": lot} for tin in samples()]


def lab(records: Records, lives: dict[str, float], until: float = 90.0) -> Records:
    set_up(records, tins=[tin for lot in lives for tin in tins(lot)])
    for age in sorted(
        {r["entered_at"] for lot in lives for r in readings(tins(lot), life_days=1, until=until)}
    ):
        rows = [r for lot, life in lives.items() for r in readings(tins(lot), life_days=life, until=until)]
        bring(records, age, readings=[r for r in rows if r["entered_at"] == age])
    return records


def rows(records: Records, age: float = 91.0, **asked: Any) -> list[BlendForecast]:
    return list(forecasts(records, as_of=day(age), settings=SETTINGS, **asked))


def test_lots_that_age_alike_are_one_row(on_sqlite: Records) -> None:
    lab(on_sqlite, {FIRST: 300.0, SECOND: 300.0})
    (row,) = rows(on_sqlite)
    assert row.product_lots == (FIRST, SECOND)
    assert row.thinner_lots == ("X-11",)
    assert (row.row["tins"], row.row["readings"]) == (12, 68)
    assert row.row["life_days"] == pytest.approx(300, rel=0.05)
    assert row.extra["real_times_days"] == [pytest.approx(90), pytest.approx(90)]


def test_a_lot_that_ages_faster_has_its_row(on_sqlite: Records) -> None:
    lab(on_sqlite, {FIRST: 300.0, SECOND: 240.0})
    slow, fast = rows(on_sqlite)
    assert [r.product_lots for r in (slow, fast)] == [(FIRST,), (SECOND,)]
    assert [r.row["tins"] for r in (slow, fast)] == [6, 6]
    assert fast.row["life_days"] < slow.row["life_days"]


def test_before_anything_can_be_tested_each_lot_has_its_row(on_sqlite: Records) -> None:
    lab(on_sqlite, {FIRST: 300.0, SECOND: 300.0}, until=1.0)
    assert [r.outcome for r in rows(on_sqlite, 2)] == ["too_early", "too_early"]


def test_other_limits_are_asked_of_the_same_rows(on_sqlite: Records) -> None:
    lab(on_sqlite, {FIRST: 300.0, SECOND: 300.0})
    ((own,), (half,)) = rows(on_sqlite), rows(on_sqlite, limit_ratio=1.5)
    assert own.blend_key == half.blend_key
    assert half.row["life_days"] < own.row["life_days"]


@pytest.mark.parametrize("second", [300.0, 240.0])
def test_what_has_not_changed_is_not_fitted_again(
    on_sqlite: Records, second: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    lab(on_sqlite, {FIRST: 300.0, SECOND: second})
    first = refresh(on_sqlite, now=day(91), settings=SETTINGS)
    assert all(f.changed for f in first)
    monkeypatch.setattr("stability.services.fitting.fitted", lambda *_: pytest.fail("fitted again"))
    monkeypatch.setattr("stability.services.lots_fitted.lots_compared", lambda *_: pytest.fail("compared"))
    again = refresh(on_sqlite, now=day(92), settings=SETTINGS)
    assert [f.row for f in again] == [f.row for f in first]
    assert not any(f.changed for f in again)
    assert [f.digest for f in rows(on_sqlite, 92)] == [f.digest for f in first]


def test_a_reading_of_one_lot_is_looked_at_by_all_of_them(on_sqlite: Records) -> None:
    lab(on_sqlite, {FIRST: 300.0, SECOND: 240.0})
    before = refresh(on_sqlite, now=day(91), settings=SETTINGS)
    taken = {"sample": tins(FIRST)[0]["sample"], "taken_at": day(92), "viscosity_mpas": 500.0}
    bring(on_sqlite, day(93), readings=[{**taken, "entered_at": day(92)}])
    after = refresh(on_sqlite, now=day(93), settings=SETTINGS)
    assert all(f.changed for f in after)
    assert [f.blend_key for f in after] == [f.blend_key for f in before]
    assert [f.digest for f in after] != [f.digest for f in before]


def test_whoever_looks_finds_the_lots_together(on_sqlite: Records) -> None:
    lab(on_sqlite, {FIRST: 300.0, SECOND: 300.0})
    board = board_view(on_sqlite, as_of=day(91), settings=SETTINGS, samples=True)
    assert [line.product_lots for line in board.blends] == [(FIRST, SECOND)]
    assert sum(line.life_used is not None for line in board.samples) == 12
    report = study_report(on_sqlite, study="S-07", as_of=day(91), settings=SETTINGS)
    assert [v.product_lots for v in report.verdicts] == [(FIRST, SECOND)]
    assert f"({FIRST}, {SECOND})" in report.verdicts[0].blend_words
    (line,) = compare(on_sqlite, study="S-07", as_of=day(91), settings=SETTINGS).lines
    assert line.forecast.product_lots == (FIRST, SECOND)
    curve = master_curve_view(on_sqlite, line.forecast, as_of=day(91), settings=SETTINGS)
    assert len(curve.points) == 68
    tin = sample_view(on_sqlite, tins(SECOND)[0]["sample"], as_of=day(91), settings=SETTINGS)
    assert (tin.product_lot, tin.life_used is not None) == (SECOND, True)


def test_a_statement_counts_lots_that_stand_together_and_their_real_time(on_sqlite: Records) -> None:
    lab(on_sqlite, {FIRST: 900.0, SECOND: 900.0})
    made = prepare(on_sqlite, Asked(thinner="xylene"), as_of=day(91), settings=SETTINGS)
    assert len(made.evidence.lots) == 1
    assert made.evidence.facts.lots == 2
    assert made.evidence.lots[0].real_times_days == (pytest.approx(90), pytest.approx(90))
    with on_sqlite.reading() as connection:
        blend = made.evidence.lots[0].blend
        data = blend_data(connection, blend, as_of=day(91), options=SETTINGS.fit, zone=ZONE)
    assert bound_from(data) == pytest.approx(made.evidence.facts.lower_bound_days, rel=2e-5)


def test_a_lot_asked_for_by_name_speaks_with_those_it_stands_with(on_sqlite: Records) -> None:
    lab(on_sqlite, {FIRST: 900.0, SECOND: 900.0})
    one, both = (
        prepare(on_sqlite, Asked(thinner="xylene", lots=lots), as_of=day(91), settings=SETTINGS)
        for lots in ((SECOND,), ())
    )
    assert one.evidence.facts == both.evidence.facts


def test_a_new_lot_that_was_not_read_yet_is_in_no_row(on_sqlite: Records) -> None:
    lab(on_sqlite, {FIRST: 300.0, SECOND: 300.0})
    bring(on_sqlite, day(90), samples=[{**tin, "placed_at": day(89)} for tin in tins(NEW)])
    (row,) = rows(on_sqlite)
    assert row.product_lots == (FIRST, SECOND)
    with on_sqlite.reading() as connection:
        every = as_rows(blends_of(connection, as_of=day(91)), {row.blend_key})
    assert [b.product_lots for b in every] == [(FIRST, SECOND), (NEW,)]


def test_lots_come_apart_as_they_came_together(on_sqlite: Records) -> None:
    lab(on_sqlite, {FIRST: 300.0, SECOND: 240.0})
    with on_sqlite.reading() as connection:
        (lots,) = families(blends_of(connection, as_of=day(91)))
    every = together(lots)
    assert every.key == lots[0].key.together == lots[1].key.together
    assert by_lot(every) == lots
    assert by_lot(lots[0]) == (lots[0],)
    assert lot_numbers(every, [s.sample for s in every.samples]) == [0] * 6 + [1] * 6
    found = {every.key.text: "row"}
    assert row_for(lots[1].key, found) == row_for(every.key, found) == "row"
    assert row_for(lots[1].key, {}) is None
