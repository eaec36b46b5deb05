"""What tins went through and what their readings say of the viscosity, as the fit takes them.

Doses are worked out by hand with E = 75 kJ/mol: a day at 40 °C counts 5.227 d at 23 °C, at 50 °C 12.74 d.
"""

from __future__ import annotations

import itertools
import math
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from stability.ageing.arrays import Kind, TinHistory, assemble
from stability.ageing.dose import dose
from stability.records.engine import Records
from stability.services.blends import blends_of
from stability.services.tins import load_climate, places, tins_of
from tests.fleet import bring, day, samples, set_up

E = 75.0
AT_40, AT_50 = (math.exp(E / 8.314462618e-3 * (1 / 296.15 - 1 / k)) for k in (313.15, 323.15))
HOT, TIN = "S-07-X501", "S-07-X231"


def test_the_factors_that_doses_are_worked_out_with() -> None:
    assert pytest.approx(5.227, abs=0.01) == AT_40
    assert pytest.approx(12.74, abs=0.02) == AT_50


def lab(records: Records, *rows: dict[str, Any]) -> None:
    set_up(records, tins=samples())
    bring(records, day(60), readings=[{"entered_at": row["taken_at"], **row} for row in rows])


def read(sample: str, age: float, **given: Any) -> dict[str, Any]:
    return {"sample": sample, "taken_at": day(age), **({"viscosity_mpas": 400.0 + age} | given)}


def tins(records: Records, age: float = 60) -> dict[str, TinHistory]:
    with records.reading() as connection:
        (blend,) = blends_of(connection, as_of=day(age))
        climate = load_climate(connection, "S-07", as_of=day(age), gap_days=0.25)
        return {tin.sample: tin for tin in tins_of(blend, climate, connection, gel_ratio=100.0)}


def doses(tin: TinHistory) -> list[float]:
    return [float(value) for value in dose(tin.days, tin.x, E)]


def hourly(store: str, since: float, until: float, value: float) -> list[dict[str, Any]]:
    first, steps = day(since), round((until - since) * 24)
    at = [first + timedelta(hours=step) for step in range(steps + 1)]
    return [{"store": store, "at": t, "temperature_c": value, "entered_at": t} for t in at]


def test_without_a_log_a_tin_stands_at_its_stores_temperature(on_sqlite: Records) -> None:
    lab(on_sqlite, read(TIN, 28), read(HOT, 0), read(HOT, 14))
    found = tins(on_sqlite)
    assert doses(found[TIN]) == [pytest.approx(28.0)]
    assert doses(found[HOT]) == [pytest.approx(0.0, abs=1e-9), pytest.approx(14 * AT_50)]
    assert found[HOT].openings == [0, 1]


def test_a_move_counts_from_its_day_on(records: Records) -> None:
    lab(records, read(HOT, 7), read(HOT, 28))
    bring(
        records, day(60), moves=[{"sample": HOT, "at": day(10), "to_store": "OVN-40", "entered_at": day(10)}]
    )
    found = tins(records)[HOT]
    assert doses(found) == [pytest.approx(7 * AT_50), pytest.approx(10 * AT_50 + 18 * AT_40)]
    assert (found.store, found.temperature_c) == ("OVN-40", 40.0)
    assert doses(tins(records, 9)[HOT]) == [pytest.approx(7 * AT_50)]


def test_an_outing_counts_at_its_own_temperature_or_at_the_rooms(records: Records) -> None:
    out = [
        {"sample": HOT, "out_at": day(2), "back_at": day(3), "entered_at": day(3)},
        {"sample": HOT, "out_at": day(5), "back_at": day(5.5), "temperature_c": 40.0, "entered_at": day(6)},
        {"sample": HOT, "out_at": day(13), "back_at": day(16), "entered_at": day(16)},
    ]
    lab(records, read(HOT, 14))
    bring(records, day(60), outings=out)
    assert doses(tins(records)[HOT]) == [pytest.approx(11.5 * AT_50 + 0.5 * AT_40 + 2.0)]


