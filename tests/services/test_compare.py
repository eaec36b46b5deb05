"""Ranking thinners: what may be ranked, by which bound, against which reference."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from stability.errors import InputError
from stability.records.engine import Records
from stability.services.compare import Comparison, compare
from stability.services.statement import Asked, draft_statement
from tests.fleet import bring, day, samples, set_up, study
from tests.lab import SETTINGS, lab, lab_rows

AFTER = day(114)
DRY = study(extra="").replace("gel_grade = 2", "gel_grade = 2\ndry_through_ratio = 1.25")


@pytest.fixture
def records(tmp_path: Path) -> Iterator[Records]:
    found = lab(tmp_path)
    yield found
    found.close()


def compared(records: Records, **asked: Any) -> Comparison:
    return compare(records, **({"study": None, "as_of": AFTER, "settings": SETTINGS} | asked))


def by_thinner(found: Comparison) -> dict[str | None, Any]:
    return {line.forecast.thinner: line for line in found.lines}


def test_aromatic_blends_are_ranked_by_the_next_tins_lower_bound(records):
    found = compared(records)
    ranked = [line for line in found.lines if line.rank is not None]
    assert [line.rank for line in ranked] == [1, 2]
    bounds = [line.forecast.row["life_days_lower95_next_tin"] for line in ranked]
    assert bounds == sorted(bounds, reverse=True)
    assert bounds == [line.lower95_days for line in ranked]
    best, second = (f"{line.forecast.key.words}, {line.forecast.pack}: " for line in ranked)
    assert found.first_choice.startswith(best)
    assert found.fallback.startswith(second)
    assert "sds" in " ".join(found.cautions).lower()


def test_an_ester_without_its_own_finished_test_is_shown_and_never_ranked(records):
    ester = by_thinner(compared(records))["butyl acetate"]
    assert ester.rank is None
    weeks = -(-(365 - 112) // 7)
    assert ester.remark == (
        f"not recommendable yet: an ester without a finished test of this blend, test takes {weeks} weeks"
    )
    assert compared(records).lines[-1].remark is not None


def test_an_ester_alone_gives_no_choice(on_sqlite):
    lab_rows(on_sqlite, thinner="butyl acetate")
    found = compared(on_sqlite)
    assert found.reference is None
    assert found.first_choice == found.fallback == "none of these blends carries a recommendation yet"


def test_a_blend_that_no_longer_dries_is_not_ranked_whatever_its_viscosity(on_sqlite):
    lab_rows(on_sqlite, thinner="xylene", text=DRY)
    assert by_thinner(compared(on_sqlite))["xylene"].rank == 1
    late = {
        "sample": "S-07-X231",
        "taken_at": day(113),
        "humidity_pct": 50.0,
        "dry_through_h": 14.0,
        "entered_at": day(114),
    }
    bring(on_sqlite, day(114), cures=[late])
    lost = by_thinner(compared(on_sqlite))["xylene"]
    assert (lost.rank, lost.remark) == (None, "cure lost: +40 % at day 113, 50 % RH")
    assert compared(on_sqlite).do_not == f"{lost.forecast.key.words}, {lost.forecast.pack} ({lost.remark})"


def test_a_blend_that_crossed_its_limit_is_not_ranked(on_sqlite):
    lab_rows(on_sqlite, thinner="xylene")
    rows = [
        {"sample": "S-07-X231", "taken_at": day(age), "viscosity_mpas": 900.0, "entered_at": day(age)}
        for age in (113, 113.5)
    ]
    bring(on_sqlite, day(114), readings=rows)
    line = by_thinner(compared(on_sqlite))["xylene"]
    assert (line.rank, line.remark) == (None, "limit reached at the storage temperature")
    assert "limit reached" in compared(on_sqlite).do_not


def test_the_first_aromatic_blend_is_the_reference_unless_another_is_asked_for(records):
    usual, asked = compared(records), compared(records, reference="butyl acetate")
    assert usual.reference is not None
    assert asked.reference is not None
    assert usual.reference.thinner in ("xylene", "naphtha")
    assert asked.reference.thinner == "butyl acetate"
    for found in (usual, asked):
        for line in found.lines:
            if line.forecast is found.reference:
                assert line.ratio is None
            elif line.ratio is not None:
                lives = [f.row["life_days"] for f in (line.forecast, found.reference)]
                assert line.ratio == pytest.approx(lives[0] / lives[1], rel=1e-3)
                assert line.ratio_lower < line.ratio < line.ratio_upper


def test_a_reference_that_is_not_there_is_an_error_that_names_those_that_are(records):
    with pytest.raises(InputError, match="no blend with the thinner 'water'") as refused:
        compared(records, reference="water")
    assert refused.value.hint == "there are: butyl acetate, naphtha, xylene"


def test_flash_points_and_classes_stand_beside_the_figures(records):
    lines = by_thinner(compared(records))
    assert (lines["xylene"].flash_c, lines["xylene"].thinner_class) == (27.0, "aromatic")
    assert lines["butyl acetate"].thinner_class == "ester"


def test_a_study_without_readings_has_nothing_to_compare(on_sqlite):
    set_up(on_sqlite, tins=samples())
    with pytest.raises(InputError, match="no readings to compare"):
        compared(on_sqlite)


def test_too_early_is_a_remark_and_no_rank(records):
    found = compared(records, as_of=day(0) + timedelta(hours=3))
    assert {line.rank for line in found.lines} == {None}
    assert all((line.remark or "").startswith("too early: ") for line in found.lines)


def test_months_are_those_that_a_statement_of_the_same_lot_carries(records):
    line = by_thinner(compared(records))["xylene"]
    drafted = draft_statement(records, Asked(thinner="xylene"), as_of=AFTER, settings=SETTINGS)
    assert (line.months, line.rung) == (drafted.months, drafted.rung)
    assert line.capped_by in [cap.words for cap in drafted.caps]
    assert (
        f"{line.months} months (rung {line.rung}), held back by {line.capped_by}"
        in compared(records).first_choice
    )


def test_a_lot_that_no_statement_would_carry_shows_its_bound_and_no_months(records):
    ester = by_thinner(compared(records))["butyl acetate"]
    assert (ester.months, ester.capped_by) == (None, None)
    assert ester.lower95_days > 0


def test_the_fallback_is_another_blend_and_not_another_lot_of_the_first(records):
    found = compared(records)
    first, second = (words.split(":")[0] for words in (found.first_choice, found.fallback))
    assert first != second


def test_flash_classes_stand_beside_the_flash_points(records):
    lines = by_thinner(compared(records))
    assert {name: line.flash_class for name, line in lines.items()} == {
        "xylene": "23 to 60 °C",
        "naphtha": "23 to 60 °C",
        "butyl acetate": "below 23 °C",
    }
