"""Sheets drawn at random into `stability import FILE --map`: never a traceback, and whole or not at all."""

from __future__ import annotations

import contextlib
import io
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

from stability.cli.edge import run
from tests.builders import Bench, bench

QUIET = settings(max_examples=120, suppress_health_check=[HealthCheck.function_scoped_fixture])
# fmt: off
HEADS = st.sampled_from(
    [
        "sample", "Probe", "Échantillon", "date", "Datum", "Messdatum", "visc [cP]", "Viskosität",
        "viscosité (Pa·s)", "Temp °F", "T", "day", "Woche", "W0", "W1", "day 7", "2025-03-04", "0417-K",
        "0418-M", "Uhrzeit", "gel", "Gewicht [kg]", "density [kg/m³]", "Start", "store", "Lot",
        "humidity", "dry through [h]", "entered", "note", "speed", "torque", "cup", "efflux",
    ]
)
# fmt: on
# fmt: off
CELLS = st.sampled_from(
    [
        "0417-K", "0418-M", "0417-X", "2025-03-05 10:00", "05.03.2025", "03/04/2025", "25/03/2025 9h",
        "30.02.2025", "278", "1,234", "1.234,5", "0,398", "-3", ">50.000", ">", "gel", "n.d.", "-",
        "1e9", "1e999", "nan", "inf", "10:30", "3", "7", "99999999999999999999", "=1+1", "OVN-50",
        "2025-03-30 02:30", "0001-01-01", "9999-12-31", "\u202e278", "\x1b[2J", "\u0663", "5",
    ]
)
# fmt: on
ANY = st.text(max_size=12)
SAID = st.lists(
    st.sampled_from(
        [
            ("--dates", "day first"),
            ("--dates", "month first"),
            ("--decimal", "comma"),
            ("--decimal", "point"),
            ("--time-of-day", "10:00"),
            ("--values", "viscosity_mpas in cP"),
            ("--values", "viscosity_mpas in mm²/s"),
            ("--ages", "weeks"),
            ("--word", "gel=grade 4"),
            ("--word", "-=nothing"),
            ("--set", "sample=0417-K"),
            ("--set", "taken_at=2025-03-06T10:00"),
            ("--set", "age=x"),
            ("--set", "density_g_ml=0.98"),
            ("--table", "cures"),
            ("--table", "samples"),
            ("--encoding", "cp1252"),
        ]
    ),
    max_size=6,
)


@pytest.fixture
def at_bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Bench]:
    made = bench(tmp_path)
    monkeypatch.setenv("STABILITY_DB", str(made.path))
    monkeypatch.setenv("STABILITY_TIME_ZONE", "Europe/Berlin")
    monkeypatch.chdir(tmp_path)
    yield made
    made.records.close()


def _brought(made: Bench, file: str, content: bytes, said: list[tuple[str, str]]) -> None:
    """Bring a file in, twice, and hold what must hold whatever is in it."""
    Path(file).write_bytes(content)
    arguments = [
        "import",
        file,
        "--map",
        "drawn",
        "--yes",
        "--person",
        "Mira",
        *(w for pair in said for w in pair),
    ]
    before = {name: made.rows(name) for name in ("reading", "cure", "sample", "store_temperature", "event")}
    for path in Path("mappings").glob("*"):
        path.unlink()
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = run(arguments)
    assert code in (0, 2), err.getvalue()
    assert "Traceback" not in err.getvalue()
    assert "unexpected fault" not in err.getvalue()
    assert all(c.isprintable() or c == "\n" for c in err.getvalue())
    after = {name: made.rows(name) for name in before}
    if code == 2:
        assert after == before
        return
    # taken in: every reading lies in the past, has a value of its own, and the file is then on record
    for row in after["reading"][len(before["reading"]) :]:
        assert row["viscosity_mpas"] is None or row["viscosity_mpas"] > 0
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        assert run(["import", file, "--map", "drawn", "--yes", "--person", "Mira"]) == 0, err.getvalue()
    assert {name: made.rows(name) for name in before} == after


def _text(rows: list[list[str]], separator: str) -> bytes:
    def quoted(cell: str) -> str:
        needs = any(c in cell for c in (separator, '"', "\n", "\r"))
        return '"' + cell.replace('"', '""') + '"' if needs else cell

    lines = [separator.join(map(quoted, row)) for row in rows]
    return "\n".join(lines).encode("utf-8", "surrogatepass")


