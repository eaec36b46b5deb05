"""Forecasts of a study that only looks for gel: which looks count, what they went through, what is told."""

from __future__ import annotations

import json
import math
from datetime import timedelta
from typing import Any

import pytest

from stability.records.engine import Records
from stability.services.blends import blends_of
from stability.services.bring import bring_rows
from stability.services.curves import arrhenius_view, master_curve_view
from stability.services.fitting import fitted
from stability.services.forecast import BlendForecast, forecasts, refresh
from stability.services.gel_only import gel_tins, gelled_from
from stability.services.report import study_report
from stability.services.studies import file_study
from stability.services.tins import load_climate
from stability.settings import Settings
from tests import gels
from tests.fleet import PLACED, ZONE, bring, day
from tests.tables import stored

SETTINGS = Settings(time_zone="Europe/Berlin")
HOT = "G-50-1"
LIFE = 300.0


def set_up(records: Records, *, text: str | None = None, tins: list[dict[str, Any]] | None = None) -> None:
    act = {"person": "Lena", "now": PLACED + timedelta(hours=1), "zone": ZONE}
    file_study(records, text or gels.gel_study(), **act)
    stores = [{"store": n, "temperature_c": c, "tolerance_c": 2.0} for n, c in gels.STORES.items()]
    bring_rows(records, {"stores": stores, "samples": tins or gels.gel_tins()}, **act)


def fill(records: Records, *, until: int = 112, **given: Any) -> None:
    set_up(records, **given)
    tins = given.get("tins") or gels.gel_tins()
    bring(records, day(until + 1), readings=gels.gel_checks(tins, life_days=LIFE, until=until))


def graded(records: Records, *rows: tuple[str, float, int]) -> None:
    at = [{"sample": s, "taken_at": day(a), "gel_grade": g, "entered_at": day(a)} for s, a, g in rows]
    bring(records, day(200), readings=at)


def told(records: Records, age: float = 120, **asked: Any) -> BlendForecast:
    (only,) = forecasts(records, as_of=day(age), settings=SETTINGS, **asked)
    return only


def looks(records: Records, age: float = 200) -> dict[str, tuple[float, float | None]]:
    with records.reading() as connection:
        (blend,) = blends_of(connection, as_of=day(age))
        climate = load_climate(connection, "G-01", as_of=day(age), gap_days=0.25)
        tins = gel_tins(blend, climate, connection)
    return {
        t.sample: (
            round(t.fluid_age_days, 6),
            None if t.gelled_age_days is None else round(t.gelled_age_days, 6),
        )
        for t in tins
    }


def test_a_life_is_told_from_gel_checks_alone(records: Records) -> None:
    fill(records)
    found = told(records)
    row = found.row
    assert row["outcome"] == "estimated"
    assert row["life_days"] == row["gel_life_days"] == pytest.approx(LIFE, rel=0.1)
    assert (
        row["life_days_lower95_next_tin"]
        < row["life_days_lower95"]
        < row["life_days"]
        < row["life_days_upper95"]
    )
    assert row["activation_energy_kj_mol"] == pytest.approx(75.0, abs=2 * row["activation_energy_se_kj_mol"])
    assert (row["tins"], row["gelled_tins"]) == (12, 8)
    assert row["initial_viscosity_mpas"] is row["noise_pct"] is row["order_m"] is None
    assert {e["name"] for e in row["evidence"]} >= {"lognormal_or_weibull", "straight_arrhenius", "reach"}
    assert row["priors_used"] is False
    assert found.extra["alert"]["priors_used"] is True
    assert 0.0 < found.alert_probability < 1.0
    json.dumps([row, found.extra], allow_nan=False)


def test_the_keys_are_those_of_any_forecast(on_sqlite: Records) -> None:
    from tests.lab import lab_rows

    fill(on_sqlite)
    lab_rows(on_sqlite, thinner="xylene")
    mixed = {f.study: f for f in forecasts(on_sqlite, as_of=day(120), settings=SETTINGS)}
    assert set(mixed["G-01"].row) == set(mixed["S-07"].row)
    assert set(mixed["S-07"].extra) - set(mixed["G-01"].extra) == {"curve", "lives", "statement"}


