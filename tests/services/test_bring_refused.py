"""Bad input: one line per fault with line, column, value and what is expected; nothing is written."""

# ruff: noqa: E501  (a line that is shown is easier to compare in one piece)

from __future__ import annotations

import pytest

from stability.errors import InputError
from stability.records.engine import Records
from tests.tables import NOW, SAMPLES, STORES, STUDY, ground, stored, take, told

READING = "sample,taken_at,viscosity_mpas,gel_grade,temperature_c,operator\n"
GOOD = "T1,2025-03-11T10:00+01:00,398,0,23.1,Mira\n"


@pytest.fixture
def filed(on_sqlite: Records) -> Records:
    ground(on_sqlite)
    return on_sqlite


def line(**cells: str) -> str:
    names = ("sample", "taken_at", "viscosity_mpas", "gel_grade", "temperature_c", "operator")
    held = dict(zip(names, GOOD.strip().split(","), strict=True)) | cells
    return ",".join(held[name] for name in names) + "\n"


CELLS = [
    ("viscosity_mpas", "12a", "'12a' is not a number; expected a number above 0, or >50000 for over-range"),
    ("viscosity_mpas", "nan", "'nan' is not a finite number; expected a number above 0, or >50000 for over-range"),
    ("viscosity_mpas", "inf", "'inf' is not a finite number; expected a number above 0, or >50000 for over-range"),
    ("viscosity_mpas", "1e999", "'1e999' is not a finite number; expected a number above 0, or >50000 for over-range"),
    ("viscosity_mpas", "0", "'0' is out of bounds; expected a number above 0, or >50000 for over-range"),
    ("viscosity_mpas", "-3", "'-3' is out of bounds; expected a number above 0, or >50000 for over-range"),
    ("viscosity_mpas", ">", "'>' is not a number; expected a number above 0, or >50000 for over-range"),
    ("viscosity_mpas", ">-1", "'-1' is out of bounds; expected a number above 0, or >50000 for over-range"),
    ("viscosity_mpas", "1_000", "'1_000' is not a number; expected a number above 0, or >50000 for over-range"),
    ("viscosity_mpas", "３９８", "'３９８' is not a number; expected a number above 0, or >50000 for over-range"),
    ("gel_grade", "6", "'6' is out of bounds; expected a whole number from 0 to 5"),
    ("gel_grade", "1.5", "'1.5' is not a whole number; expected a whole number from 0 to 5"),
    ("temperature_c", "warm", "'warm' is not a number; expected a number from -50 to 150"),
    ("temperature_c", "296", "'296' is out of bounds; expected a number from -50 to 150"),
    ("taken_at", "yesterday", "'yesterday' is not a time; expected an ISO 8601 time such as 2025-03-04T10:00+01:00"),
    ("taken_at", "", "is empty; expected an ISO 8601 time such as 2025-03-04T10:00+01:00"),
    ("taken_at", "2025-03-30T02:30", "'2025-03-30T02:30:00' does not exist in Europe/Berlin: the clocks skip it in "
     "spring; expected an ISO 8601 time such as 2025-03-04T10:00+01:00"),
    ("taken_at", "2025-06-02T12:01Z", "2025-06-02T12:01:00Z lies in the future; expected a time until 2025-06-02T12:00:00Z"),
    ("taken_at", "2025-03-04T08:59Z", "2025-03-04T08:59:00Z lies before the sample was placed; expected from "
     "2025-03-04T09:00:00Z on"),
    ("sample", "T11", "sample 'T11' is not on record; did you mean 'T1'?"),
    ("sample", "", "is empty; expected at most 60 characters"),
    ("operator", "Mira\x1b[2J", "'Mira\\x1b[2J' holds a character that does not print; expected text that prints"),
    ("operator", "Mi\u202era", "'Mi<right-to-left override>ra' holds a character that does not print; expected text "
     "that prints"),
    ("operator", "M" * 201, f"'{'M' * 57}…' has 201 characters; expected at most 200"),
]  # fmt: skip


