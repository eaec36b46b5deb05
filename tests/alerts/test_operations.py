from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta

import pytest

from stability.alerts.rules import (
    BlindGap,
    CalibrationFacts,
    ChannelFacts,
    DueCheck,
    ProbeFacts,
    Severity,
    StoreLog,
    Thresholds,
    blind_period,
    calibration_lapsed,
    channel_dead,
    check_due,
    check_overdue,
    excursions,
    extra_days,
    probe_silent,
    store_excursion,
)

NOW = datetime(2025, 3, 25, 9, tzinfo=UTC)


def hours(count):
    return timedelta(hours=count)


def check(sample, state, *, day=26, study="S-07", take_out=True):
    due_at = datetime(2025, 3, day, 9, tzinfo=UTC)
    return DueCheck(
        study=study,
        sample=sample,
        words="xylene 20 %",
        store="OVN-50",
        planned_on=date(2025, 3, day),
        due_at=due_at,
        take_out_at=due_at - hours(24) if take_out else None,
        state=state,
        cautions=("cool closed",),
    )


def test_a_round_is_one_finding_and_not_one_per_tin():
    checks = [check("A", "due"), check("B", "due"), check("C", "planned"), check("D", "due", study="S-08")]
    found = check_due(checks, now=NOW)
    assert [finding.says for finding in found] == [
        "round of 26 Mar 2025: 2 tins in OVN-50 to read",
        "round of 26 Mar 2025: 1 tin in OVN-50 to read",
    ]
    assert "take 2 out" in found[0].do_next
    assert found[0].cautions == ("cool closed",)


def test_a_round_is_told_a_day_before_its_first_act():
    assert check_due([check("A", "due", day=28, take_out=False)], now=NOW) == ()
    assert check_due([check("A", "due", day=26, take_out=False)], now=NOW)


def test_overdue_is_late_and_no_longer_missed():
    found = check_overdue([check("A", "late", day=20), check("B", "missed", day=13), check("C", "due")])
    assert [finding.says for finding in found] == ["round of 20 Mar 2025 is late: 1 tin in OVN-50 not read"]


def record(*values, step_h=1.0):
    start = NOW - hours(60)
    return tuple((start + hours(step_h * place), value) for place, value in enumerate(values))


def test_an_excursion_has_a_peak_hours_and_its_cost():
    """A week-end at 63 °C in a 50 °C store costs 2.4 days at 64 kJ/mol: 38 h × (2.51 − 1)."""
    log = StoreLog(
        store="OVN-50",
        nominal_c=50,
        tolerance_c=2,
        record=record(50.1, *[63.0] * 38, 50.2),
        energies=(("xylene 20 %", 64.0),),
        cautions=("open nothing that is hot",),
    )
    (run,) = excursions(log, now=NOW)
    assert (run.hours, run.peak_c) == (38, 63)
    cost = extra_days(run, nominal_c=50, energy_kj_mol=64, until=NOW)
    assert cost == pytest.approx(38 / 24 * 1.5118, rel=1e-3)
    (finding,) = store_excursion([log], now=NOW)
    assert finding.evidence == ("xylene 20 %: +2.4 d of ageing at 50 °C",)
    assert finding.says.endswith("38 h in all since 22 Mar 2025 22:00 UTC; +2.4 d of ageing at 50 °C")
    assert finding.severity == Severity.WARNING
    assert finding.cautions == ("open nothing that is hot",)
    assert store_excursion([log], now=NOW + timedelta(days=8)) == ()


def test_an_excursion_that_lasts_is_urgent_and_keeps_its_cause():
    log = StoreLog(store="OVN-50", nominal_c=50, tolerance_c=None, record=record(50, 60, 60))
    (now,), (later,) = store_excursion([log], now=NOW), store_excursion([log], now=NOW + hours(5))
    assert now.severity == Severity.URGENT
    assert now.cause_key == later.cause_key


def test_a_store_that_drifts_along_its_tolerance_is_one_excursion():
    values = [42.5, 42.5, 41.0, 42.1, 42.6, 41.9, 41.0, 42.2]
    began = NOW - hours(len(values))
    record = tuple((began + hours(at), value) for at, value in enumerate(values))
    log = StoreLog(store="OVN-40", nominal_c=40.0, tolerance_c=2.0, record=record)
    (run,) = excursions(log, now=NOW)
    assert (run.began_at, run.ended_at, run.peak_c, run.hours) == (began, None, 42.6, 5.0)
    assert run.record == record