def test_a_log_takes_the_place_of_the_nominal_temperature(records: Records) -> None:
    lab(records, read(HOT, 14))
    bring(records, day(60), temperatures=hourly("OVN-50", 4, 6, 40.0))
    assert doses(tins(records)[HOT]) == [pytest.approx(12 * AT_50 + 2 * AT_40, rel=2e-3)]


def test_a_gap_in_a_log_is_filled_with_the_nominal_temperature(on_sqlite: Records) -> None:
    lab(on_sqlite, read(HOT, 14))
    bring(on_sqlite, day(60), temperatures=hourly("OVN-50", 4, 5, 40.0) + hourly("OVN-50", 8, 9, 40.0))
    assert doses(tins(on_sqlite)[HOT]) == [pytest.approx(12 * AT_50 + 2 * AT_40, rel=2e-3)]


def test_a_log_that_is_re_based_later_counts_only_then(records: Records) -> None:
    lab(records, read(HOT, 14))
    bring(records, day(60), temperatures=hourly("OVN-50", 4, 6, 50.0))
    again = [{**row, "temperature_c": 40.0, "entered_at": day(30)} for row in hourly("OVN-50", 4, 6, 50.0)]
    bring(records, day(60), temperatures=again)
    assert doses(tins(records, 29)[HOT]) == [pytest.approx(14 * AT_50)]
    assert doses(tins(records, 31)[HOT]) == [pytest.approx(12 * AT_50 + 2 * AT_40, rel=2e-3)]


def test_where_a_tin_belonged_is_a_chain_without_gaps(on_sqlite: Records) -> None:
    lab(on_sqlite)
    moves = [(10, "OVN-40"), (20, "ROOM-23")]
    rows = [{"sample": HOT, "at": day(age), "to_store": to, "entered_at": day(age)} for age, to in moves]
    bring(on_sqlite, day(60), moves=rows)
    with on_sqlite.reading() as connection:
        (blend,) = blends_of(connection, as_of=day(60))
        climate = load_climate(connection, "S-07", as_of=day(60), gap_days=0.25)
        sample = next(s for s in blend.samples if s.sample == HOT)
    chain = places(sample, climate.moves[sample.id])
    assert [store for _, _, store in chain] == ["OVN-50", "OVN-40", "ROOM-23"]
    assert all(a[1] == b[0] for a, b in itertools.pairwise(chain))
    assert chain[-1][1] == math.inf


@pytest.mark.parametrize(
    ("given", "value", "kind"),
    [
        ({"viscosity_mpas": 520.0}, 520.0, Kind.MEASURED),
        ({"viscosity_mpas": 520.0, "gel_grade": 3}, 520.0, Kind.MEASURED),
        ({"viscosity_mpas": ">2000"}, 2000.0, Kind.RIGHT_CENSORED),
        ({"viscosity_mpas": ">2000", "gel_grade": 4}, 2000.0, Kind.RIGHT_CENSORED),
        ({"viscosity_mpas": None, "gel_grade": 2}, 450.0, Kind.RIGHT_CENSORED),
        ({"viscosity_mpas": None, "gel_grade": 3}, 450.0, Kind.RIGHT_CENSORED),
        ({"viscosity_mpas": None, "gel_grade": 4}, 40_000.0, Kind.RIGHT_CENSORED),
        ({"viscosity_mpas": None, "gel_grade": 5}, 40_000.0, Kind.RIGHT_CENSORED),
        ({"viscosity_mpas": None, "gel_grade": 0}, None, None),
        ({"viscosity_mpas": None, "gel_grade": 1}, None, None),
    ],
)
def test_what_a_reading_says_of_the_viscosity(
    on_sqlite: Records, given: dict[str, Any], value: float | None, kind: Kind | None
) -> None:
    start = [read(HOT, 0, viscosity_mpas=400.0), read(HOT, 7, viscosity_mpas=450.0)]
    lab(on_sqlite, *start, read(HOT, 14, **given))
    found = tins(on_sqlite)[HOT]
    assert found.viscosities_mpas[:2] == [400.0, 450.0]
    last = list(zip(found.viscosities_mpas, found.kinds or (), strict=True))[2:]
    assert last == ([] if value is None else [(value, kind)])


