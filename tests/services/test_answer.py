"""The season answer of a study: bound, caps and heat of its blends in a customer's warehouse."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from stability.errors import InputError
from stability.planning.season import lives_by_month
from stability.records.engine import Records
from stability.reports.answer import AnswerSheet
from stability.services.answer import Warehouse, answer_sheet
from stability.services.statement import Asked, prepare
from tests.fleet import day
from tests.lab import SETTINGS, lab

AFTER = day(114)
MEANS = (20.0, 22.0, 25.0, 29.0, 33.0, 36.0, 38.0, 37.0, 33.0, 29.0, 24.0, 21.0)


@pytest.fixture
def records(tmp_path: Path) -> Iterator[Records]:
    found = lab(tmp_path)
    yield found
    found.close()


def answered(records: Records, warehouse: Warehouse | None, **asked: Any) -> AnswerSheet:
    wanted = Asked(**({"thinner": "xylene"} | asked))
    return answer_sheet(records, wanted, warehouse, as_of=AFTER, settings=SETTINGS)


def test_months_follow_the_filling_and_never_pass_what_the_statement_would_carry(records):
    sheet = answered(records, Warehouse(MEANS, 6))
    carried = prepare(records, Asked(thinner="xylene"), as_of=AFTER, settings=SETTINGS)
    assert sheet.reasons == ()
    assert sheet.asked is not None
    assert sheet.asked.month == 6
    months = [line.months for line in sheet.lines]
    assert None not in months
    assert max(months) <= carried.view.months
    assert months[5] < months[9], "June burns what October keeps"
    assert [line.mean_c for line in sheet.lines] == list(MEANS)


def test_the_lives_are_those_of_the_lower_bound_at_the_worse_end_of_the_energy(records):
    sheet = answered(records, Warehouse(MEANS))
    ready = prepare(records, Asked(thinner="xylene"), as_of=AFTER, settings=SETTINGS)
    (lot,) = ready.evidence.lots
    energy = lot.forecast.row["activation_energy_kj_mol"]
    half = 1.645 * lot.forecast.row["activation_energy_se_kj_mol"]
    lives = lives_by_month(
        lot.bound_days, MEANS, storage_c=23.0, energies_kj_mol=[energy - half, energy + half]
    )
    assert [line.days for line in sheet.lines] == pytest.approx(lives)
    plain = lives_by_month(lot.bound_days, MEANS, storage_c=23.0, energies_kj_mol=[energy])
    assert all(worst <= middle for worst, middle in zip(lives, plain, strict=True))
    assert "hide the season" in sheet.yearly_words
    assert "filled on the 1st" in sheet.convention


def test_without_a_warehouse_it_is_the_storage_temperature_all_the_year(records):
    sheet = answered(records, None)
    carried = prepare(records, Asked(thinner="xylene"), as_of=AFTER, settings=SETTINGS)
    assert {line.months for line in sheet.lines} == {carried.view.months}
    assert "one temperature all the year" in sheet.yearly_words


def test_in_a_cool_cellar_no_more_is_promised_than_the_statement_carries(records):
    cellar = answered(records, Warehouse((10.0,) * 12))
    at_storage = answered(records, None)
    assert [line.months for line in cellar.lines] == [line.months for line in at_storage.lines]
    assert all(a.days > b.days for a, b in zip(cellar.lines, at_storage.lines, strict=True))


def test_an_ester_without_a_finished_test_gets_its_reasons_and_no_months(records):
    sheet = answered(records, Warehouse(MEANS, 7), thinner="butyl acetate")
    assert {line.months for line in sheet.lines} == {None}
    assert any("ester" in reason for reason in sheet.reasons)


def test_a_warehouse_warmer_than_any_store_is_not_answered(records):
    sheet = answered(records, Warehouse((20.0,) * 11 + (60.0,)))
    assert any("warmest store tested" in reason for reason in sheet.reasons)
    assert {line.months for line in sheet.lines} == {None}


def test_a_pack_that_was_not_tested_gets_no_months(records):
    sheet = answered(records, Warehouse(MEANS), pack="HDPE bottle 1 L")
    assert any("pack" in reason for reason in sheet.reasons)
    assert {line.months for line in sheet.lines} == {None}


@pytest.mark.parametrize(
    "means", [(), (20.0,) * 11, (20.0,) * 13, (20.0,) * 11 + (99.0,), (float("nan"),) * 12]
)
def test_a_warehouse_is_twelve_temperatures_that_can_be(means):
    with pytest.raises(InputError):
        Warehouse(means)
