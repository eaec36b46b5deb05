"""The life of alerts through sweeps: told once, worse, closed; the past; the blind period."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from stability.records.engine import Records
from stability.records.events import verify_chain
from stability.records.tables import METADATA
from stability.services.studies import file_study
from stability.services.sweep import SweepOutcome, sweep
from stability.settings import AlertSettings, MailSettings
from tests.fleet import (
    ZONE,
    bring,
    day,
    readings,
    refresh_with,
    samples,
    set_up,
    settings_for,
    study,
)  # fmt: skip

MAIL = MailSettings(host="localhost")
PEOPLE = [
    {"person": "Mira", "role": "assistant", "mail": "mira@lab.example"},
    {"person": "Lena", "role": "formulator", "mail": "lena@lab.example"},
]


def rows(records: Records, name: str) -> list[dict[str, Any]]:
    table = METADATA.tables[name]
    with records.reading() as connection:
        return [dict(row) for row in connection.execute(sa.select(table).order_by(table.c.id)).mappings()]


def kinds(found: Any) -> list[str]:
    return sorted(row.kind for row in found)


class Laboratory:
    """A laboratory whose blend has a chance that the test sets."""

    def __init__(
        self, records: Records, folder: Path, *, plan: bool = False, blind_after_hours: float = 10_000
    ) -> None:
        self.records, self.chance = records, 0.2
        alerts = AlertSettings(blind_after_hours=blind_after_hours)
        self.settings = settings_for(folder, mail=MAIL, alerts=alerts)
        self.tins = samples()
        set_up(records, text=study(plan=plan), tins=self.tins)
        self.refresh = refresh_with(lambda _now: self.chance)

    def read(self, until: float, since: float = -1.0) -> None:
        found = readings(self.tins, life_days=300, until=until, since=since)
        bring(self.records, day(until) + timedelta(hours=2), readings=found)

    def look(self, now: datetime, *, by_hand: bool = False) -> SweepOutcome:
        return sweep(
            self.records,
            now=now,
            settings=self.settings,
            refresh=self.refresh,
            began_at=now + timedelta(days=1000) if by_hand else None,
        )


@pytest.fixture
def lab(records: Records, tmp_path: Path) -> Laboratory:
    found = Laboratory(records, tmp_path)
    found.read(28)
    return found


@pytest.fixture
def watched(records: Records, tmp_path: Path) -> Laboratory:
    found = Laboratory(records, tmp_path, blind_after_hours=2.0)
    found.read(28)
    return found


def test_a_failing_blend_is_told_once_by_mail_and_once_in_the_file(lab):
    lab.chance = 0.97
    first = lab.look(day(29))
    second = lab.look(day(29) + timedelta(minutes=1))
    assert kinds(first.opened) == ["heading_for_limit"]
    assert second.opened == second.worsened == second.closed == ()
    sent = rows(lab.records, "outbox")
    assert sent[0]["receiver"] == "lena@lab.example"
    assert [row["channel"] for row in sent] == ["mail", "file"]
    assert sent[0]["key"] == "alert-1-opened-mail-lena@lab.example"


def test_sweeping_the_same_instant_twice_opens_nothing_new(lab):
    lab.chance = 0.97
    assert len(lab.look(day(29)).opened) == 1
    assert lab.look(day(29)).opened == ()
    assert len(rows(lab.records, "alert")) == 1


def test_below_095_it_takes_two_looks_and_without_new_readings_the_second_is_another_day(lab):
    lab.chance = 0.92
    _freeze(lab, day(29), 0.92)
    assert lab.look(day(29)).opened == ()
    assert lab.look(day(29) + timedelta(hours=2)).opened == ()
    assert kinds(lab.look(day(30)).opened) == ["heading_for_limit"]


def test_below_095_a_look_with_new_readings_counts_as_the_second(lab):
    lab.chance = 0.92
    _freeze(lab, day(29) - timedelta(hours=3), 0.93, digest="1" * 64)
    _freeze(lab, day(29), 0.92)
    assert kinds(lab.look(day(29)).opened) == ["heading_for_limit"]


def test_below_095_a_first_look_after_a_low_one_does_not_open(lab):
    lab.chance = 0.92
    _freeze(lab, day(29) - timedelta(hours=3), 0.40, digest="1" * 64)
    _freeze(lab, day(29), 0.92)
    assert lab.look(day(29)).opened == ()


def _freeze(lab, at: datetime, chance: float, digest: str = "0" * 64) -> None:
    from stability.records.forecasts import store_forecast
    from stability.services.blends import blends_of

    with lab.records.writing() as connection:
        blend = blends_of(connection, as_of=at)[0]
        values = {
            "study_id": blend.study.id, "blend_key": blend.key.text, "as_of": at, "made_at": at,
            "digest": digest, "outcome": "estimated", "alert_probability": chance, "payload": {},
        }  # fmt: skip
        store_forecast(connection, values, {})


def test_it_stays_open_down_to_one_half_and_closes_below(lab):
    lab.chance = 0.97
    lab.look(day(29))
    lab.chance = 0.60
    assert lab.look(day(30)).closed == ()
    lab.chance = 0.45
    closed = lab.look(day(31))
    assert kinds(closed.closed) == ["heading_for_limit"]
    assert closed.closed[0].closed_at == day(31)
    assert [row["key"] for row in rows(lab.records, "outbox")][-2:] == [
        "alert-1-closed-mail-lena@lab.example",
        "alert-1-closed-file",
    ]
    steps = [row["step"] for row in rows(lab.records, "alert_event")]
    assert steps == ["opened", "closed"]


def test_a_rise_is_told_once_measured_against_what_was_told_last(lab):
    _freeze(lab, day(28.5), 0.92)
    for at, chance in enumerate((0.92, 0.94, 0.96, 0.98, 0.99), start=29):
        lab.chance = chance
        lab.look(day(at))
    assert rows(lab.records, "alert")[0]["probability"] == 0.99
    steps = rows(lab.records, "alert_event")
    assert [row["step"] for row in steps] == ["opened", "worse"]
    assert steps[1]["says"].startswith("the chance rose from 92 to 98 %")
    keys = [row["key"] for row in rows(lab.records, "outbox")]
    assert keys[2:] == ["alert-1-worse-2-mail-lena@lab.example", "alert-1-worse-2-file"]


def test_a_fit_that_says_nothing_leaves_the_alert_open(lab):
    lab.chance = 0.97
    lab.look(day(29))
    lab.chance = None
    assert lab.look(day(30)).closed == ()


def test_a_closed_study_raises_nothing_and_closes_what_was_open(lab):
    lab.chance = 0.97
    lab.look(day(29))
    closing = study(plan=False, extra=f"closed_at = {day(29.5).isoformat()}")
    file_study(lab.records, closing, person="Lena", now=day(29.5), zone=ZONE)
    outcome = lab.look(day(30))
    assert kinds(outcome.closed) == ["heading_for_limit"]
    assert lab.look(day(31)).opened == ()


def test_a_look_into_the_past_repeats_nothing_and_closes_nothing(lab):
    lab.chance = 0.97
    lab.look(day(29))
    lab.chance = 0.2
    lab.look(day(30))
    lab.chance = 0.97
    past = lab.look(day(29), by_hand=True)
    assert past.opened == past.worsened == past.closed == ()
    assert len(rows(lab.records, "alert")) == 1
    lab.chance = 0.97
    assert kinds(lab.look(day(31)).opened) == ["heading_for_limit"]


def test_a_gap_between_looks_is_told_once_as_a_blind_period_and_closed_at_once(watched):
    lab = watched
    lab.look(day(29))
    lab.look(day(29) + timedelta(hours=1))
    back = lab.look(day(29) + timedelta(hours=62))
    assert kinds(back.opened) == kinds(back.closed) == ["blind_period"]
    assert back.blind_from == day(29) + timedelta(hours=1)
    assert "61 h" in back.opened[0].says
    assert "OVN-50" in back.opened[0].says
    again = lab.look(day(29) + timedelta(hours=62, minutes=1))
    assert again.opened == ()
    assert again.blind_from is None


def test_the_first_look_and_a_look_by_hand_are_no_blind_period(watched):
    lab = watched
    assert lab.look(day(29)).opened == ()
    assert lab.look(day(60), by_hand=True).blind_from is None
    assert kinds(lab.look(day(61)).opened) == ["blind_period"]


def test_a_clock_that_ran_years_ahead_and_came_back_does_not_silence_the_tool(lab):
    lab.look(day(29))
    lab.look(day(29 + 3650))
    lab.chance = 0.97
    assert "heading_for_limit" in kinds(lab.look(day(30)).opened)


def test_events_are_sealed_and_every_look_leaves_a_heartbeat(lab):
    lab.look(day(29))
    lab.look(day(29) + timedelta(minutes=1))
    assert len(rows(lab.records, "seal")) == 1
    assert [row["as_of"] for row in rows(lab.records, "sweep")] == [
        day(29),
        day(29) + timedelta(minutes=1),
    ]
    with lab.records.reading() as connection:
        assert verify_chain(connection) == ()


def test_rounds_go_to_assistants_by_mail_and_not_into_the_file(records, tmp_path):
    lab = Laboratory(records, tmp_path, plan=True)
    lab.read(0)
    bring(records, day(1), people=PEOPLE)
    opened = lab.look(day(2)).opened
    assert kinds(opened) == ["check_due"]
    assert [(r["channel"], r["receiver"]) for r in rows(records, "outbox")] == [("mail", "mira@lab.example")]


def test_without_an_assistant_on_record_a_round_is_told_to_nobody(records, tmp_path):
    lab = Laboratory(records, tmp_path, plan=True)
    lab.read(0)
    assert kinds(lab.look(day(2)).opened) == ["check_due"]
    assert rows(records, "outbox") == []


def test_a_late_round_is_told_once_and_closes_when_it_is_read(records, tmp_path):
    lab = Laboratory(records, tmp_path, plan=True)
    lab.read(7)
    bring(records, day(8), people=PEOPLE)
    lab.look(day(14))
    late = lab.look(day(15) + timedelta(hours=3))
    assert "check_overdue" in kinds(late.opened)
    assert len([row for row in late.opened if row.kind == "check_overdue"]) == 1
    lab.read(14, since=7)
    assert "check_overdue" in kinds(lab.look(day(15) + timedelta(hours=4)).closed)


def test_a_plan_that_ended_long_ago_raises_nothing(records, tmp_path):
    lab = Laboratory(records, tmp_path, plan=True)
    lab.read(90)
    bring(records, day(91), people=PEOPLE)
    assert lab.look(day(400)).opened == ()
