"""What must fail loudly: claims that nobody may get, asked for through the command."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from stability.records.migrate import bring_up_to_date
from tests.fleet import PLACED, bring, day, set_up
from tests.lab import TIN
from tests.statement_desk import ANSWER, Desk, desk_in

STUDY = (
    'code = "S-07"\ntitle = "invented"\ntarget_life_days = 365\nstorage_c = 23.0\n'
    'owner = "lena@lab.example"\n[limits]\n{limits}\n'
)
STORES = {"ROOM-23": 23.0, "OVN-40": 40.0, "OVN-50": 50.0, "OVN-60": 60.0}


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Desk:
    return desk_in(tmp_path, monkeypatch, capsys)


@pytest.fixture
def heated(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    """Return what makes a laboratory whose tins stand in some stores only."""

    def make(*stores: str, limits: str = "viscosity_ratio = 2.0", thinner_class: str = "aromatic") -> Desk:
        records, _ = bring_up_to_date(str(tmp_path / "lab.db"))
        set_up(records, text=STUDY.format(limits=limits))
        tins = [_tin(store, at) for store in stores for at in (1, 2, 3)]
        rows = [_reading(tin, age, at) for at, tin in enumerate(tins) for age in (0, 14, 28, 56, 84, 112)]
        ovens = [{"store": "OVN-60", "temperature_c": 60.0, "tolerance_c": 2.0}]
        classes = [{"thinner": "xylene", "class": thinner_class, "flash_c": 27.0}]
        bring(records, day(114), stores=ovens, thinners=classes, samples=tins, readings=rows)
        records.close()
        return desk_in(tmp_path, monkeypatch, capsys, made=True)

    return make


def _tin(store: str, at: int) -> dict[str, Any]:
    return {
        "sample": f"T{store[-2:]}{at}", "study": "S-07", "product": "Heron-A", "product_lot": "H-0417",
        "thinner": "xylene", "thinner_lot": "X-11", "level_pct": 20.0, "pack": TIN, "store": store,
        "placed_at": PLACED,
    }  # fmt: skip


def _reading(tin: dict[str, Any], age: int, at: int) -> dict[str, Any]:
    faster = min(1.12 ** (STORES[tin["store"]] - 23.0), 12.0)
    wobble = 1 + 0.004 * (at % 3)
    return {
        "sample": tin["sample"],
        "taken_at": day(age),
        "viscosity_mpas": round(400.0 * 2.0 ** (age * faster / 2500.0) * wobble, 1),
        "gel_grade": 0,
        "entered_at": day(age) + timedelta(hours=1),
    }


def _refused(desk: Desk, *more: str) -> str:
    code, out, err = desk.types(
        "statement", "draft", "S-07", "--thinner", "xylene", "--pack", TIN, "--person", "Lena V.", *more
    )
    assert code == 3, out
    written = desk.draft(*ANSWER, *more)
    assert written[0] == 3
    assert not (desk.folder / "st.draft").exists()
    assert "REFUSED" in out
    return " ".join((out + err + written[2]).split())


def test_months_from_one_hot_store_only(heated):
    told = _refused(heated("OVN-60"), "--months", "6")
    assert "one temperature only, and not the storage temperature" in told
    assert "no store within 2.5 °C of the storage temperature 23 °C" in told


def test_months_from_two_hot_stores_without_one_at_the_storage_temperature(heated):
    told = _refused(heated("OVN-40", "OVN-60"), "--months", "6")
    assert "no store within 2.5 °C of the storage temperature 23 °C" in told
    assert "put two tins at 23 °C and read them" in told


def test_a_claim_in_another_pack_than_the_one_tested(desk):
    code, out, _ = desk.types("statement", "draft", "S-07", "--thinner", "xylene", "--pack", "HDPE bottle")
    assert code == 3
    assert "the pack HDPE bottle was not tested" in " ".join(out.split())


def test_a_claim_without_a_criterion(heated):
    told = _refused(heated("ROOM-23", "OVN-40", "OVN-50", limits="dry_through_ratio = 1.5"), "--months", "6")
    assert "no criterion: a life without its limit is not a number" in told


def test_an_ester_before_its_own_finished_test(desk):
    code, _, err = desk.draft(thinner="butyl acetate")
    assert code == 3
    assert "ester thinner without a finished test of this very blend" in err


def test_conditional_readings_carry_nothing_until_they_are_released(desk):
    from stability.records.engine import open_records

    records = open_records(str(desk.folder / "lab.db"))
    bring(
        records,
        day(114),
        instruments=[{"instrument": "VIS-1", "kind": "rotational"}],
        calibrations=[
            {"instrument": "VIS-1", "at": day(-30), "due_at": day(110), "as_found_pct": 0.1},
        ],
        readings=[
            {
                "sample": "S-07-X231",
                "taken_at": day(113),
                "viscosity_mpas": 436.0,
                "instrument": "VIS-1",
                "entered_at": day(113.1),
            }
        ],
    )
    records.close()
    code, _, err = desk.draft(*ANSWER)
    assert code == 3
    assert "1 conditional readings" in err
