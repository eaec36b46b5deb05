"""Every table of the interface comes in as it is described there, once, in any order, whole or not at all."""

# ruff: noqa: E501  (a line that is shown is easier to compare in one piece)

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from stability.errors import InputError
from stability.records.engine import Records
from stability.records.history import samples
from stability.services.bring import bring_rows
from stability.services.tables import TABLES
from tests.tables import BERLIN, NOW, SAMPLES, STORES, STUDY, ground, stored, take, told

# one row of every table with every column, made from the description of the tables alone
EVERYTHING = {
    "stores": "store,temperature_c,tolerance_c,humidity_pct\nOVN-50,50,1,10\nROOM-23,23,2,45\n",
    "thinners": "thinner,class,flash_c,sds\nxylene,aromatic,27,SDS-X rev 3\n",
    "lots": "lot,kind,opened_at,water_ppm,acid_pct,alcohol_pct,methoxy_mmol_g\n"
    "H-1,product,2025-03-01T08:00+01:00,210,0.01,0.2,9.1\nX-1,thinner,,150,,,\n",
    "people": "person,role,mail,stand_in\nMira O.,assistant,mira@lab.example,Jonas K.\nJonas K.,assistant,,\n",
    "instruments": "instrument,kind,full_scale_mpas,factor\nVIS-1,rotational,1000,\nCUP-4,cup,,\n",
    "samples": "sample,study,product,product_lot,thinner,thinner_lot,level_pct,additive,additive_pct,pack,fill_pct,"
    "store,placed_at,twin,entered_at\n"
    "T1,S-07,Heron-A,H-1,xylene,X-1,20,scavenger,0.5,lined tin 250 mL,80,OVN-50,2025-03-04T10:00+01:00,opened,"
    "2025-03-04T10:30+01:00\n",
    "readings": "sample,taken_at,viscosity_mpas,temperature_c,gel_grade,operator,instrument,spindle,speed_rpm,"
    "torque_pct,cup,efflux_s,density_g_ml,mass_g,appearance,photo,note,entered_at,corrects,reason\n"
    "T1,2025-03-11T10:00+01:00,398,23.1,0,Mira O.,VIS-1,S2,60,39.8,,,0.95,301.25,clear,p/1.jpg,fine,"
    "2025-03-11T10:20+01:00,,\n",
    "cures": "sample,taken_at,humidity_pct,film_um,dry_through_h,operator,note,entered_at,corrects,reason\n"
    "T1,2025-03-11T10:00+01:00,50,100,6.5,Mira O.,,2025-03-12T10:00+01:00,,\n",
    "temperatures": "store,at,temperature_c,entered_at\nOVN-50,2025-03-05T00:00Z,50.2,\nOVN-50,2025-03-05T01:00Z,50.1,\n",
    "outings": "sample,out_at,back_at,temperature_c,entered_at\n"
    "T1,2025-03-10T10:00+01:00,2025-03-11T12:00+01:00,23,2025-03-11T12:05+01:00\n",
    "moves": "sample,at,to_store,entered_at\nT1,2025-04-01T10:00+02:00,ROOM-23,\n",
    "endings": "sample,at,reason,entered_at\nT1,2025-05-01T10:00+02:00,used,\n",
    "changes": "at,what,study,instrument,note,entered_at\n2025-03-20T08:00+01:00,spindle,S-07,VIS-1,S2 to S3,\n"
    "2025-03-21T08:00+01:00,oil,,,,\n",
    "calibrations": "instrument,at,due_at,as_found_pct,certificate\nVIS-1,2025-01-10,2026-01-10,0.2,C-17\n",
    "oil_checks": "instrument,at,certified_mpas,read_mpas,operator\nVIS-1,2025-03-11T09:30+01:00,412,415,Mira O.\n",
    "instrument_facts": "instrument,at,torque_constant,speeds_rpm,follows,cup_factor,limit_pct,tolerance_pct,entered_at\n"
    "VIS-1,2025-01-10,1,2 20 50,,,1.5,0.8,\nCUP-4,2025-01-10,,,Ford 4,1.012,,,\n",
    "spindles": "instrument,spindle,at,speed_rpm,full_scale_mpas,spindle_factor,cell,volume_ml,entered_at\n"
    "VIS-1,S2,2025-01-10,60,1000,,SSA,8,\nVIS-1,S3,2025-01-10,,,10,,,\n",
    "oils": "oil,certified_mpas,limit_pct,temperature_c,until,entered_at\nC-400,412,1.5,23,2026-03-01,2025-01-10\n",
    "certificates": "instrument,at,certified_by,as_found,tolerance_pct,entered_at\n"
    "VIS-1,2025-01-10,Calibration Lab,412.8 for 412,1,\n",
    "sentinel_checks": "instrument,at,sample,expected_mpas,read_mpas,limit_pct,operator,entered_at\n"
    "VIS-1,2025-03-11T09:40+01:00,T1,310,312,5,Mira O.,\n",
    "overrides": "instrument,at,person,reason,entered_at\nVIS-1,2025-03-11T09:35+01:00,Lena V.,cold bottle,\n",
    "releases": "sample,taken_at,instrument,at,person,reason,entered_at\n"
    "T1,2025-03-11T10:00+01:00,VIS-1,2025-03-12T10:00+01:00,Tomas B.,found within 1 %,\n",
}  # fmt: skip
COUNTS = {"stores": 2, "lots": 2, "people": 2, "instruments": 2, "temperatures": 2, "changes": 2}
COUNTS |= {"instrument_facts": 2, "spindles": 2}