@pytest.mark.parametrize(("column", "cell", "fault"), CELLS, ids=[f"{c[0]} {c[1][:12]!r}" for c in CELLS])
def test_a_bad_cell_is_told_with_its_place(filed: Records, column: str, cell: str, fault: str) -> None:
    assert told(filed, READING + GOOD + line(**{column: cell})) == (f"rows.csv line 3, {column}: {fault}",)


def test_a_reading_that_says_nothing_is_told_what_would_do(filed: Records) -> None:
    (fault,) = told(filed, READING + line(viscosity_mpas="", gel_grade=""))
    assert fault.startswith(
        "rows.csv line 2, viscosity_mpas: nothing was measured; expected viscosity_mpas; or spindle"
    )


@pytest.mark.parametrize(
    ("cells", "part"),
    [
        ("S2,60,40,", "torque_pct: the instrument is missing beside the torque"),
        ("S2,60,40,VIS-9", "torque_pct: the range of instrument 'VIS-9' is not on record"),
        ("S2,60,5,VIS-1", "torque_pct: torque 5 % is under 10 %"),
        ("S2,60,140,VIS-1", "torque_pct: '140' is out of bounds; expected a number from 0 to 100"),
        (",60,40,VIS-1", "torque_pct: spindle is missing beside speed_rpm, torque_pct"),
    ],
)
def test_a_torque_that_gives_no_viscosity_is_told_why(filed: Records, cells: str, part: str) -> None:
    header = "sample,taken_at,spindle,speed_rpm,torque_pct,instrument\n"
    (fault,) = told(filed, f"{header}T1,2025-03-11T10:00+01:00,{cells}\n")
    assert fault.startswith(f"rows.csv line 2, {part}")


def test_a_reading_after_the_ending_is_refused_and_an_ending_before_a_reading_too(filed: Records) -> None:
    ending = "sample,at,reason\nT1,2025-03-10T10:00+01:00,gelled\n"
    (fault,) = told(filed, {"e.csv": ending, "r.csv": READING + GOOD})
    assert fault == (
        "r.csv line 2, taken_at: 2025-03-11T09:00:00Z lies after the sample's ending; expected until "
        "2025-03-10T09:00:00Z"
    )
    take(filed, {"r.csv": READING + GOOD})
    (fault,) = told(filed, {"e.csv": ending})
    assert fault.startswith(
        "e.csv line 2, at: 2025-03-10T09:00:00Z lies before the sample's reading of 2025-03-11"
    )


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", "rows.csv: is empty; expected a header row and rows"),
        ("\n\n  \n", "rows.csv: is empty; expected a header row and rows"),
        (
            "sample,taken_at,viscosity\nT1,2025-03-11T10:00Z,398\n",
            "rows.csv line 1: column 'viscosity' is unknown in readings; did you mean viscosity_mpas?",
        ),
        (
            "sample,taken_at,taken_at,viscosity_mpas\nT1,2025-03-11T10:00Z,2025-03-11T10:00Z,398\n",
            "rows.csv line 1: column 'taken_at' stands there twice; expected once",
        ),
        (
            "sample,viscosity_mpas\nT1,398\n",
            "rows.csv line 1: column taken_at is missing; readings needs sample, taken_at",
        ),
        (
            "sample,taken_at,viscosity_mpas,\nT1,2025-03-11T10:00Z,398,\n",
            "rows.csv line 1: column 4 has no name in readings; expected sample, taken_at, viscosity_mpas",
        ),
        (READING + GOOD.strip() + ",more\n", "rows.csv line 2: extra cell 'more'; expected 6 cells as in the header"),
        (READING + "T1,2025-03-11T10:00Z\n", "rows.csv line 2: 2 cells; expected 6 as in the header"),
        (READING + 'T1,"2025\n', "rows.csv line 2: unexpected end of data; expected quotes that close"),
        ("alpha,beta\n1,2\n", "rows.csv line 1: no table of ours has the columns 'alpha', 'beta'; expected those of one"),
        (
            "store,temperature_c\nS1,50\nS1,51\n",
            "rows.csv line 3, temperature_c: contradicts the row on record or above, which has 50, not 51; expected",
        ),
        (
            "store,at,temperature_c\nCELLAR,2025-03-11T10:00Z,12\n",
            "rows.csv line 2, store: store 'CELLAR' is not on record; expected a store on record",
        ),
        (
            "sample,at,to_store\nT1,2025-03-11T10:00Z,OVN-51\n",
            "rows.csv line 2, to_store: store 'OVN-51' is not on record; did you mean 'OVN-50'?",
        ),
        (
            "sample,out_at,back_at\nT1,2025-03-11T10:00Z,2025-03-11T10:00Z\n",
            "rows.csv line 2, back_at: 2025-03-11T10:00:00Z is not after out_at; expected a time after",
        ),
        (
            "sample,at,reason\nT1,2025-03-11T10:00Z,lost\n",
            "rows.csv line 2, reason: 'lost' is not known here; expected one of gelled, dropped, used, closed",
        ),
        (
            SAMPLES.replace("Heron-A", "Heron-B"),
            "rows.csv line 2, product: contradicts the row on record or above, which has 'Heron-A', not 'Heron-B'",
        ),
        (
            SAMPLES.replace("T1,", "T8,").replace("S-07", "S-08"),
            "rows.csv line 2, study: study 'S-08' is not on record; did you mean 'S-07'?",
        ),
    ],
)  # fmt: skip
def test_a_bad_table_is_told_with_its_place(filed: Records, text: str, fault: str) -> None:
    assert told(filed, text)[0].startswith(fault)


