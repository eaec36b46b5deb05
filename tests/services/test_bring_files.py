"""Files of other programs: taken where they are understood without doubt, refused where they are not."""

# ruff: noqa: E501  (a line that is shown is easier to compare in one piece)

from __future__ import annotations

import io
from datetime import datetime
from pathlib import Path

import openpyxl
import pytest

from stability.errors import InputError
from stability.records.engine import Records
from stability.services.paths import sources_of
from tests.tables import STORES, ground, stored, take, told

GERMAN = "store;temperature_c;tolerance_c\nÖLBAD-50;50.5;1\nROOM-23;23;2\n"


def book(*sheets: list[list[object]]) -> bytes:
    made = openpyxl.Workbook()
    made.remove(made.active)
    for number, rows in enumerate(sheets):
        page = made.create_sheet(f"Sheet{number + 1}")
        for row in rows:
            page.append(row)
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


@pytest.mark.parametrize(
    "content",
    [
        pytest.param(GERMAN.encode(), id="UTF-8"),
        pytest.param(GERMAN.encode("utf-8-sig"), id="UTF-8 with its mark"),
        pytest.param(GERMAN.encode("utf-16"), id="UTF-16 with its mark"),
        pytest.param(GERMAN.replace("\n", "\r\n").encode(), id="carriage returns and line feeds"),
        pytest.param(GERMAN.replace("\n", "\r").encode(), id="carriage returns alone"),
        pytest.param(GERMAN.replace(";", ",").encode(), id="commas"),
        pytest.param(GERMAN.replace(";", "\t").encode(), id="tabs"),
        pytest.param(GERMAN.replace("ROOM-23", '"ROOM-23"').encode(), id="quotes"),
        pytest.param((GERMAN + ";;\n\n").encode(), id="blank lines at the end"),
        pytest.param(GERMAN.replace(";", " ; ").encode(), id="blanks around cells"),
    ],
)
def test_a_file_that_is_understood_without_doubt_is_taken(on_sqlite: Records, content: bytes) -> None:
    take(on_sqlite, {"x.csv": content})
    assert [(r["store"], r["temperature_c"]) for r in stored(on_sqlite, "store")] == [
        ("ÖLBAD-50", 50.5),
        ("ROOM-23", 23.0),
    ]


@pytest.mark.parametrize(
    ("content", "fault"),
    [
        pytest.param(
            GERMAN.encode("latin-1"), "x.csv line 2: byte 0xd6 is not UTF-8; expected UTF-8", id="Latin-1"
        ),
        pytest.param(
            GERMAN.encode("utf-16-le"), "x.csv line 2: byte 0xd6 is not UTF-8; expected UTF-8", id="UTF-16 without its mark"
        ),
        pytest.param(
            STORES.encode("utf-16-le"), "x.csv: holds NUL characters; expected a text file in UTF-8", id="NUL characters"
        ),
        pytest.param(
            GERMAN.replace("50.5", "50,5").encode(),
            "x.csv line 2, temperature_c: '50,5' has a comma (a decimal point is wanted, and no separators of "
            "thousands); expected a number above -273.15 and of at most 200",
            id="decimal comma",
        ),
        pytest.param(
            b"store;temperature_c,tolerance_c\nA;1,2\n",
            "x.csv line 1: the separator is not clear from 'store;temperature_c,tolerance_c'; expected commas",
            id="two separators",
        ),
        pytest.param(
            b"store|temperature_c\nA|1\n", "x.csv line 1: no table of ours has the columns 'store|temperature_c'",
            id="another separator",
        ),
        pytest.param(b"\xd0\xcf\x11\xe0\xa1\xb1", "x.csv: is an old or protected workbook", id="an old workbook"),
        pytest.param(b"PK\x03\x04 no zip", "x.csv: is not an XLSX workbook that can be read", id="a broken workbook"),
    ],
)  # fmt: skip
def test_a_file_that_could_be_misread_is_refused(on_sqlite: Records, content: bytes, fault: str) -> None:
    assert told(on_sqlite, {"x.csv": content})[0].startswith(fault)


