"""The board out of records: what it holds, of which study, as known when."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from stability.board.view import BoardView, to_json
from stability.records.engine import Records
from stability.services.board import board_view
from stability.services.studies import file_study
from stability.services.sweep import sweep
from tests.fleet import ZONE, bring, day, samples, set_up, study
from tests.lab import SETTINGS, lab


@pytest.fixture
def records(tmp_path: Path) -> Iterator[Records]:
    found = lab(tmp_path)
    yield found
    found.close()


def seen(records: Records, age: float = 114, **asked: object) -> BoardView:
    return board_view(records, as_of=day(age), settings=SETTINGS, **asked)  # type: ignore[arg-type]


def test_the_board_holds_blends_stores_and_the_standing_caution(records):
    view = seen(records)
    assert {line.thinner for line in view.blends} == {"xylene", "naphtha", "butyl acetate"}
    assert [line.store for line in view.stores] == ["OVN-40", "OVN-50", "ROOM-23"]
    assert sum(line.samples for line in view.stores) == 16
    assert view.cautions
    assert view.zone_name == "Europe/Berlin"
    assert view.invented
    assert (view.samples, view.samples_total) == ((), None)
    json.dumps(to_json(view), allow_nan=False)


def test_asked_for_one_study_it_lists_its_tins_too(records):
    view = seen(records, study="S-07", samples=True)
    assert view.title == "S-07: invented"
    assert view.samples_total == len(view.samples) == 16
    used = [line.life_used or 0.0 for line in view.samples]
    assert used == sorted(used, reverse=True)


def test_another_study_does_not_show(records):
    set_up_other(records)
    assert {line.study for line in seen(records, study="S-07").blends} == {"S-07"}
    assert seen(records, study="S-08", samples=True).samples_total == 6


def set_up_other(records: Records) -> None:
    file_study(records, study("S-08"), person="Lena", now=day(1), zone=ZONE)
    bring(records, day(1), samples=[{**tin, "entered_at": day(1)} for tin in samples("S-08")])


def test_a_closed_study_leaves_the_board_and_is_still_shown_by_name(records):
    closed = study(extra=f"closed_at = {day(115).isoformat()}")
    file_study(records, closed, person="Lena", now=day(115), zone=ZONE)
    assert seen(records, 116).blends == ()
    assert len(seen(records, 116, study="S-07").blends) == 3
    assert len(seen(records, 114).blends) == 3


def test_alerts_and_the_last_look_show_what_was_known_then(records):
    assert seen(records).alerts == ()
    gelled = {"sample": "S-07-X501", "taken_at": day(113), "gel_grade": 4, "entered_at": day(113)}
    bring(records, day(114), readings=[gelled])
    outcome = sweep(records, now=day(114), settings=SETTINGS)
    after = seen(records)
    assert after.last_sweep_at == day(114)
    assert [line.kind for line in after.alerts] == [row.kind for row in outcome.opened] == ["gelled"]
    then = seen(records, 100)
    assert (then.alerts, then.last_sweep_at) == ((), None)


def test_an_empty_database_has_an_empty_board(on_sqlite):
    view = seen(on_sqlite)
    assert (view.blends, view.alerts, view.stores, view.work, view.last_sweep_at) == ((), (), (), (), None)
    assert not view.invented


def test_todays_work_is_on_the_board(on_sqlite):
    set_up(on_sqlite, tins=samples())
    jobs = seen(on_sqlite, 7).work
    assert {(job.study, job.store) for job in jobs} >= {("S-07", "OVN-50"), ("S-07", "ROOM-23")}
    assert all(job.samples for job in jobs)
