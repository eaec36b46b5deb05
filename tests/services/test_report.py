"""The report of a study, put together from records and forecasts."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from stability.board.view import to_json
from stability.errors import InputError
from stability.records.engine import Records
from stability.reports.text import study_report_text
from stability.reports.view import StudyReport
from stability.services.correct import correct_reading
from stability.services.report import study_report
from tests.fleet import ZONE, bring, day
from tests.lab import SETTINGS, lab


@pytest.fixture
def records(tmp_path: Path) -> Iterator[Records]:
    found = lab(tmp_path)
    yield found
    found.close()


def reported(records: Records, at: float = 114.0, study: str | None = None) -> StudyReport:
    return study_report(records, study=study, as_of=day(at), settings=SETTINGS)


def test_a_report_carries_the_question_the_design_and_a_verdict_for_each_blend(records):
    report = reported(records)
    assert (report.code, report.target_life_days, report.storage_c) == ("S-07", 365, 23)
    assert report.question == "Does each blend keep for 365 days at 23 °C?"
    assert {line.store for line in report.design} == {"ROOM-23", "OVN-40", "OVN-50"}
    assert len(report.design) == 8
    assert sorted(v.blend_words for v in report.verdicts) == [
        f"Heron-A + {thinner} 20 %, lined tin 250 mL (H-0417)"
        for thinner in ("butyl acetate", "naphtha", "xylene")
    ]
    assert report.invented


def test_a_verdict_shows_the_cure_the_lives_to_every_limit_and_the_evidence(records):
    verdict = next(v for v in reported(records).verdicts if "butyl" in v.blend_words)
    assert verdict.notes == ("cures (+5 % at day 112, 50 % RH)",)
    assert [life.criterion for life in verdict.lives] == ["+20 %", "+50 %", "2×", "gel"]
    lives = [life.life_days for life in verdict.lives[:3]]
    assert lives == sorted(lives)
    assert lives[2] == verdict.life_days
    assert {check.name for check in verdict.evidence} >= {"temperatures", "tins", "real_time"}


def test_what_happened_is_told_with_its_reason_and_name(records):
    act = {"person": "Mira", "now": day(113), "zone": ZONE}
    change = {"viscosity_mpas": 431.0}
    correct_reading(records, sample="S-07-X231", taken_at=day(56), values=change, reason="typed", **act)
    late = {"sample": "S-07-X232", "taken_at": day(100), "viscosity_mpas": 432.0, "entered_at": day(113)}
    bring(records, day(114), readings=[late])
    told = {h.kind: h for h in reported(records).happenings}
    assert (told["corrected"].person, told["corrected"].reason) == ("Mira", "typed")
    assert "→ 431 mPa·s" in told["corrected"].words
    assert told["late entry"].words.startswith("S-07-X232")
    assert all(h.kind not in ("corrected", "late entry") for h in reported(records, at=112.5).happenings)


def test_a_report_as_of_the_first_day_says_that_it_is_too_early(records):
    report = reported(records, at=0.5)
    assert {v.outcome for v in report.verdicts} == {"too_early"}
    assert "too early" in study_report_text(report)


def test_the_report_is_json_without_a_nan_and_comes_out_the_same_twice(records):
    first, second = (json.dumps(to_json(reported(records)), allow_nan=False) for _ in range(2))
    assert first == second
    assert json.loads(first)["verdicts"][0]["tins"] > 0


def test_nothing_forbidden_is_said_and_no_line_is_wider_than_a_page(records):
    text = study_report_text(reported(records))
    assert "sa" + "fe" not in text.lower()
    assert max(map(len, text.splitlines())) <= 100


def test_an_unknown_study_is_refused(records):
    with pytest.raises(InputError, match="S-99"):
        reported(records, study="S-99")