def test_runs_a_day_or_more_apart_are_excursions_of_their_own():
    began = NOW - hours(60)
    values = [43.0, 43.0, *[40.0] * 23, 43.0, 43.0, *[40.0] * 24, 43.0, 43.0, 40.0]
    record = tuple((began + hours(at), value) for at, value in enumerate(values))
    log = StoreLog(store="OVN-40", nominal_c=40.0, tolerance_c=2.0, record=record)
    first, second = excursions(log, now=NOW, thresholds=Thresholds(excursion_gap=hours(24)))
    assert (first.began_at, first.hours) == (began, 4.0)
    assert (second.began_at, second.hours) == (began + hours(51), 2.0)
    assert len(excursions(log, now=NOW, thresholds=Thresholds(excursion_gap=hours(23)))) == 3
    assert len(excursions(log, now=NOW, thresholds=Thresholds(excursion_gap=hours(25)))) == 1


def test_a_log_re_based_along_its_tolerance_is_one_alert_with_its_cost():
    """35 d at 41.6 ± 0.3 °C in a 40 °C store: 1.6 °C at 75 kJ/mol is 15.8 % faster, +5.5 d."""
    began = NOW - timedelta(days=35)
    values = [41.6 + 0.3 * math.sin(at) for at in range(35 * 24)]
    record = tuple((began + hours(at), value) for at, value in enumerate(values))
    log = StoreLog(
        store="OVN-40",
        nominal_c=40.0,
        tolerance_c=1.5,
        record=record,
        energies=(("xylene", 75.0), ("naphtha", 60.0)),
    )
    (finding,) = store_excursion([log], now=NOW)
    assert finding.says.endswith("; +4.4 to +5.5 d of ageing at 40 °C")
    assert finding.evidence[0] == "xylene: +5.5 d of ageing at 40 °C"


def test_a_door_that_was_opened_is_no_excursion():
    log = StoreLog(store="S", nominal_c=50, tolerance_c=2, record=record(50, 40, 50, step_h=0.25))
    assert store_excursion([log], now=NOW) == ()


def test_cold_counts_backwards():
    log = StoreLog(store="S", nominal_c=50, tolerance_c=2, record=record(50, 40, 40, 50))
    (run,) = excursions(log, now=NOW)
    assert extra_days(run, nominal_c=50, energy_kj_mol=75, until=NOW) < 0


@pytest.mark.parametrize(
    ("probe", "silent"),
    [
        (ProbeFacts(store="S", last_at=NOW - hours(23), tins=3), False),
        (ProbeFacts(store="S", last_at=NOW - hours(25), tins=3), True),
        (ProbeFacts(store="S", last_at=NOW - hours(25), tins=0), False),
        (ProbeFacts(store="S", last_at=NOW - hours(25), tins=3, usual_step=hours(24)), False),
        (ProbeFacts(store="S", last_at=None, tins=3), False),
        (ProbeFacts(store="S", last_at=NOW - hours(900), last_entered_at=NOW, tins=3), False),
    ],
)
def test_a_probe_is_silent_only_if_it_used_to_speak(probe, silent):
    assert bool(probe_silent([probe], now=NOW)) is silent


def test_a_certificate_that_ran_out_makes_readings_conditional():
    good = CalibrationFacts(instrument="VIS-1", due_at=NOW + hours(1))
    lapsed = CalibrationFacts(instrument="VIS-2", due_at=NOW - hours(30), readings_since=12)
    (finding,) = calibration_lapsed([good, lapsed], now=NOW)
    assert finding.says == (
        "calibration of VIS-2 lapsed on 24 Mar 2025; 12 readings since then are conditional"
    )


def test_a_dead_channel_and_a_blind_time_are_told():
    (dead,) = channel_dead([ChannelFacts(channel="mail", dead_since=NOW, failures=5, error="refused")])
    assert dead.evidence == ("refused",)
    assert channel_dead([ChannelFacts(channel="mail", dead_since=None)]) == ()
    gap = BlindGap(began_at=NOW - hours(70), ended_at=NOW - hours(9), stores=("OVN-50",))
    (blind,) = blind_period([gap], now=NOW)
    assert blind.says == "nobody looked for 61 h: no eyes on OVN-50"
    assert blind_period([gap], now=NOW + hours(24)) == ()