def test_the_tables_that_are_tried_here_are_all_there_are() -> None:
    assert set(EVERYTHING) == set(TABLES)
    for name, text in EVERYTHING.items():
        assert text.splitlines()[0] == ",".join(TABLES[name].names)


@pytest.mark.parametrize("order", [1, -1], ids=["in order", "backwards"])
def test_all_tables_come_in_together_and_a_second_time_nothing_is_new(records: Records, order: int) -> None:
    files = {f"{name}.csv": text for name, text in list(EVERYTHING.items())[::order]} | {"S-07.toml": STUDY}
    brought = take(records, files)
    added = {name: count.added for name, count in brought.tables.items()}
    assert added == {name: COUNTS.get(name, 1) for name in TABLES}
    again = take(records, files)
    assert not again.changed
    assert {name: count.unchanged for name, count in again.tables.items()} == added


def test_rows_count_as_known_at_their_own_time_unless_they_say_otherwise(on_sqlite: Records) -> None:
    take(on_sqlite, {f"{name}.csv": text for name, text in EVERYTHING.items()} | {"S-07.toml": STUDY})
    (sample,), (move,), (outing,) = (stored(on_sqlite, t) for t in ("sample", "sample_move", "outing"))
    assert sample["entered_at"] == datetime(2025, 3, 4, 9, 30, tzinfo=UTC)
    assert move["entered_at"] == move["at"]
    assert outing["entered_at"] == datetime(2025, 3, 11, 11, 5, tzinfo=UTC)
    with on_sqlite.reading() as connection:
        (before,) = samples(connection, as_of=datetime(2025, 3, 31, tzinfo=UTC))
        (after,) = samples(connection, as_of=datetime(2025, 4, 2, tzinfo=UTC))
    assert (before.store, after.store, before.end_reason) == ("OVN-50", "ROOM-23", None)


def test_a_fault_in_the_last_file_leaves_nothing_of_the_first(records: Records) -> None:
    files = {f"{name}.csv": text for name, text in EVERYTHING.items()} | {"S-07.toml": STUDY}
    files["oil_checks.csv"] = EVERYTHING["oil_checks"].replace("412", "-412")
    assert told(records, files) == (
        "oil_checks.csv line 2, certified_mpas: '-412' is out of bounds; expected a number above 0 and below 1e+300",
    )


def test_a_local_time_without_offset_is_that_of_the_site_in_autumn_the_first_of_two(
    on_sqlite: Records,
) -> None:
    ground(on_sqlite)
    take(
        on_sqlite,
        {"t.csv": "store,at,temperature_c\nOVN-50,2024-10-27T02:30,50\nOVN-50,2024-07-01T12:00,51\n"},
    )
    assert [row["at"] for row in stored(on_sqlite, "store_temperature")] == [
        datetime(2024, 10, 27, 0, 30, tzinfo=UTC),
        datetime(2024, 7, 1, 10, 0, tzinfo=UTC),
    ]


def test_what_a_describing_row_left_open_may_be_filled_and_what_it_said_may_not_change(
    records: Records,
) -> None:
    ground(records)
    take(records, {"t.csv": "thinner,class\nxylene,aromatic\n"})
    filled = take(records, {"t.csv": "thinner,class,flash_c,sds\nxylene,aromatic,27,\n"})
    assert (filled.tables["thinners"].completed, filled.tables["thinners"].unchanged) == (1, 0)
    assert stored(records, "thinner")[0]["flash_c"] == 27.0
    assert take(records, {"t.csv": "thinner,class\nxylene,aromatic\n"}).tables["thinners"].unchanged == 1
    (fault,) = told(records, {"t.csv": "thinner,class,flash_c\nxylene,aromatic,31\n"})
    assert fault == (
        "t.csv line 2, flash_c: contradicts the row on record or above, which has 27, not 31; expected the same row "
        "or a new one"
    )  # fmt: skip


