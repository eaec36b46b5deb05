"""What an entry is judged by beside its band: twins, tins of the store, weighings, other cups."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from stability.bench.labels import labelled
from stability.bench.plausible import DoubtKind
from stability.errors import InputError
from stability.services.bring import bring_rows
from stability.services.entry import ReadingEntry
from stability.services.record import Logged, log_reading, refuse
from stability.services.round_codes import tin_of_code
from stability.services.surroundings import ways_of
from tests.builders import BERLIN, PLACED, Bench, bench, expect
from tests.round_bench import DAY_21, code, round_bench


@pytest.fixture
def morning(tmp_path: Path) -> Iterator[Bench]:
    made = round_bench(tmp_path)
    yield made
    made.records.close()


def log(made: Bench, sample: str, viscosity: float | None, **given: object) -> Logged:
    entry = ReadingEntry(sample=sample, viscosity_mpas=viscosity, **given)  # type: ignore[arg-type]
    return log_reading(made.records, entry, person="Mira", now=DAY_21, zone=BERLIN, on_doubt=refuse)


def add_tin(made: Bench, sample: str, like: str, store: str = "ROOM-23") -> None:
    row = {
        "sample": sample,
        "study": "S-08",
        "product": "Heron-A",
        "product_lot": "H-0417",
        "level_pct": 20.0,
        "pack": "lined tin 250 mL",
        "thinner": like,
        "store": store,
        "placed_at": PLACED,
    }
    bring_rows(made.records, {"samples": [row]}, person="Lena", now=DAY_21, zone=BERLIN)


def test_a_first_reading_is_judged_by_the_tins_of_its_blend_that_stood_alike(morning: Bench) -> None:
    add_tin(morning, "NEW-1", "xylene")
    assert log(morning, code("xylene room"), 312).stored
    assert (
        log(morning, "NEW-1", 450)
        .doubts[-1]
        .sentence.startswith("450 mPa·s is outside what the same blend beside it lets expect")
    )
    assert log(morning, "NEW-1", 3120).doubts[0].kind is DoubtKind.TEN_TIMES
    assert log(morning, "NEW-1", 315).stored


def test_a_tin_of_another_store_says_nothing_of_one_that_has_aged(morning: Bench) -> None:
    add_tin(morning, "NEW-1", "xylene", "OVN-50")
    assert log(morning, code("xylene room"), 312).stored
    assert log(morning, "NEW-1", 450).stored


def test_the_tin_of_the_shelf_that_a_value_would_fit_is_named_before_it_was_read(morning: Bench) -> None:
    doubts = log(morning, code("xylene room"), 334, temperature_c=23.0).doubts
    assert doubts[0].kind is DoubtKind.NEIGHBOUR
    assert f"it would fit {code('acetate room')}" in doubts[0].sentence


def test_the_row_above_is_told_by_its_very_digits(morning: Bench) -> None:
    assert log(morning, code("acetate room"), 336).stored
    doubts = log(morning, code("xylene room"), 336, temperature_c=23.0).doubts
    assert f"the same value was entered for {code('acetate room')}: the row above?" == doubts[0].sentence


def test_a_heavier_tin_is_another_tin_or_lid(morning: Bench) -> None:
    doubts = log(morning, code("xylene room"), 312, temperature_c=23.0, mass_g=231.0).doubts
    assert [doubt.kind for doubt in doubts] == [DoubtKind.LID]


def test_every_other_cup_in_its_window_is_a_way(tmp_path: Path) -> None:
    entry = ReadingEntry(sample="x", cup="Ford 4", efflux_s=28.0, density_g_ml=1.0)
    named = {
        way.words.split(" from ")[1].split(" and ")[0]: way.viscosity_mpas for way in ways_of(entry, None)
    }
    assert "Ford 4" not in named
    assert named["Ford 5"] == pytest.approx(12.1 * (28 - 2.0))


def test_over_range_below_the_band_speaks_against_nothing(tmp_path: Path) -> None:
    made = bench(tmp_path)
    expect(made.records, "0417-K", [(0, 6.0, 0.02), (40, 6.2, 0.02)])
    assert log(made, "0417-K", ">5000").doubts  # type: ignore[arg-type]
    assert not log(made, "0417-K", ">300").doubts  # type: ignore[arg-type]
    made.records.close()


class TestCodes:
    def found(self, morning: Bench, typed: str) -> str:
        with morning.records.reading() as connection:
            return tin_of_code(connection, typed, at=DAY_21 + timedelta(days=1)).sample

    @pytest.mark.parametrize("typed", ["4K7M-1", "4k7m-1", "4K7M1", " 4k7m 1 "])
    def test_case_and_hyphens_do_not_count(self, morning: Bench, typed: str) -> None:
        assert self.found(morning, typed) == "4K7M-1"

    def test_a_label_may_add_a_check_character_to_a_code_without_one(self, morning: Bench) -> None:
        add_tin(morning, "T12", "xylene")
        assert self.found(morning, "T12") == "T12"
        assert self.found(morning, labelled("T12").lower()) == "T12"

    @pytest.mark.parametrize("typed", ["", "---", "4K7M", "4K7M-2", "K47M-1", "\u0663", "x" * 300])
    def test_what_is_no_code_is_refused_in_one_line(self, morning: Bench, typed: str) -> None:
        with pytest.raises(InputError) as caught:
            self.found(morning, typed)
        assert len(caught.value.faults) == 1