NEAR = st.tuples(
    st.sampled_from(["0417-K", "0418-M", "0417-K", "gel"]),
    st.sampled_from(["05.03.2025 10:00", "06.03.2025", "25/03/2025 9h", "2025-03-30 02:30", "7"]),
    st.sampled_from(["278", "0,398", "398,5", ">50.000", "gel", ""]),
)


def _tables(width: int) -> st.SearchStrategy[Any]:
    """Return sheets of any heads, and sheets that begin like a good one."""
    anything = st.tuples(
        st.lists(HEADS | ANY, min_size=width, max_size=width),
        st.lists(st.lists(CELLS | ANY, min_size=0, max_size=width + 1), max_size=5),
    )
    more = st.tuples(NEAR, st.lists(CELLS | ANY, max_size=2)).map(lambda both: [*both[0], *both[1]])
    starts = st.sampled_from([["sample", "date"], ["Probe", "Tag"], ["code", "Datum"]])
    near = st.tuples(
        st.tuples(
            starts, st.sampled_from(["visc [cP]", "Viskosität (Pa·s)", "day 7"]), st.lists(HEADS, max_size=2)
        ).map(lambda three: [*three[0], three[1], *three[2]]),
        st.lists(more, max_size=4),
    )
    return anything | near


tables = st.integers(1, 6).flatmap(_tables)


@QUIET
@given(tables, st.sampled_from(";,\t|"), SAID)
def test_a_drawn_text_file(at_bench: Bench, table: Any, separator: str, said: list[tuple[str, str]]) -> None:
    head, rows = table
    _brought(at_bench, "drawn.csv", _text([head, *rows], separator), said)


likely = st.lists(
    st.tuples(
        st.sampled_from(["0417-K", "0417-L", "0418-M"]),
        st.integers(5, 31).map(lambda day: f"{day:02}.03.2025"),
        st.integers(200, 90_000).map(lambda value: f"{value / 1000:.3f}".replace(".", ",")),
        st.sampled_from(["23,1", "", "22,8"]),
    ),
    min_size=1,
    max_size=6,
    unique_by=lambda row: row[:2],
)


@settings(QUIET, max_examples=40)
@given(likely)
def test_a_likely_sheet_is_taken_in_with_the_values_it_says(
    at_bench: Bench, rows: list[tuple[str, str, str, str]]
) -> None:
    header = "Probe;Messdatum;Viskosität [Pa·s];Temp. [°C]"
    content = "\n".join([header, *(";".join(row) for row in rows)]).encode()
    said = [("--time-of-day", "10:00"), ("--decimal", "comma")]
    _brought(at_bench, "likely.csv", content, said)


workbook_cells = (
    CELLS | ANY | st.integers() | st.floats() | st.datetimes() | st.booleans() | st.none() | st.times()
)


@settings(QUIET, max_examples=40)
@given(
    st.lists(HEADS, max_size=4).map(lambda heads: ["sample", "date", "visc [cP]", *heads]),
    st.lists(st.tuples(NEAR, st.lists(workbook_cells, max_size=4)).map(lambda b: [*b[0], *b[1]]), max_size=4),
    SAID,
)
def test_a_drawn_workbook(at_bench: Bench, head: list[str], rows: list[list[Any]], said: Any) -> None:
    book = openpyxl.Workbook()
    page = book.worksheets[0]
    for row in [head, *rows]:
        page.append([ILLEGAL_CHARACTERS_RE.sub("?", cell) if isinstance(cell, str) else cell for cell in row])
    packed = io.BytesIO()
    try:
        book.save(packed)
    except (ValueError, OverflowError, UnicodeEncodeError):
        return  # what cannot be kept in a workbook cannot come from one
    _brought(at_bench, "drawn.xlsx", packed.getvalue(), said)


@settings(QUIET, max_examples=40)
@given(st.binary(max_size=200), st.sampled_from([b"", b"PK\x03\x04", b"\xff\xfe", b"sample;date;visc cP\n"]))
def test_drawn_bytes(at_bench: Bench, content: bytes, lead: bytes) -> None:
    _brought(at_bench, "bytes" + os.extsep + "csv", lead + content, [])