def test_the_last_look_without_and_the_first_with_gel_count(on_sqlite: Records) -> None:
    set_up(on_sqlite)
    graded(
        on_sqlite,
        *[("G-23-1", age, 0) for age in (0, 28, 56)],
        *[("G-50-1", 7, 1), ("G-50-1", 14, 2), ("G-50-1", 21, 3), ("G-50-1", 28, 1)],
        ("G-50-2", 7, 4),
        ("G-40-1", 0, 0),
    )
    assert looks(on_sqlite) == {
        "G-23-1": (56, None),
        "G-50-1": (14, 21),
        "G-50-2": (0, 7),
        "G-40-1": (0, None),
    }
    assert told(on_sqlite, 200).row["readings"] == 2 + 3 + 1


def test_the_grade_that_ends_a_tin_is_the_studys_and_4_at_the_most() -> None:
    assert [gelled_from({"gel_grade": g}) for g in (1, 2, 2.5, 4, 5)] == [1, 2, 3, 4, 4]
    assert gelled_from({"dry_through_ratio": 1.25}) == 4


def test_a_tin_ended_as_gelled_between_two_looks_has_gelled_by_then(records: Records) -> None:
    set_up(records)
    graded(records, (HOT, 7, 0), (HOT, 14, 1), ("G-50-2", 14, 1))
    before = told(records, 100).digest
    ends = [
        {"sample": HOT, "at": day(17), "reason": "gelled", "entered_at": day(17)},
        {"sample": "G-50-2", "at": day(17), "reason": "used", "entered_at": day(17)},
    ]
    bring(records, day(150), endings=ends)
    assert looks(records) == {HOT: (14, 17), "G-50-2": (14, None)}
    assert looks(records, 16)[HOT] == (14, None)
    assert told(records, 200).digest != before


def test_moves_and_outings_count_as_what_the_tin_went_through(on_sqlite: Records) -> None:
    set_up(on_sqlite)
    graded(on_sqlite, (HOT, 14, 0), (HOT, 21, 4))
    out = {"sample": HOT, "out_at": day(2), "back_at": day(4), "entered_at": day(4)}
    moved = {"sample": HOT, "at": day(16), "to_store": "OVN-40", "entered_at": day(16)}
    bring(on_sqlite, day(60), outings=[out], moves=[moved])
    with on_sqlite.reading() as connection:
        (blend,) = blends_of(connection, as_of=day(60))
        climate = load_climate(connection, "G-01", as_of=day(60), gap_days=0.25)
        (tin,) = gel_tins(blend, climate, connection)
    x = {c: (1 / (c + 273.15) - 1 / 296.15) / gels.GAS_CONSTANT_KJ for c in (23.0, 40.0, 50.0)}
    spent = {round(xi, 6): d for xi, d in zip(tin.gelled_x, tin.gelled_days, strict=True) if d > 0}
    assert spent == pytest.approx({round(x[50.0], 6): 14.0, 0.0: 2.0, round(x[40.0], 6): 5.0})
    assert sum(tin.fluid_days) == pytest.approx(14.0)
    assert tin.temperature_c == 40.0


def test_early_looks_say_what_is_missing(on_sqlite: Records) -> None:
    fill(on_sqlite)
    outcomes = {}
    for age in (0.5, 10, 29, 43, 120):
        row = told(on_sqlite, age).row
        outcomes[age] = row["outcome"]
        assert row["says"] or row["outcome"] == "estimated"
        json.dumps(row, allow_nan=False)
    assert outcomes == {
        0.5: "too_early",
        10: "lower_bound_only",
        29: "lower_bound_only",
        43: "lower_bound_only",
        120: "estimated",
    }
    assert told(on_sqlite, 10).row["says"].startswith("none of 12 tins has gelled")


def test_a_gel_at_the_storage_temperature_is_the_limit_reached(on_sqlite: Records) -> None:
    fill(on_sqlite)
    graded(on_sqlite, ("G-23-1", 119, 3))
    row = told(on_sqlite, 201).row
    assert row["outcome"] == "limit_reached"
    assert row["gelled_tins"] == 9