def test_every_sheet_of_a_workbook_is_a_table_whatever_its_name(on_sqlite: Records) -> None:
    ground(on_sqlite)
    content = book(
        [["store", "temperature_c"], ["OVN-40", 40], [None, None]],
        [],
        [
            ["sample", "taken_at", "viscosity_mpas", "operator"],
            ["T1", datetime(2025, 3, 11, 10, 0), 398.25, 417],  # noqa: DTZ001  # a workbook knows no zones
        ],
        [["sample", "taken_at", "viscosity_mpas"], ["T1", "2025-03-12T10:00+01:00", ">50000"]],
    )
    brought = take(on_sqlite, {"book.xlsx": content})
    assert {name: count.added for name, count in brought.tables.items()} == {"stores": 1, "readings": 2}
    first, second = stored(on_sqlite, "reading")
    assert (first["viscosity_mpas"], first["operator"], f"{first['taken_at']:%H:%M}") == (
        398.25,
        "417",
        "09:00",
    )
    assert second["over_range"] == 1


def test_a_formula_in_a_workbook_is_refused_and_text_that_looks_like_one_is_not(on_sqlite: Records) -> None:
    ground(on_sqlite)
    header = ["sample", "taken_at", "viscosity_mpas", "note"]
    told_formula = told(on_sqlite, {"b.xlsx": book([header, ["T1", "2025-03-11T10:00Z", "=300+98", ""]])})
    assert told_formula == ("b.xlsx sheet Sheet1 cell C2: '=300+98' is a formula; expected a value",)
    made = openpyxl.Workbook()
    made.active.append(header)
    made.active.append(["T1", "2025-03-11T10:00Z", 398, "x"])
    made.active["D2"].value = "=looks thin"
    made.active["D2"].data_type = "s"
    out = io.BytesIO()
    made.save(out)
    take(on_sqlite, {"b.xlsx": out.getvalue()})
    assert stored(on_sqlite, "reading")[0]["note"] == "=looks thin"


def test_faults_in_a_workbook_name_sheet_line_and_column(on_sqlite: Records) -> None:
    ground(on_sqlite)
    content = book(
        [["sample", "taken_at", "viscosity_mpas"], ["T1", "2025-03-11T10:00Z", True], ["T1", 4, "#N/A"]]
    )
    assert told(on_sqlite, {"b.xlsx": content}) == (
        "b.xlsx sheet Sheet1 line 3, taken_at: '4' is not a time; expected an ISO 8601 time such as "
        "2025-03-04T10:00+01:00",
        "b.xlsx sheet Sheet1 line 2, viscosity_mpas: 'True' is not a number; expected a number above 0, or >50000 "
        "for over-range",
        "b.xlsx sheet Sheet1 line 3, viscosity_mpas: '#N/A' is not a number; expected a number above 0, or >50000 "
        "for over-range",
    )  # fmt: skip


def test_a_workbook_without_anything_in_it_is_empty(on_sqlite: Records) -> None:
    assert told(on_sqlite, {"b.xlsx": book([], [])}) == (
        "b.xlsx: is empty; expected a sheet with a header row and rows",
    )


def test_a_folder_gives_its_tables_and_studies_and_nothing_else(tmp_path: Path) -> None:
    for name in (
        "a.csv",
        "deep/b.XLSX",
        "deep/S.toml",
        "stability.toml",
        "readme.txt",
        ".hidden/c.csv",
        "~$b.xlsx",
    ):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(b"x")
    names = [source.name for source in sources_of([tmp_path, tmp_path / "a.csv"])]
    assert names == ["a.csv", str(Path("deep/S.toml")), str(Path("deep/b.XLSX"))]


def test_what_cannot_be_read_is_told_together(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError) as refused:
        sources_of([tmp_path / "none.csv", tmp_path / "empty"])
    assert [fault.removeprefix(str(tmp_path)) for fault in refused.value.faults] == [
        "/none.csv: no such file or directory; expected a file that can be read",
        "/empty: holds no CSV, XLSX or TOML file; expected at least one",
    ]