def test_every_fault_of_every_file_is_told_in_one_run(filed: Records) -> None:
    bad = READING + line(viscosity_mpas="x") + GOOD + line(sample="T9", taken_at="2025-03-12T10:00Z")
    faults = told(filed, {"a.csv": bad, "b.csv": bad, "c.csv": "store,heat\n"})
    assert [fault.split(":")[0] for fault in faults] == [
        "c.csv line 1",
        "c.csv line 1",
        "a.csv line 2, viscosity_mpas",
        "a.csv line 4, sample",
        "b.csv line 2, viscosity_mpas",
        "b.csv line 4, sample",
    ]


def test_a_fault_in_one_row_gives_no_faults_in_the_rows_that_name_it(on_sqlite: Records) -> None:
    faults = told(
        on_sqlite,
        {
            "stores.csv": STORES.replace("50,1", "hot,1"),
            "samples.csv": SAMPLES.replace("2025-03-04T10:00+01:00", "2027-01-01", 1),
            "S-07.toml": STUDY,
            "readings.csv": READING + line(taken_at="2027-01-02"),
        },
    )
    assert [fault.split(":")[0] for fault in faults] == [
        "stores.csv line 2, temperature_c",
        "samples.csv line 2, placed_at",
        "readings.csv line 2, taken_at",
    ]


def test_thousands_of_faults_are_counted_and_only_the_first_are_kept(filed: Records) -> None:
    with pytest.raises(InputError) as refused:
        take(filed, {"rows.csv": READING + line(viscosity_mpas="x") * 10_050})
    assert len(refused.value.faults) == 10_001
    assert refused.value.faults[-1] == "50 further faults are not listed"


def test_markup_in_a_name_is_kept_as_typed(filed: Records) -> None:
    take(filed, {"rows.csv": READING + line(operator="[bold]Mira[/] <b>")})
    assert stored(filed, "reading")[0]["operator"] == "[bold]Mira[/] <b>"


def test_lines_and_other_scripts_are_welcome_in_a_note_and_control_characters_are_not(filed: Records) -> None:
    header = "sample,taken_at,viscosity_mpas,note\n"
    take(filed, {"rows.csv": f'{header}T1,2025-03-11T10:00Z,398,"clear\nनमूना ठीक है"\n'})
    assert stored(filed, "reading")[0]["note"] == "clear\nनमूना ठीक है"
    (fault,) = told(filed, f"{header}T1,2025-03-12T10:00Z,398,bell\x07\n", now=NOW)
    assert (
        fault
        == "rows.csv line 2, note: 'bell\\x07' holds a character that does not print; expected text that prints"
    )