def test_the_store_spread_of_the_settings_counts(on_sqlite: Records) -> None:
    fill(on_sqlite)
    plain, spread = told(on_sqlite, store_spread=0.0).row, told(on_sqlite, store_spread=0.2).row
    assert plain["life_days"] == pytest.approx(spread["life_days"], rel=1e-6)
    assert plain["life_days_lower95"] > spread["life_days_lower95"]


def test_a_study_with_a_viscosity_limit_is_not_judged_by_gel(on_sqlite: Records) -> None:
    """The gel comes after the limit: its life would promise too much."""
    fill(on_sqlite, text=gels.gel_study(limits="gel_grade = 3\nviscosity_ratio = 2.0"))
    row = told(on_sqlite).row
    assert (row["outcome"], row["life_days"]) == ("too_early", None)


def test_one_viscosity_makes_it_a_study_of_viscosities(on_sqlite: Records) -> None:
    fill(on_sqlite)
    bring(on_sqlite, day(120), readings=[{"sample": HOT, "taken_at": day(1), "viscosity_mpas": 400.0}])
    with on_sqlite.reading() as connection:
        (before,), (after,) = (blends_of(connection, as_of=day(age)) for age in (119, 121))
    assert (before.gel_only, after.gel_only) == (True, False)


def test_what_has_not_changed_is_not_fitted_again_and_has_no_bands(
    on_sqlite: Records, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(on_sqlite)
    (first,) = refresh(on_sqlite, now=day(120), settings=SETTINGS)
    assert stored(on_sqlite, "expected_band") == []
    monkeypatch.setattr("stability.services.fitting.fitted", lambda *_: pytest.fail("fitted again"))
    (again,) = refresh(on_sqlite, now=day(121), settings=SETTINGS)
    assert (first.changed, again.changed, again.row) == (True, False, first.row)


def test_figures_and_report_show_lives_and_no_curve(on_sqlite: Records) -> None:
    fill(on_sqlite)
    found = told(on_sqlite)
    rates = arrhenius_view(found)
    assert [store.store for store in rates.stores] == ["OVN-40", "OVN-50"]
    assert {p.temperature_c: p.life_days for p in rates.line}[40] == pytest.approx(57.0, rel=0.1)
    curve = master_curve_view(on_sqlite, found, as_of=day(120), settings=SETTINGS)
    assert (curve.points, curve.curve, curve.limit_mpas) == ((), (), None)
    report = study_report(on_sqlite, study="G-01", as_of=day(120), settings=SETTINGS)
    (verdict,) = report.verdicts
    assert verdict.limit_words == "gel grade 3"
    (only,) = verdict.lives
    assert (only.criterion, only.life_days) == ("gel", found.row["life_days"])
    assert only.lower95_days == found.row["life_days_lower95"]


def test_each_tin_has_its_share_of_life_used(on_sqlite: Records) -> None:
    fill(on_sqlite)
    found = told(on_sqlite)
    shares, life = found.extra["shares"], found.row["life_days"]
    assert len(shares) == 12
    assert shares["G-23-1"]["used"] == pytest.approx(112.0 / life, rel=1e-3)
    assert shares["G-23-1"]["per_day"] == pytest.approx(1.0 / life, rel=1e-3)
    assert shares[HOT]["used"] > 0.7
    assert math.isclose(shares[HOT]["age_days"], 21.0, abs_tol=1e-6)


def test_a_fit_of_nothing_but_a_day_0_look_is_too_early(on_sqlite: Records) -> None:
    set_up(on_sqlite)
    graded(on_sqlite, (HOT, 0, 0))
    with on_sqlite.reading() as connection:
        (blend,) = blends_of(connection, as_of=day(1))
        climate = load_climate(connection, "G-01", as_of=day(1), gap_days=0.25)
        payload, bands = fitted(blend, climate, connection, SETTINGS.fit)
    assert bands == {}
    assert payload["row"]["outcome"] == "too_early"
    assert (payload["row"]["tins"], payload["row"]["readings"]) == (0, 0)
