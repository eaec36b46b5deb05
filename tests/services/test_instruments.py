"""Instruments as services: what they compute, what is filed, what they touch; all names are invented."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from stability.errors import InputError, RefusedError
from stability.records.engine import Records
from stability.records.instruments import insert_row
from stability.records.tables import METADATA
from stability.records.tables.told import Statement
from stability.services.blends import blends_of
from stability.services.bring import bring_rows
from stability.services.entry import ReadingEntry
from stability.services.instruments import advised_setting, hold_on, means_for
from stability.services.instruments_certify import Certified, OilLot, certify, file_oil
from stability.services.instruments_check import Asked, CheckKind, chart_of, check_instrument, override_hold
from stability.services.instruments_file import Facts, Range, add_instrument, card_named
from stability.services.instruments_list import instruments_listed
from stability.services.record import log_reading
from stability.services.release import Wanted, impact, release
from stability.services.sweep import sweep
from tests.builders import BERLIN, NOW, PLACED, Bench, bench
from tests.fleet import bring, day
from tests.lab import SETTINGS, lab

WHO = {"person": "Mira", "now": NOW}
AT = PLACED + timedelta(days=7)
SPINDLES = (
    Range(spindle="S2", spindle_factor=4.0),
    Range(spindle="S3", spindle_factor=10.0, cell="SSA", volume_ml=8.0),
)


@pytest.fixture
def at_bench(tmp_path: Path):
    made = bench(tmp_path)
    yield made
    made.records.close()


def add(records: Records, name: str, kind: str | None = None, *, at: Any = PLACED, **facts: Any) -> Any:
    return add_instrument(records, name, Facts(**facts), kind=kind, at=at, **WHO)


def log(records: Records, **given: Any) -> Any:
    entry = ReadingEntry(**{"sample": "0418-M", "taken_at": AT, **given})
    return log_reading(records, entry, zone=BERLIN, **WHO)


def rotational(records: Records) -> None:
    add(records, "VIS-2", "rotational", torque_constant=1.0, speeds_rpm=(2.0, 20.0, 50.0), ranges=SPINDLES)


def test_torque_becomes_mpas_by_the_spindle_s_own_factor_with_the_sensor_s_uncertainty(
    at_bench: Bench,
) -> None:
    rotational(at_bench.records)
    done = log(at_bench.records, instrument="vis-2", spindle="s3", speed_rpm=20.0, torque_pct=45.0)
    assert (done.viscosity_mpas, done.uncertainty_mpas) == (2250.0, 50.0)
    assert "; ± 50 mPa·s by the torque sensor" in done.echo
    row = at_bench.rows("reading")[-1]
    assert (row["instrument"], row["uncertainty_mpas"], row["rule"]) == ("VIS-2", 50.0, "torque 2")


def test_a_typed_full_scale_wins_over_the_factor_and_the_latest_counts_from_its_day_on(
    at_bench: Bench,
) -> None:
    rotational(at_bench.records)
    new = (Range(spindle="S3", speed_rpm=20.0, full_scale_mpas=4800.0),)
    add(at_bench.records, "VIS-2", ranges=new, at=AT)
    for after, expected in ((timedelta(days=-1), 2250.0), (timedelta(0), 2160.0)):
        done = log(
            at_bench.records,
            instrument="VIS-2",
            spindle="S3",
            speed_rpm=20.0,
            torque_pct=45.0,
            taken_at=AT + after,
        )
        assert done.viscosity_mpas == pytest.approx(expected)


def test_under_ten_per_cent_the_better_spindle_and_speed_of_this_instrument_is_named(at_bench: Bench) -> None:
    rotational(at_bench.records)
    with pytest.raises(InputError, match="under 10 %") as refused:
        log(at_bench.records, instrument="VIS-2", spindle="S3", speed_rpm=2.0, torque_pct=4.2)
    assert refused.value.hint == "spindle S3 in SSA at 20 rpm (about 42 % torque), to land at 20–90 %"
    assert at_bench.rows("reading") == []


def test_a_spindle_that_was_never_typed_is_refused_with_those_that_were(at_bench: Bench) -> None:
    rotational(at_bench.records)
    with pytest.raises(InputError, match="spindle 'S9' of VIS-2 has no range on record") as refused:
        log(at_bench.records, instrument="VIS-2", spindle="S9", speed_rpm=2.0, torque_pct=45.0)
    assert "S2, S3" in str(refused.value.hint)


def test_a_round_is_advised_the_setting_for_what_it_expects(at_bench: Bench) -> None:
    rotational(at_bench.records)
    with at_bench.records.reading() as connection:
        best = advised_setting(connection, "vis-2", 350.0, at=AT)
        kept = advised_setting(connection, "VIS-2", 1500.0, at=AT, spindle="S3")
        none = advised_setting(connection, "VIS-9", 350.0, at=AT)
    assert best is not None
    assert (best.spindle, best.speed_rpm) == ("S2", 50.0)
    assert kept is not None
    assert (kept.spindle, kept.speed_rpm, kept.cell, kept.volume_ml) == ("S3", 50.0, "SSA", 8.0)
    assert none is None


def test_a_cup_of_the_laboratory_is_computed_by_its_standard_and_its_own_factor(at_bench: Bench) -> None:
    add(at_bench.records, "CUP-4", "cup", follows="ford4", cup_factor=1.02)
    done = log(at_bench.records, cup="cup-4", efflux_s=60.0, density_g_ml=0.95)
    assert done.viscosity_mpas == pytest.approx(213.714 * 1.02 * 0.95, rel=1e-4)
    row = at_bench.rows("reading")[-1]
    assert (row["cup"], row["rule"]) == ("CUP-4", "cup 2")


def test_a_cup_s_factor_follows_from_an_oil_s_seconds_and_counts_from_that_day(at_bench: Bench) -> None:
    add(at_bench.records, "CUP-4", "cup", follows="Ford 4")
    asked = Certified(at=AT, due_at=AT + timedelta(days=365), certified_mm2_s=120.0, efflux_s=36.0)
    filed = certify(at_bench.records, "CUP-4", asked, **WHO)
    assert filed.cup_factor == pytest.approx(120 / (3.85 * (36 - 4.49)), rel=1e-4)
    assert filed.as_found_pct == pytest.approx(1.095, abs=0.001)
    with at_bench.records.reading() as connection:
        before = means_for(connection, instrument=None, cup="CUP-4", at=AT - timedelta(hours=1))
        after = means_for(connection, instrument=None, cup="CUP-4", at=AT)
    assert after.cup is not None
    assert after.cup.factor == filed.cup_factor
    assert before.cup is not None
    assert before.cup.factor == filed.cup_factor, "before the first factor the first"


def test_imported_rows_are_computed_by_the_same_ranges_and_cups(at_bench: Bench) -> None:
    at, records = AT.isoformat(), at_bench.records
    tables: dict[str, list[dict[str, Any]]] = {
        "instruments": [
            {"instrument": "VIS-2", "kind": "rotational"},
            {"instrument": "CUP-4", "kind": "cup"},
        ],
        "instrument_facts": [
            {"instrument": "VIS-2", "at": PLACED.isoformat(), "torque_constant": 1.0, "follows": None},
            {"instrument": "CUP-4", "at": PLACED.isoformat(), "torque_constant": None, "follows": "Ford 4"},
        ],
        "spindles": [
            {"instrument": "VIS-2", "spindle": "S3", "at": PLACED.isoformat(), "spindle_factor": 10.0}
        ],
        "readings": [
            {"sample": "0418-M", "taken_at": at, "instrument": "VIS-2", "spindle": "S3", "speed_rpm": 20.0,
             "torque_pct": 45.0, "cup": None, "efflux_s": None, "density_g_ml": None},
            {"sample": "0417-L", "taken_at": at, "instrument": None, "spindle": None, "speed_rpm": None,
             "torque_pct": None, "cup": "CUP-4", "efflux_s": 60.0, "density_g_ml": 1.0},
        ],
    }  # fmt: skip
    bring_rows(records, tables, person="Lena", now=NOW, zone=BERLIN)
    found = [(row["viscosity_mpas"], row["uncertainty_mpas"]) for row in at_bench.rows("reading")]
    assert found[0] == (2250.0, 50.0)
    assert found[1] == (pytest.approx(213.7135), None)


@pytest.mark.parametrize(
    ("kind", "facts", "told"),
    [
        ("cup", {"follows": "Ford 9"}, "no flow cup is called 'Ford 9'"),
        ("balance", {"follows": "Ford 4"}, "only a cup follows a standard cup"),
        ("cup", {"torque_constant": 1.0}, "spindles and speeds belong to a rotational"),
        ("rotational", {"torque_constant": -1.0}, "torque constant is a positive number"),
        ("rotational", {"ranges": (Range(spindle="S3"),)}, "needs a range at a speed, or a factor"),
        (None, {}, "is new and has no kind"),
    ],
)
def test_what_an_instrument_cannot_be_is_refused_and_nothing_written(
    at_bench: Bench, kind: str | None, facts: dict[str, Any], told: str
) -> None:
    with pytest.raises(InputError, match=told):
        add(at_bench.records, "NEW-1", kind, **facts)
    assert [row["instrument"] for row in at_bench.rows("instrument")] == ["VIS-1"]


def test_a_bad_oil_holds_readings_until_a_good_one_and_keeps_the_attempt(at_bench: Bench) -> None:
    records = at_bench.records
    file_oil(records, OilLot(oil="C-100", certified_mpas=350.0, limit_pct=1.5), **WHO)
    check_instrument(records, "VIS-1", Asked(read_mpas=351.0, oil="c-100", at=AT - timedelta(days=7)), **WHO)
    off = check_instrument(records, "VIS-1", Asked(read_mpas=357.0, at=AT - timedelta(hours=1)), **WHO)
    assert (off.check.good, off.check.limit_pct, off.check.standard) == (False, 1.5, "C-100")
    assert off.hold is not None
    with pytest.raises(RefusedError, match="the session with VIS-1 is held: the check oil read 357 for 350"):
        log(records, viscosity_mpas=300.0, instrument="VIS-1")
    assert at_bench.rows("reading") == []
    assert at_bench.rows("event")[-1]["verb"] == "refused attempt"
    log(records, viscosity_mpas=300.0, sample="0417-L")  # without the instrument nothing is held
    check_instrument(records, "VIS-1", Asked(read_mpas=350.5, at=AT - timedelta(minutes=30)), **WHO)
    assert log(records, viscosity_mpas=300.0, instrument="VIS-1").stored


def test_a_named_person_lets_a_held_session_go_on_and_its_readings_stay_conditional(at_bench: Bench) -> None:
    records = at_bench.records
    check_instrument(records, "VIS-1", Asked(read_mpas=360.0, certified_mpas=350.0, at=AT), **WHO)
    with pytest.raises(InputError, match="named person"):
        override_hold(records, "VIS-1", reason="cold", person="account root", now=NOW)
    with pytest.raises(InputError, match="reason"):
        override_hold(records, "VIS-1", reason=" ", **WHO)
    override_hold(records, "VIS-1", reason="cold bottle", **WHO)
    log(records, viscosity_mpas=300.0, instrument="VIS-1", taken_at=AT + timedelta(minutes=5))
    (reading,) = impact(records, Wanted(instrument="vis-1"), as_of=NOW).conditional
    assert reading.says == ("the check oil read +2.9 %, limit ± 2 %",)
    with records.reading() as connection:
        assert hold_on(connection, ["VIS-1"], at=NOW, now=NOW) is None
    with pytest.raises(InputError, match="no session with VIS-1 is held"):
        override_hold(records, "VIS-1", reason="again", **WHO)


def test_the_sentinel_is_expected_at_its_last_reading_and_holds_when_off(at_bench: Bench) -> None:
    records = at_bench.records
    log(records, viscosity_mpas=310.0, taken_at=AT - timedelta(days=1))
    done = check_instrument(records, "VIS-1", Asked(read_mpas=331.0, sentinel="0418-M", at=AT), **WHO)
    assert (done.check.kind, done.check.expected_mpas, done.check.good) == (CheckKind.SENTINEL, 310.0, False)
    with pytest.raises(RefusedError, match=r"the sentinel sample 0418-M read 331 for 310"):
        log(records, viscosity_mpas=311.0, instrument="VIS-1", taken_at=AT + timedelta(minutes=5))


def test_a_wider_limit_typed_afterwards_acquits_nothing(at_bench: Bench) -> None:
    records = at_bench.records
    check_instrument(records, "VIS-1", Asked(read_mpas=360.0, certified_mpas=350.0, at=AT), **WHO)
    later = NOW + timedelta(minutes=1)
    add_instrument(records, "VIS-1", Facts(limit_pct=10.0), kind=None, person="Mira", at=PLACED, now=later)
    with records.reading() as connection:
        assert hold_on(connection, ["VIS-1"], at=later, now=later) is not None


def test_the_chart_begins_anew_with_a_certificate(at_bench: Bench) -> None:
    records = at_bench.records
    for place, read in enumerate((351.0, 353.5, 354.0, 355.0)):
        at = PLACED + timedelta(days=place)
        check_instrument(records, "VIS-1", Asked(read_mpas=read, certified_mpas=350.0, at=at), **WHO)
    assert len(chart_of(records, "VIS-1", as_of=NOW).checks) == 4
    certify(
        records, "VIS-1", Certified(at=PLACED + timedelta(days=3), due_at=NOW + timedelta(days=300)), **WHO
    )
    found = chart_of(records, "VIS-1", as_of=NOW)
    assert [check.read_mpas for check in found.checks] == [355.0]
    with pytest.raises(InputError, match="has no sentinel check"):
        chart_of(records, "VIS-1", as_of=NOW, kind=CheckKind.SENTINEL)


def test_what_is_not_on_record_is_told_with_the_nearest(at_bench: Bench) -> None:
    with (
        at_bench.records.reading() as connection,
        pytest.raises(InputError, match="'VIS-11' is not") as refused,
    ):
        card_named(connection, "VIS-11", at=AT)
    assert refused.value.hint == "did you mean VIS-1?"
    with pytest.raises(InputError, match="which oil was read"):
        check_instrument(at_bench.records, "VIS-1", Asked(read_mpas=350.0, at=AT), **WHO)
    with pytest.raises(InputError, match="oil 'C-7' is not on record"):
        check_instrument(at_bench.records, "VIS-1", Asked(read_mpas=350.0, oil="C-7", at=AT), **WHO)


def test_two_checks_or_certificates_of_one_time_are_refused(at_bench: Bench) -> None:
    asked = Asked(read_mpas=350.0, certified_mpas=350.0, at=AT)
    check_instrument(at_bench.records, "VIS-1", asked, **WHO)
    with pytest.raises(InputError, match="has a check of that very time"):
        check_instrument(at_bench.records, "VIS-1", asked, **WHO)
    paper = Certified(at=AT, due_at=NOW)
    certify(at_bench.records, "VIS-1", paper, **WHO)
    with pytest.raises(InputError, match="has a certificate of that very time"):
        certify(at_bench.records, "VIS-1", paper, **WHO)


def found_out(folder: Path) -> Records:
    """The laboratory with readings of days 98 and 110 on VIS-1, found 4 % off on day 113."""
    records = lab(folder)
    bring(records, day(114), instruments=[{"instrument": "VIS-1", "kind": "rotational", "factor": 6.0}])
    at = {"instrument": "VIS-1", "certified_mpas": 350.0, "operator": "Mira"}
    bring(records, day(114), oil_checks=[{**at, "at": day(100), "read_mpas": 350.5}])
    taken = [
        {"sample": "S-07-X231", "taken_at": day(age), "viscosity_mpas": 430.0, "instrument": "VIS-1",
         "entered_at": day(age) + timedelta(hours=1)}
        for age in (98, 110)
    ]  # fmt: skip
    bring(records, day(114), readings=taken)
    paper = {"instrument": "VIS-1", "at": day(113), "due_at": day(400), "as_found_pct": 4.0}
    bring(records, day(114), calibrations=[paper])
    return records


def test_an_instrument_found_out_lists_readings_forecasts_and_statements_since_the_last_good_check(
    tmp_path: Path,
) -> None:
    records = found_out(tmp_path)
    with records.writing() as connection:
        blend = next(b for b in blends_of(connection, as_of=day(114)) if b.key.thinner == "xylene")
        study = METADATA.tables["study"]
        study_id = connection.execute(sa.select(study.c.id)).scalar_one()
        values = {
            "number": "ST-01", "version": 1, "study_id": study_id, "blend_key": blend.key.text, "months": 6,
            "made_at": day(112), "author": "Tomas B.", "payload": "{}", "digest": "0" * 64,
        }  # fmt: skip
        insert_row(connection, Statement, values)
    found = impact(records, Wanted(instrument="VIS-1"), as_of=day(114.2))
    assert [(each.sample, each.taken_at) for each in found.readings] == [("S-07-X231", day(110))]
    assert found.readings[0].says == ("it was found +4 % off, beyond ± 1 %",)
    assert [(words, each.count) for words, each in found.forecasts] == [("Heron-A + xylene 20 %", 1)]
    assert [(each.number, each.version) for _, each in found.statements] == [("ST-01", 1)]
    assert impact(records, Wanted(instrument="VIS-1"), as_of=day(112)).readings == (), "not known then"
    records.close()


def test_a_release_names_who_and_why_and_takes_only_what_is_meant(tmp_path: Path) -> None:
    records = found_out(tmp_path)
    now = day(114.2)
    with pytest.raises(InputError, match="no reading that is meant is conditional"):
        release(records, Wanted(instrument="VIS-1", until=day(109)), reason="x", person="Tomas B.", now=now)
    done = release(
        records, Wanted(sample="s-07-x231"), reason=" repeated:  fine ", person="Tomas B.", now=now
    )
    assert (done.person, done.reason, len(done.readings)) == ("Tomas B.", "repeated: fine", 1)
    assert impact(records, Wanted(), as_of=now).conditional == ()
    assert len(impact(records, Wanted(), as_of=now).readings) == 1, "what it touched stays known"
    worse = {"instrument": "VIS-1", "at": day(115), "due_at": day(400), "as_found_pct": -9.0}
    bring(records, day(116), calibrations=[worse])
    assert impact(records, Wanted(), as_of=day(116)).conditional == (), "it judges only since the last one"
    records.close()


def test_where_people_are_on_record_a_release_is_made_by_one_of_them(tmp_path: Path) -> None:
    records = found_out(tmp_path)
    bring(records, day(114), people=[{"person": "Tomas B.", "role": "qa"}])
    with pytest.raises(InputError, match="person 'Tomas' is not on record") as refused:
        release(records, Wanted(instrument="VIS-1"), reason="fine", person="Tomas", now=day(115))
    assert refused.value.hint == "did you mean Tomas B.?"
    records.close()


def test_the_list_says_what_is_held_lapsed_and_waiting(at_bench: Bench) -> None:
    records = at_bench.records
    certify(records, "VIS-1", Certified(at=PLACED, due_at=AT, as_found_pct=0.2), **WHO)
    later = AT + timedelta(days=1)
    log(records, viscosity_mpas=310.0, instrument="VIS-1", taken_at=later)
    check_instrument(records, "VIS-1", Asked(read_mpas=360.0, certified_mpas=350.0, at=NOW), **WHO)
    (line,) = instruments_listed(records, as_of=NOW)
    assert (line.lapsed, line.readings, line.conditional) == (True, 1, 1)
    assert line.held is not None
    assert line.words == "rotational, factor 6"


def test_the_sweep_tells_a_held_session_and_closes_it_with_a_good_check(at_bench: Bench) -> None:
    records = at_bench.records
    log(records, viscosity_mpas=310.0, instrument="VIS-1")
    check_instrument(records, "VIS-1", Asked(read_mpas=360.0, certified_mpas=350.0, at=NOW), **WHO)
    opened = [row for row in sweep(records, now=NOW, settings=SETTINGS).opened if row.kind == "session_held"]
    assert [row.says for row in opened] == [
        "the session with VIS-1 is held: the check oil read 360 for 350 mPa·s, +2.9 %, limit ± 2 %; "
        "1 readings since the last good check are conditional"
    ]
    later = NOW + timedelta(hours=1)
    again = sweep(records, now=NOW + timedelta(minutes=1), settings=SETTINGS)
    assert not [row for row in again.opened if row.kind == "session_held"]
    good = Asked(read_mpas=350.2, certified_mpas=350.0, at=later)
    check_instrument(records, "VIS-1", good, person="Mira", now=later)
    closed = sweep(records, now=later, settings=SETTINGS).closed
    assert [row.kind for row in closed] == ["session_held"]