def test_a_logged_point_is_rebased_by_a_later_entry_and_both_stay(records: Records) -> None:
    ground(records)
    header = "store,at,temperature_c,entered_at\n"
    take(records, {"t.csv": f"{header}OVN-50,2025-03-05T00:00Z,50.2,\n"})
    rebased = f"{header}OVN-50,2025-03-05T00:00Z,51.6,2025-03-09T00:00Z\n"
    assert take(records, {"t.csv": rebased}).tables["temperatures"].added == 1
    assert take(records, {"t.csv": rebased}).tables["temperatures"].unchanged == 1
    assert (
        take(records, {"t.csv": f"{header}OVN-50,2025-03-05T00:00Z,50.2,\n"}).tables["temperatures"].unchanged
        == 1
    )
    assert len(stored(records, "store_temperature")) == 2
    (fault,) = told(records, {"t.csv": f"{header}OVN-50,2025-03-05T00:00Z,50.9,\n"})
    assert (
        fault
        == "t.csv line 2, temperature_c: 50.9 °C contradicts 50.2 °C told before for that time; expected the same"
    )


def test_cures_are_told_apart_by_humidity_and_corrected_like_readings(records: Records) -> None:
    ground(records)
    header = "sample,taken_at,humidity_pct,dry_through_h,entered_at,corrects,reason\n"
    first = (
        "T1,2025-03-11T10:00Z,50,6.5,2025-03-12T10:00Z,,\nT1,2025-03-11T10:00Z,80,3.1,2025-03-12T10:00Z,,\n"
    )
    mended = "T1,2025-03-11T10:00Z,80,3.4,2025-03-13T10:00Z,2025-03-11T10:00Z,misread\n"
    aside = "T1,2025-03-11T10:00Z,50,,2025-03-14T10:00Z,2025-03-11T10:00Z,film torn\n"
    assert take(records, {"c.csv": header + aside + mended + first}).tables["cures"].added == 4
    assert take(records, {"c.csv": header + first + mended + aside}).tables["cures"].unchanged == 4
    ids = {row["humidity_pct"]: row["id"] for row in stored(records, "cure") if row["corrects_id"] is None}
    corrections = [row for row in stored(records, "cure") if row["corrects_id"] is not None]
    assert {(row["corrects_id"], row["dry_through_h"]) for row in corrections} == {
        (ids[80], 3.4),
        (ids[50], None),
    }
    (fault,) = told(records, {"c.csv": f"{header}T1,2025-03-11T10:00Z,50,7,,,\n"})
    assert fault.startswith(
        "c.csv line 2, dry_through_h: 7 contradicts 6.5 told before for this test; expected"
    )
    (fault,) = told(records, {"c.csv": f"{header}T1,2025-03-15T10:00Z,50,,,,\n"})
    assert fault.startswith("c.csv line 2, dry_through_h: is empty; expected a number above 0")


def test_lots_thinners_and_operators_need_not_be_on_record_and_a_thinner_is_pointed_out(
    on_sqlite: Records,
) -> None:
    brought = take(on_sqlite, {"a.csv": STORES, "b.csv": SAMPLES, "c.toml": STUDY})
    assert brought.notes == (
        "thinner 'xylene' is not on record: without a flash point every heated store counts as above it",
    )


def test_rows_in_memory_come_in_by_the_same_door(records: Records) -> None:
    ground(records)
    taken_at = datetime(2025, 3, 11, 9, 0, tzinfo=UTC)
    tables = {
        "readings": [
            {"sample": "T1", "taken_at": taken_at, "viscosity_mpas": 398.25, "operator": None},
            {"sample": "T2", "taken_at": taken_at, "gel_grade": 0, "viscosity_mpas": ">50000"},
        ],
        "outings": [],
    }
    brought = bring_rows(records, tables, person="Mira", now=NOW, zone=BERLIN)
    assert brought.tables["readings"].added == 2
    assert [row["viscosity_mpas"] for row in stored(records, "reading")] == [398.25, 50000.0]
    with pytest.raises(InputError, match=r"readings line 1, sample: sample 'T9' is not on record"):
        bring_rows(
            records, {"readings": [{"sample": "T9", "taken_at": NOW}]}, person="Mira", now=NOW, zone=BERLIN
        )
    with pytest.raises(InputError, match=r"column 'temp' is unknown in stores; did you mean temperature_c\?"):
        bring_rows(records, {"stores": [{"store": "A", "temp": 1}]}, person="Mira", now=NOW, zone=BERLIN)
