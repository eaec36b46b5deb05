"""Alerts as people meet them: listed as of a time, acknowledged with a reason."""

from __future__ import annotations

from datetime import timedelta

import pytest

from stability.errors import InputError
from stability.records import alerts as kept
from stability.records.events import events_of
from stability.services.alerts import JSON_KEYS, acknowledge, alert_line, as_json, list_alerts
from stability.services.sweep import sweep
from stability.settings import AlertSettings
from tests.fleet import bring, day, readings, refresh_with, samples, set_up, settings_for, study

MINUTE = timedelta(minutes=1)


@pytest.fixture
def chances() -> dict[str, float]:
    return {"now": 0.97}


@pytest.fixture
def look(records, tmp_path, chances):
    tins = samples()
    set_up(records, text=study(plan=False), tins=tins)
    bring(records, day(29), readings=readings(tins, life_days=300, until=28))
    settings = settings_for(tmp_path, alerts=AlertSettings(blind_after_hours=1e6))
    refresh = refresh_with(lambda _now: chances["now"])
    return lambda now: sweep(records, now=now, settings=settings, refresh=refresh)


def test_an_open_alert_has_exactly_the_promised_keys(records, look):
    look(day(29))
    (row,) = list_alerts(records, as_of=day(30))
    shown = as_json(row)
    assert tuple(shown) == JSON_KEYS
    assert shown["kind"] == "heading_for_limit"
    assert (shown["study"], shown["thinner"], shown["level_pct"], shown["sample"]) == (
        "S-07", "xylene", 20.0, None,
    )  # fmt: skip
    assert (shown["probability"], shown["priors_used"]) == (0.97, True)
    assert shown["limit_date"] == "2025-12-29"  # 300 days after 4 Mar 2025
    assert shown["closed_at"] is shown["acknowledged_by"] is None


def test_as_of_shows_alerts_as_they_stood_then(records, look, chances):
    look(day(29))
    chances["now"] = 0.99
    look(day(31))
    acknowledge(records, 1, reason="seen", person="Lena", now=day(32))
    chances["now"] = 0.1
    look(day(33))
    assert list_alerts(records, as_of=day(28)) == ()
    (then,) = list_alerts(records, as_of=day(30))
    assert (then.probability, then.acknowledged_by, then.closed_at) == (0.97, None, None)
    (later,) = list_alerts(records, as_of=day(32.5))
    assert (later.probability, later.acknowledged_by) == (0.99, "Lena")
    assert list_alerts(records, as_of=day(34)) == ()
    assert [row.closed_at for row in list_alerts(records, as_of=day(34), closed_too=True)] == [day(33)]


def test_to_acknowledge_keeps_the_alert_open_and_is_noted(records, look):
    look(day(29))
    row = acknowledge(records, 1, reason="  old drum,\n test stopped ", person="Lena", now=day(29) + MINUTE)
    assert (row.acknowledged_by, row.acknowledged_reason) == ("Lena", "old drum, test stopped")
    assert row.closed_at is None
    look(day(29) + 2 * MINUTE)
    with records.reading() as connection:
        assert [step.step for step in kept.steps_of(connection, 1)] == ["opened", "acknowledged"]
        (event,) = events_of(connection, subject="alert 1")
    assert (event.person, event.verb) == ("Lena", "acknowledge")


@pytest.mark.parametrize(("number", "reason"), [(99, "seen"), (1, "  "), (1, "x" * 501)])
def test_an_unknown_alert_or_an_empty_reason_is_refused(records, look, number, reason):
    look(day(29))
    with pytest.raises(InputError):
        acknowledge(records, number, reason=reason, person="Lena", now=day(30))


def test_the_board_line_says_what_it_is_about(records, look):
    look(day(29))
    (row,) = list_alerts(records, as_of=day(30))
    line = alert_line(row)
    assert line.words == "heading for limit"
    assert line.subject_words == "S-07: Heron-A in xylene 20 %, lined tin 250 mL"
    assert line.limit_date.isoformat() == "2025-12-29"
