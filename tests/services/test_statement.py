"""Drafts of statements: what carries months, and what refuses them."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from stability.errors import InputError
from stability.records.engine import Records
from stability.records.events import events_of
from stability.reports.text import statement_draft_text
from stability.reports.view import StatementDraft
from stability.services.compare import compare
from stability.services.release import Wanted, release
from stability.services.statement import Asked, draft_statement, note_draft
from tests.fleet import bring, day, study
from tests.lab import SETTINGS, TIN, lab, lab_rows

AFTER = day(114)


@pytest.fixture
def records(tmp_path: Path) -> Iterator[Records]:
    found = lab(tmp_path)
    yield found
    found.close()


def drafted(records: Records, at: datetime = AFTER, **asked: Any) -> StatementDraft:
    return draft_statement(records, Asked(**asked), as_of=at, settings=SETTINGS)


def reasons(view: StatementDraft) -> str:
    return " | ".join(f"{r.reason} – {r.lifted_by}" for r in view.refusals)


def test_twice_the_real_time_carries_six_months_at_day_112(records):
    view = drafted(records, thinner="xylene", pack=TIN)
    assert (view.months, view.rung, view.refusals) == (6, 2, ())
    assert view.real_time_days == pytest.approx(112, abs=0.1)
    assert min(cap.months for cap in view.caps) == pytest.approx(2 * 112 / 30.4375, abs=0.01)
    assert view.criterion_words == "viscosity 2 × the day-0 value or gel grade 2"
    assert "H-0417 with X-11 (112 d of real time" in view.lots_words
    assert "at most 6 months" in statement_draft_text(view).lower()


def test_six_months_asked_on_day_90_are_refused_with_the_day_they_would_pass(records):
    view = drafted(records, day(90), thinner="xylene", months=6)
    assert view.months is None
    assert "6 months asked, 3 carried: 5.52 months by twice the real time covered" in reasons(view)
    assert "passes with a reading at day 92 or later, 8 days on" in reasons(view)


def test_less_than_what_is_carried_may_be_asked_for(records):
    assert drafted(records, thinner="xylene", months=2).months == 2


def test_an_ester_without_its_own_finished_test_stays_on_rung_one(records):
    view = drafted(records, thinner="butyl acetate")
    assert (view.months, view.rung) == (None, 1)
    assert "ester thinner without a finished test of this very blend" in reasons(view)


def test_one_heated_store_carries_no_more_than_real_time(records):
    view = drafted(records, thinner="naphtha", months=6)
    assert view.months is None
    assert "two heated stores" in reasons(view)
    assert drafted(records, thinner="naphtha").months == 3


def test_one_heated_store_alone_carries_nothing(on_sqlite):
    lab_rows(on_sqlite, thinner="xylene", text=study(extra="").replace("storage_c = 23.0", "storage_c = 5.0"))
    view = drafted(on_sqlite, thinner="xylene")
    assert view.months is None
    assert "no store within 2.5 °C of the storage temperature 5 °C" in reasons(view)


def test_a_study_without_a_limit_of_the_liquid_has_no_criterion(on_sqlite):
    text = study(extra="").replace("viscosity_ratio = 2.0\ngel_grade = 2\n", "dry_through_ratio = 1.25\n")
    lab_rows(on_sqlite, thinner="xylene", text=text)
    view = drafted(on_sqlite, thinner="xylene")
    assert view.months is None
    assert view.criterion_words == "none"
    assert "no criterion" in reasons(view)
    asked = drafted(on_sqlite, thinner="xylene", limit_ratio=2.0)
    assert asked.criterion_words == "viscosity 2 × the day-0 value"
    assert asked.months == 6


def test_a_pack_that_was_not_tested_gets_no_months_from_another(records):
    view = drafted(records, thinner="xylene", pack="HDPE bottle 250 mL")
    assert view.months is None
    assert "the pack HDPE bottle 250 mL was not tested" in reasons(view)
    assert "NOT TESTED" in view.pack_words


def test_a_blend_that_no_longer_dries_gets_no_months(on_sqlite):
    text = study(extra="").replace("gel_grade = 2\n", "gel_grade = 2\ndry_through_ratio = 1.04\n")
    lab_rows(on_sqlite, thinner="xylene", text=text)
    assert "cure lost: +5 % at day 112" in reasons(drafted(on_sqlite))


def _second_lot(records: Records, *grades: int) -> None:
    tin = {"sample": "N-1", "study": "S-07", "product": "Heron-A", "product_lot": "H-0500",
           "thinner": "xylene", "thinner_lot": "X-11", "level_pct": 20.0, "pack": TIN, "store": "ROOM-23",
           "placed_at": day(80)}  # fmt: skip
    bring(records, day(81), samples=[tin])
    read = [
        {"sample": "N-1", "taken_at": day(80 + 7 * place), "viscosity_mpas": None if grade else 400.0,
         "gel_grade": grade, "entered_at": day(80 + 7 * place)}
        for place, grade in enumerate(grades)
    ]  # fmt: skip
    bring(records, day(113), readings=read)


def test_a_lot_that_gelled_before_a_fit_was_possible_is_the_worst_lot(records):
    _second_lot(records, 0, 0, 4)
    view = drafted(records, thinner="xylene")
    assert view.months is None
    assert view.lower95_days == pytest.approx(7)
    assert view.lots_words.startswith("H-0500")
    assert drafted(records, thinner="xylene", lots=("H-0417",)).months == 6


def test_a_lot_that_says_nothing_yet_is_left_out_and_named(records):
    _second_lot(records, 0, 0)
    view = drafted(records, thinner="xylene")
    assert view.months == 6
    assert "H-0500" not in view.lots_words
    assert any(line.startswith("lot H-0500") for line in view.not_covered)


def test_a_thinner_of_unknown_class_could_be_an_ester(on_sqlite):
    lab_rows(on_sqlite, thinner="xylene")
    tin = {"study": "S-07", "product": "Heron-A", "product_lot": "H-0417", "thinner": "mystery",
           "level_pct": 20.0, "pack": TIN, "store": "ROOM-23", "placed_at": day(0)}  # fmt: skip
    bring(on_sqlite, day(1), samples=[{"sample": "M-1", **tin}])
    taken = {"sample": "M-1", "taken_at": day(0.5), "viscosity_mpas": 400.0, "entered_at": day(0.6)}
    bring(on_sqlite, day(114), readings=[taken])
    view = drafted(on_sqlite, thinner="mystery")
    assert view.months is None
    assert view.rung <= 1
    assert "the class of the thinner mystery is not on record" in reasons(view)


def test_a_change_of_method_between_the_readings_is_a_step(records):
    change = {"at": day(50), "what": "spindle", "study": "S-07", "entered_at": day(115)}
    bring(records, day(115), changes=[change])
    assert "a step in the readings is not resolved" in reasons(
        drafted(records, thinner="xylene", at=day(116))
    )
    assert drafted(records, thinner="xylene").months == 6, "nobody knew of it then"


def test_a_bridge_reading_resolves_a_recorded_step(records):
    hour = timedelta(hours=1)
    change = {"at": day(56) + 2 * hour, "what": "spindle", "study": "S-07", "entered_at": day(56) + 3 * hour}
    bring(records, day(115), changes=[change])
    assert "a bridge reading" in reasons(drafted(records, day(115), thinner="xylene"))
    again = {"sample": "S-07-X231", "taken_at": day(56) + 4 * hour, "viscosity_mpas": 436.0}
    bring(records, day(116), readings=[{**again, "entered_at": day(115) + hour}])
    view = drafted(records, day(116), thinner="xylene")
    assert "step" not in reasons(view)
    assert view.months is not None


def test_a_bridge_over_another_day_is_none(records):
    change = {"at": day(57), "what": "oil", "entered_at": day(57)}
    late = {"sample": "S-07-X231", "taken_at": day(58), "viscosity_mpas": 436.0, "entered_at": day(58)}
    bring(records, day(115), changes=[change], readings=[late])
    assert "a step in the readings is not resolved" in reasons(drafted(records, day(116), thinner="xylene"))


def test_readings_after_a_lapsed_certificate_are_conditional_until_somebody_releases_them(records):
    tables = {
        "instruments": [{"instrument": "VIS-1", "kind": "rotational", "factor": 6.0}],
        "calibrations": [{"instrument": "VIS-1", "at": day(0), "due_at": day(100)}],
        "readings": [
            {"sample": "S-07-X231", "taken_at": day(113), "viscosity_mpas": 436.0, "instrument": "VIS-1",
             "entered_at": day(113.1)},
        ],
    }  # fmt: skip
    bring(records, day(114), instruments=tables["instruments"])
    bring(records, day(114), calibrations=tables["calibrations"], readings=tables["readings"])
    at = day(114) + timedelta(hours=1)
    assert "1 conditional readings" in reasons(drafted(records, at, thinner="xylene"))
    certified = [{"instrument": "VIS-1", "at": day(115), "due_at": day(400), "as_found_pct": 0.8}]
    bring(records, day(115), calibrations=certified)
    assert "1 conditional readings" in reasons(drafted(records, day(115.5), thinner="xylene"))
    why = "found +0.8 %, within 1 %"
    release(records, Wanted(instrument="VIS-1"), reason=why, person="Tomas B.", now=day(115.6))
    assert "conditional" not in reasons(drafted(records, day(116), thinner="xylene"))
    then = drafted(records, day(115.5), thinner="xylene")
    assert "1 conditional readings" in reasons(then), "as known then"


def test_a_narrower_limit_is_a_shorter_claim(records):
    view = drafted(records, thinner="xylene", limit_ratio=1.1)
    assert view.criterion_words.startswith("viscosity 1.1 × the day-0 value")
    assert view.months in (None, 1, 2, 3)
    assert view.lower95_days < 160


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({}, "more than one blend fits"),
        ({"product": "Heron-A", "level_pct": 20.0}, "more than one blend fits"),
        ({"thinner": "tar"}, "no blend with readings fits"),
        ({"thinner": "xylene", "lots": ("H-1\x1b[31m",)}, "no readings of lot"),
        ({"study": "S-99"}, "S-99"),
    ],
)
def test_what_is_not_clear_is_asked_back_with_the_choices(records, asked, told):
    with pytest.raises(InputError, match=told) as refused:
        drafted(records, **asked)
    assert refused.value.hint
    assert "\x1b" not in str(refused.value)


def test_the_choices_are_listed(records):
    with pytest.raises(InputError) as refused:
        drafted(records)
    assert "Heron-A + xylene 20 %; " in f"{refused.value.hint}; "
    assert "Heron-A + butyl acetate 20 %" in refused.value.hint


def test_names_are_found_however_they_are_written_and_lots_narrow_the_choice(records):
    assert drafted(records, thinner=" XYLENE", lots=("H-0417",)).months == 6
    assert drafted(records, thinner="xylene", lots=("X-11", "H-0417"), additive="none").months == 6


def test_drafting_stores_nothing_but_the_act_of_a_person(records):
    view = drafted(records, thinner="xylene", months=6)
    with records.reading() as connection:
        before = events_of(connection)
    note_draft(records, view, person="Tomas", now=AFTER)
    with records.reading() as connection:
        after = events_of(connection)
    (act,) = after[len(before) :]
    assert (act.verb, act.subject, act.person) == ("drafted statement", "S-07", "Tomas")
    assert json.loads(act.details)["months"] == 6


def test_the_same_evidence_gives_the_same_digest(records):
    first, second = drafted(records, thinner="xylene"), drafted(records, thinner="xylene", months=2)
    assert first.digest == second.digest
    assert first.digest != drafted(records, thinner="naphtha").digest


def test_compare_shows_the_rung_of_the_figure_beside_it(records):
    found = compare(records, study="S-07", as_of=AFTER, settings=SETTINGS)
    rungs = {line.forecast.thinner: line.rung for line in found.lines}
    # the figure is what a statement would carry: naphtha's, with one heated store, is covered by real time
    assert rungs == {"xylene": 2, "naphtha": 3, "butyl acetate": 1}


def test_nothing_forbidden_is_said(records):
    word = "sa" + "fe"
    for thinner in ("xylene", "naphtha", "butyl acetate"):
        assert word not in statement_draft_text(drafted(records, thinner=thinner)).lower()
