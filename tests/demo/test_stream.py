"""The stream of the invented study: its order, its script, and that it repeats itself exactly.

All values are of the invented scenario; none was measured.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from dataclasses import fields, is_dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest

from stability.bench.labels import verify_label
from stability.demo.acts import (
    CureMeasured,
    OilChecked,
    OutingsLogged,
    ReadingTaken,
    RefusedAttempt,
    SampleEnded,
    SamplesPlaced,
    SetAside,
    StudyFiled,
    Swapped,
    Swept,
    TemperaturesLogged,
    TemperaturesRebased,
)
from stability.demo.events import EVENTS
from stability.demo.schedule import taken_at, tins
from stability.demo.stage import CLOSED_DATES, NOW, ZONE, age_days, instant
from stability.demo.stream import stream, tin_at

READINGS = {
    "sample", "taken_at", "viscosity_mpas", "temperature_c", "gel_grade", "operator", "instrument", "spindle",
    "speed_rpm", "torque_pct", "cup", "efflux_s", "density_g_ml", "mass_g", "appearance", "photo", "note",
    "entered_at", "corrects", "reason",
}  # fmt: skip


def of(kind):
    return [act for act in stream() if isinstance(act, kind)]


def read(key, store, replicate, day):
    tin = tin_at(key, store, replicate)
    return next(a for a in of(ReadingTaken) if (a.sample, a.taken_at) == (tin.code, taken_at(tin, day)))


def test_the_same_seed_gives_the_same_stream():
    first = stream()
    stream.cache_clear()
    assert stream() == first


def test_acts_come_in_the_order_in_which_they_became_known_and_none_after_now():
    known = [act.entered_at for act in stream()]
    assert known == sorted(known)
    assert known[-1] == NOW
    assert isinstance(stream()[-1], Swept)


def test_every_instant_is_aware_utc():
    def instants(value):
        if isinstance(value, datetime):
            yield value
        elif is_dataclass(value):
            for field in fields(value):
                yield from instants(getattr(value, field.name))
        elif isinstance(value, tuple):
            for item in value:
                yield from instants(item)

    assert {at.tzinfo for act in stream() for at in instants(act)} == {UTC}


def test_readings_have_the_columns_of_the_table():
    assert {field.name for field in fields(ReadingTaken)} <= READINGS


def test_codes_differ_in_three_characters_at_least_and_carry_their_check():
    codes = [tin.code for tin in tins()]
    assert len(set(codes)) == len(codes) == 130
    bodies = np.array([list(code[:4]) for code in codes])
    distance = (bodies[:, None, :] != bodies[None, :, :]).sum(axis=2) + 4 * np.eye(len(codes), dtype=int)
    assert distance.min() >= 3


def test_every_label_passes_the_bench_check():
    assert all(verify_label(tin.code) for tin in tins())


def test_a_tin_is_placed_before_it_is_read_and_not_read_after_its_end():
    placed = {row.sample: row.placed_at for act in of(SamplesPlaced) for row in act.rows}
    ended = {act.sample: act.at for act in of(SampleEnded)}
    assert len(ended) == len(of(SampleEnded))
    for act in of(ReadingTaken):
        assert placed[act.sample] <= act.taken_at <= ended.get(act.sample, NOW)
    for act in of(OutingsLogged):
        for row in act.rows:
            assert placed[row.sample] <= row.out_at < row.back_at <= ended.get(row.sample, NOW)


def test_no_tin_is_read_twice_at_one_time():
    seen = Counter((act.sample, act.taken_at) for act in of(ReadingTaken))
    assert max(seen.values()) == 1


def test_summer_time_moves_no_reading_off_its_hour():
    tin = tin_at("A2", "ROOM-23", 1)
    local = {taken_at(tin, day).astimezone(ZONE).time() for day in (0, 14, 28, 168)}
    assert len(local) == 1
    assert age_days(instant(28)) == pytest.approx(28 - 1 / 24)


def test_sweeps_are_weekly_on_tuesday_evenings():
    *weekly, last = [act.entered_at.astimezone(ZONE) for act in of(Swept)]
    assert {(at.weekday(), at.hour) for at in weekly} == {(1, 20)}
    assert len(weekly) == 25
    assert last.astimezone(UTC) == NOW


def test_the_study_file_parses_and_says_that_it_is_invented():
    text = of(StudyFiled)[0].text
    study = tomllib.loads(text)
    assert "nvented" in text.splitlines()[0]
    assert study["limits"] == {"viscosity_ratio": 2.0, "gel_grade": 2, "dry_through_ratio": 1.25}
    assert study["plan"]["OVN-50"]["days"][-1] == 56


def test_the_oil_never_stops_a_session():
    assert all(abs(act.read_mpas / act.certified_mpas - 1.0) < 0.025 for act in of(OilChecked))


def test_temperatures_are_hourly_tenths_but_for_the_hours_without_power():
    rows = [row for act in of(TemperaturesLogged) if act.store == "OVN-50" for row in act.rows]
    gaps = {b.at - a.at for a, b in pairwise(rows)}
    assert gaps == {timedelta(hours=1), timedelta(hours=62)}
    assert all(round(row.temperature_c, 1) == row.temperature_c for row in rows)
    assert 20_000 < sum(len(act.rows) for act in of(TemperaturesLogged)) <= 21_000


def test_the_faulty_oven_ran_hot_for_thirty_eight_hours():
    rows = [row for act in of(TemperaturesLogged) if act.store == "OVN-50" for row in act.rows]
    hot = [row.at for row in rows if row.temperature_c > 60.0]
    assert len(hot) == 38
    assert hot[0].astimezone(ZONE).strftime("%a %H:%M") == "Fri 17:00"


def test_the_drifting_probe_is_rebased_after_its_log_was_brought_in():
    [rebased] = of(TemperaturesRebased)
    logged = {
        row.at: (act.entered_at, row.temperature_c)
        for act in of(TemperaturesLogged)
        if act.store == "OVN-40"
        for row in act.rows
    }
    for row in rebased.rows:
        entered_at, shown = logged[row.at]
        assert entered_at < rebased.entered_at
        assert row.temperature_c == pytest.approx(shown + 1.6)
    assert len(rebased.rows) == 35 * 24


def test_a_slip_of_a_factor_of_ten_is_tried_before_the_right_value():
    tenfold, cup = of(RefusedAttempt)
    assert (tenfold.reading.viscosity_mpas, cup.reading.cup, cup.reading.efflux_s) == (4120.0, "CUP-4", 28.0)
    right = read("A9", "ROOM-23", 1, 7)
    assert right.viscosity_mpas == 412.0
    assert tenfold.entered_at < right.entered_at
    assert read("A4", "ROOM-23", 1, 112).efflux_s == 87.0


def test_the_warm_reading_is_kept_set_aside_and_repeated():
    warm, again = read("A5", "OVN-50", 2, 14), read("A5", "OVN-50", 2, 15)
    assert (warm.viscosity_mpas, warm.temperature_c, again.viscosity_mpas) == (344.0, 26.8, 408.0)
    assert (warm.sample, warm.taken_at) in {(act.sample, act.taken_at) for act in of(SetAside)}


def test_the_missed_round_is_read_late_by_the_stand_in():
    for key in ("A3", "A9"):
        late = read(key, "OVN-50", 2, 33)
        assert late.operator == "Jonas K."
        assert "late pull, planned for day 28" in late.note


def test_a_round_whose_take_out_falls_on_a_closed_day_is_moved():
    assert instant(48).astimezone(ZONE).date() in CLOSED_DATES
    assert "moved" in read("A5", "OVN-50", 1, 50).note


def test_the_old_drum_fails_as_the_script_says():
    assert read("A7", "OVN-50", 2, 21).viscosity_mpas == 663.0
    strings, gel = read("A7", "OVN-50", 1, 28), read("A7", "OVN-50", 2, 28)
    assert (strings.gel_grade, strings.viscosity_mpas) == (3, None)
    assert (gel.gel_grade, gel.viscosity_mpas) == (4, None)
    assert read("A7", "OVN-50", 1, 35).gel_grade == 5


def test_a_leaking_lid_shows_in_the_mass_and_the_tin_ends():
    before, after = read("A2", "OVN-50", 2, 35), read("A2", "OVN-50", 2, 42)
    assert after.viscosity_mpas == 439.0
    assert (before.mass_g - after.mass_g) / 197.0 == pytest.approx(0.023, abs=0.001)
    assert next(a for a in of(SampleEnded) if a.sample == after.sample).reason == "closed"


def test_two_readings_are_exchanged_and_corrected_together():
    first, second = read("A5", "ROOM-23", 1, 56), read("A8", "ROOM-23", 1, 56)
    assert (first.viscosity_mpas, second.viscosity_mpas) == (246.0, 357.0)
    [swap] = of(Swapped)
    assert (swap.first.sample, swap.first.viscosity_mpas) == (first.sample, 357.0)
    assert (swap.second.sample, swap.second.viscosity_mpas) == (second.sample, 246.0)


def test_a_late_entry_keeps_both_times():
    late = read("A11", "ROOM-23", 2, 140)
    assert round(age_days(late.taken_at)) == 140
    assert round(age_days(late.entered_at)) == 150


def test_the_glycol_ether_passes_on_day_28_and_fails_to_dry_on_day_56():
    code = tin_at("A4", "ROOM-23", 1).code
    hours = {
        (round(age_days(a.taken_at)), a.humidity_pct): a.dry_through_h
        for a in of(CureMeasured)
        if a.sample == code
    }
    for humidity in (30.0, 50.0, 75.0):
        ratios = [hours[day, humidity] / hours[0, humidity] for day in (28, 56, 112)]
        assert ratios == pytest.approx([1.24, 1.43, 1.67], abs=0.01)
        assert ratios[0] < 1.25


def test_opened_tins_end_a_little_above_their_never_opened_twin():
    expected = tin_at("A5", "ROOM-23", 0)
    assert expected.sealed
    opened = [read("A5", "ROOM-23", n, 168).viscosity_mpas for n in (1, 2)]
    assert 1.0 < np.mean(opened) / read("A5", "ROOM-23", 0, 168).viscosity_mpas < 1.09


def test_a_number_and_its_torque_agree():
    for act in of(ReadingTaken):
        if act.torque_pct is not None:
            assert act.torque_pct * 600.0 / act.speed_rpm == pytest.approx(act.viscosity_mpas, rel=0.003)
            assert 10.0 < act.torque_pct < 90.0


def test_the_script_is_complete():
    assert [event.code for event in EVENTS] == [
        *(f"E{n}" for n in (1, 2, 3, 4)), "E4b", *(f"E{n}" for n in range(5, 19)),
    ]  # fmt: skip