def test_a_tin_that_was_never_measured_and_thickened_says_nothing(on_sqlite: Records) -> None:
    lab(on_sqlite, read(TIN, 0), read(HOT, 14, viscosity_mpas=None, gel_grade=3))
    assert set(tins(on_sqlite)) == {TIN}


def test_nothing_that_follows_a_gel_goes_into_the_fit(on_sqlite: Records) -> None:
    gelled = read(HOT, 7, viscosity_mpas=None, gel_grade=4)
    lab(on_sqlite, read(HOT, 0), gelled, read(HOT, 14, viscosity_mpas=100.0))
    data = assemble(list(tins(on_sqlite).values()), 23.0)
    assert data.age_days.tolist() == [pytest.approx(0.0), pytest.approx(7.0)]


def test_a_day_of_readings_is_a_local_one(on_sqlite: Records) -> None:
    hour = timedelta(hours=1)
    lab(on_sqlite, read(TIN, 7), {**read(TIN, 7), "taken_at": day(7) + 12 * hour}, read(HOT, 7))
    with on_sqlite.reading() as connection:
        (blend,) = blends_of(connection, as_of=day(60))
        told = {}
        for zone in (ZoneInfo("Europe/Berlin"), ZoneInfo("Asia/Tokyo")):
            climate = load_climate(connection, "S-07", as_of=day(60), gap_days=0.25, zone=zone)
            told[zone.key] = {t.sample: t for t in tins_of(blend, climate, connection, gel_ratio=100.0)}
    berlin, tokyo = told["Europe/Berlin"], told["Asia/Tokyo"]
    assert berlin[TIN].sessions == [day(7).toordinal()] * 2
    assert tokyo[TIN].sessions == [day(7).toordinal(), day(8).toordinal()], "21:00 there is past midnight"
    assert assemble(list(berlin.values()), 23.0).session_days.tolist() == [day(7).toordinal()]
    assert (berlin[TIN].openings, tokyo[TIN].openings) == ([0, 0], [0, 1])


def changed(age: float, what: str = "spindle", **given: Any) -> dict[str, Any]:
    return {"at": day(age), "what": what, "entered_at": day(age), **given}


@pytest.mark.parametrize(
    ("change", "steps"),
    [
        (changed(10), [0, 0, 1]),
        (changed(10, study="S-07", instrument="VIS-1"), [0, 0, 0]),
        (changed(10, instrument="VIS-2"), None),
        (changed(10, what="instrument", instrument="VIS-2"), [0, 0, 1]),
        (changed(30), None),
        (changed(-1), None),
    ],
)
def test_a_recorded_change_marks_the_readings_that_follow_it(
    on_sqlite: Records, change: dict[str, Any], steps: list[float] | None
) -> None:
    rows = [read(TIN, 0), read(TIN, 7, instrument="VIS-1"), read(TIN, 14, instrument="VIS-2")]
    lab(on_sqlite, *rows, read(HOT, 7, instrument="VIS-1"), read(HOT, 14, instrument="VIS-1"))
    bring(on_sqlite, day(60), changes=[change])
    found = tins(on_sqlite)
    assert found[TIN].steps == (None if steps is None else [[step] for step in steps])
    if change.get("instrument") == "VIS-1":
        assert found[HOT].steps == [[0], [1]]


def test_changes_that_part_the_readings_alike_are_one_step(on_sqlite: Records) -> None:
    lab(on_sqlite, read(TIN, 0), read(TIN, 7), read(TIN, 14))
    bring(on_sqlite, day(60), changes=[changed(10), changed(11, what="oil"), changed(3, what="oil")])
    assert tins(on_sqlite)[TIN].steps == [[0, 0], [1, 0], [1, 1]]
