"""The figures of a study: their views, their files, and the lives of the stores behind them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from stability.errors import InputError
from stability.records.engine import Records
from stability.services.curves import arrhenius_view, master_curve_view, write_figures
from stability.services.forecast import BlendForecast, forecasts
from tests.fleet import ENERGY_KJ_MOL, bring, day
from tests.lab import LIFE_DAYS, SETTINGS, lab

NOW = day(114)


@pytest.fixture
def records(tmp_path: Path) -> Iterator[Records]:
    found = lab(tmp_path)
    yield found
    found.close()


def forecast_of(records: Records, thinner: str) -> BlendForecast:
    found = forecasts(records, as_of=NOW, settings=SETTINGS, study="S-07")
    return next(f for f in found if f.thinner == thinner)


def test_every_store_shows_its_own_life_near_the_invented_one(records):
    view = arrhenius_view(forecast_of(records, "butyl acetate"))
    by_store = {store.store: store for store in view.stores}
    assert {name: store.tins for name, store in by_store.items()} == {"ROOM-23": 2, "OVN-40": 2, "OVN-50": 2}
    room = by_store["ROOM-23"]
    assert room.lower_days < LIFE_DAYS["butyl acetate"] < room.upper_days
    lives = [by_store[name].life_days for name in ("ROOM-23", "OVN-40", "OVN-50")]
    assert lives == sorted(lives, reverse=True)
    assert view.energy_kj_mol == pytest.approx(ENERGY_KJ_MOL, abs=4)


def test_a_store_whose_tins_hardly_moved_shows_no_life(records):
    stores = arrhenius_view(forecast_of(records, "xylene")).stores
    assert all(store.upper_days / store.lower_days < 25.1 for store in stores)


def test_the_line_runs_through_the_life_at_the_storage_temperature(records):
    forecast = forecast_of(records, "xylene")
    line = {point.temperature_c: point.life_days for point in arrhenius_view(forecast).line}
    assert line[20] > forecast.row["life_days"] > line[25]


def test_the_master_curve_holds_every_reading_at_its_dose(records):
    forecast = forecast_of(records, "xylene")
    view = master_curve_view(records, forecast, as_of=NOW, settings=SETTINGS)
    assert len(view.points) == forecast.row["readings"]
    room = [p for p in view.points if p.store == "ROOM-23"]
    hot = [p for p in view.points if p.store == "OVN-50"]
    assert max(p.dose_days for p in room) == pytest.approx(112, abs=0.2)
    assert max(p.dose_days for p in hot) > 500
    assert view.limit_mpas == pytest.approx(800, rel=0.03)
    assert view.today_days == pytest.approx(114)


def test_two_figures_per_blend_parse_as_xml(records, tmp_path):
    files = write_figures(records, tmp_path / "out" / "figures", study="S-07", as_of=NOW, settings=SETTINGS)
    assert len(files) == 6
    for file in files:
        assert ET.parse(file).getroot().tag.endswith("svg")  # noqa: S314 - we wrote it
        assert file.name.isascii()
        assert " " not in file.name
        assert "sa" + "fe" not in file.read_text("utf-8").lower()
    assert sum(file.name.endswith("-master-curve.svg") for file in files) == 3


def test_names_that_read_alike_as_files_do_not_overwrite_each_other(records, tmp_path):
    rows = [
        {"sample": code, "study": "S-07", "product": product, "product_lot": "L", "store": "ROOM-23",
         "placed_at": day(0)}
        for code, product in (("A-1", "樹脂"), ("A-2", "樹木"), ("A-3", "../../etc"))
    ]  # fmt: skip
    bring(records, day(1), samples=rows)
    read = [
        {"sample": row["sample"], "taken_at": day(age), "viscosity_mpas": 400.0, "entered_at": day(age)}
        for row in rows
        for age in (2, 9)
    ]
    bring(records, day(114), readings=read)
    files = write_figures(records, tmp_path / "figures", study="S-07", as_of=day(115), settings=SETTINGS)
    assert len(files) == len({*files}) == 9
    assert all(file.parent == tmp_path / "figures" and file.exists() for file in files)


def test_a_folder_that_cannot_be_is_told(records, tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="figures"):
        write_figures(records, tmp_path / "file" / "x", study="S-07", as_of=NOW, settings=SETTINGS)
