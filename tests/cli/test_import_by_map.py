"""`stability import FILE --map`: invented sheets of several laboratories, taken in or refused."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from stability.cli.edge import run
from tests.builders import BERLIN, Bench, bench

Shell = Callable[..., tuple[int, str, str]]

GERMAN = """Lagerversuch Ofen;;;;;
;;;;;
Probe-Nr.;Messdatum;Viskosität [Pa·s];Temp. (°C);Prüfer;Regal
0417-K;05.03.2025 10:00;0,278;23,1;Mira;A
0417-K;25.03.2025 10:00;0,3985;22,9;Mira;A
0418-M;25.03.2025 10:05;1.234,5;23,0;Jonas;B
"""
FRENCH = """Échantillon,Date de mesure,Heure,Viscosité (cP),Température (°F),Remarques
0417-K,05/03/2025,10h30,"1 278,5","73,4",
0418-M,25/03/2025,9h,">50 000","73,0",trop épais
"""
WEEKS = """Sample\tStart date\tW0\tW1\tW3\tComment
0417-K\t2025-03-04 10:00\t278\t300\t398\t
0418-M\t2025-03-04 10:00\t245\t\tgel\tlid
"""
BY_DAY = """Viscosity in mPas at 23 C,,
Day,0417-K,0418-M
1,278,246
7,281,247
"""
TWO_ROWS = "Tin;Date;Visc.;T;Weight\n;;[P];[K];[kg]\n0417-L;6 Mar 2025 10:00;3.45;296.15;0.2502\n"
CUPS = "sample;date;flow cup;efflux time;density (kg/m³)\n0417-L;06.03.2025 10:00;DIN 4;61,5;985\n"
LOGGER = "Store;Time;Temp. [°C]\nOVN-50;05.03.2025 10:00;50,1\nOVN-50;05.03.2025 11:00;50,3\n"


@pytest.fixture
def at_bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Bench]:
    made = bench(tmp_path)
    monkeypatch.setenv("STABILITY_DB", str(made.path))
    monkeypatch.setenv("STABILITY_TIME_ZONE", "Europe/Berlin")
    monkeypatch.chdir(tmp_path)
    yield made
    made.records.close()


@pytest.fixture
def shell(at_bench: Bench, capsys: pytest.CaptureFixture[str]) -> Shell:
    def call(text: str | bytes, *arguments: str, file: str = "own.csv") -> tuple[int, str, str]:
        Path(file).write_bytes(text if isinstance(text, bytes) else text.encode())
        code = run(["import", file, *arguments, "--person", "Mira"])
        return code, *capsys.readouterr()

    return call


def taken(made: Bench) -> list[tuple[str, float | None]]:
    """Return local time and viscosity of all readings, oldest first."""
    return [
        (row["taken_at"].astimezone(BERLIN).strftime("%Y-%m-%d %H:%M"), row["viscosity_mpas"])
        for row in made.rows("reading")
    ]


def test_a_german_sheet_is_shown_as_understood_and_not_taken_in_unasked(
    at_bench: Bench, shell: Shell
) -> None:
    code, out, err = shell(GERMAN, "--map", "oven")
    assert (code, out) == (2, "")
    assert err.splitlines() == [
        "own.csv as readings:",
        "   1  Probe-Nr.          sample   (0417-K)",
        "   2  Messdatum          taken_at   (05.03.2025 10:00)",
        "   3  Viskosität [Pa·s]  viscosity_mpas in Pa·s   (0,278)",
        "   4  Temp. (°C)         temperature_c in °C   (23,1)",
        "   5  Prüfer             operator   (Mira)",
        "   6  Regal              left out   (A)",
        "      decimal comma, as 0,278 shows",
        "the first of 3 rows as understood:",
        "  line  sample  taken_at             viscosity_mpas  temperature_c  operator",
        "  4     0417-K  2025-03-05T10:00:00  278             23.1           Mira",
        "  5     0417-K  2025-03-25T10:00:00  398.5           22.9           Mira",
        "  6     0418-M  2025-03-25T10:05:00  1234500         23             Jonas",
        "error: nothing was written",
        "hint: --yes takes the 3 rows in",
    ]
    assert (at_bench.rows("reading"), Path("mappings").exists()) == ([], False)


def test_a_mapping_is_kept_and_used_again_without_questions(at_bench: Bench, shell: Shell) -> None:
    sheet = GERMAN.replace("1.234,5", "0,246")
    code, out, err = shell(sheet, "--map", "oven", "--yes")
    assert (code, out) == (0, "readings: 3 added\n")
    assert "mapping kept: mappings/oven.toml" in err
    assert taken(at_bench) == [
        ("2025-03-05 10:00", 278.0),
        ("2025-03-25 10:00", 398.5),
        ("2025-03-25 10:05", 246.0),
    ]
    further = "\n".join([*sheet.splitlines()[:3], "0418-M;01.04.2025 10:00;0,247;23,2;Mira;B"])
    code, out, err = shell(further, "--map", "oven", "--yes", "--json")
    assert code == 0
    assert json.loads(out)["mapping"] == "oven"
    assert "mapping kept" not in err
    assert taken(at_bench)[-1] == ("2025-04-01 10:00", 247.0)
    assert json.loads(at_bench.rows("event")[-1]["details"])["files"].keys() == {"own.csv by mapping oven"}
    # the same again is on record already
    assert shell(further, "--map", "oven", "--yes")[1] == "readings: 1 already on record\n"


def test_french_heads_fahrenheit_and_days_that_prove_their_order(at_bench: Bench, shell: Shell) -> None:
    code, _, err = shell(FRENCH, "--map", "fr", "--yes")
    assert code == 0
    assert "dates: day first, as 25/03/2025 shows" in err
    assert taken(at_bench) == [("2025-03-05 10:30", 1278.5), ("2025-03-25 09:00", 50000.0)]
    rows = at_bench.rows("reading")
    assert [(r["over_range"], r["temperature_c"]) for r in rows] == [
        (0, 23.0),
        (1, pytest.approx(22.778, abs=1e-3)),
    ]
    assert rows[1]["note"] == "trop épais"


def test_a_date_of_two_meanings_is_refused_until_somebody_says(at_bench: Bench, shell: Shell) -> None:
    sheet = FRENCH.replace("25/03", "06/03")
    code, _, err = shell(sheet, "--map", "fr", "--yes")
    assert code == 2
    assert "error: '05/03/2025': 5 Mar 2025 or 3 May 2025? (--dates 'day first')" in err
    assert at_bench.rows("reading") == []
    assert not Path("mappings").exists()
    assert shell(sheet, "--map", "fr", "--yes", "--dates", "day first")[0] == 0
    assert [at for at, _ in taken(at_bench)] == ["2025-03-05 10:30", "2025-03-06 09:00"]


def test_a_number_of_two_meanings_is_refused_until_somebody_says(at_bench: Bench, shell: Shell) -> None:
    sheet = "sample;date;visc cP\n0417-K;2025-03-05 10:00;1,234\n"
    code, _, err = shell(sheet, "--map", "n", "--yes")
    assert code == 2
    assert "error: '1,234': 1.234 or 1234? which mark stands before decimals (--decimal comma)" in err
    assert shell(sheet, "--map", "n", "--yes", "--decimal", "point")[0] == 0
    assert taken(at_bench) == [("2025-03-05 10:00", 1234.0)]


def test_weeks_across_the_sheet_are_a_reading_each(at_bench: Bench, shell: Shell) -> None:
    code, _, err = shell(WEEKS, "--map", "w", "--yes")
    assert code == 2
    assert "error: what do the cells below 'W0' to 'W3' hold? (--values 'viscosity_mpas in mPa·s')" in err
    said = ["--values", "viscosity_mpas in cP", "--word", "gel=grade 4"]
    code, out, _ = shell(WEEKS, "--map", "w", "--yes", *said)
    assert (code, out) == (0, "readings: 5 added\n")
    assert taken(at_bench) == [
        ("2025-03-04 10:00", 278.0),
        ("2025-03-11 10:00", 300.0),
        ("2025-03-25 10:00", 398.0),
        ("2025-03-04 10:00", 245.0),
        ("2025-03-25 10:00", None),
    ]
    assert at_bench.rows("reading")[-1]["gel_grade"] == 4
    # another week is no new column
    longer = WEEKS.replace("W3\t", "W3\tW4\t").replace("398\t", "398\t\t").replace("gel\t", "gel\t\t")
    assert shell(longer, "--map", "w", "--yes")[0] == 0


def test_samples_across_the_sheet_and_ages_down_it(at_bench: Bench, shell: Shell) -> None:
    code, out, err = shell(BY_DAY, "--map", "d", "--yes")
    assert (code, out) == (0, "readings: 4 added\n")
    assert "0417-K … 0418-M: 2 samples across, below them viscosity_mpas in mPa·s" in err
    assert taken(at_bench)[0] == ("2025-03-05 10:00", 278.0)
    # by the calendar: the clocks went forward in between, the hour of the check did not
    late = BY_DAY.replace("\n7,", "\n28,")
    assert shell(late.replace("1,278,246\n", ""), "--map", "d", "--yes")[0] == 0
    assert taken(at_bench)[-1] == ("2025-04-01 10:00", 247.0)


def test_units_in_a_row_of_their_own(at_bench: Bench, shell: Shell) -> None:
    assert shell(TWO_ROWS, "--map", "u", "--yes")[0] == 0
    (row,) = at_bench.rows("reading")
    assert (row["viscosity_mpas"], row["temperature_c"], row["mass_g"]) == (345.0, 23.0, 250.2)


def test_cup_seconds_with_a_density_in_other_units(at_bench: Bench, shell: Shell) -> None:
    assert shell(CUPS, "--map", "c", "--yes")[0] == 0
    (row,) = at_bench.rows("reading")
    assert (row["cup"], row["efflux_s"], row["density_g_ml"]) == ("DIN 4", 61.5, 0.985)
    assert row["viscosity_mpas"] > 200


def test_a_kinematic_viscosity_wants_its_density(at_bench: Bench, shell: Shell) -> None:
    sheet = "sample;date;visc [cSt];density [g/mL]\n0417-L;06.03.2025 10:00;350;0.98\n"
    assert shell(sheet, "--map", "k", "--yes")[0] == 0
    assert taken(at_bench)[0][1] == pytest.approx(343.0)
    bare = "sample;date;visc [cSt]\n0417-L;07.03.2025 10:00;350\n"
    code, _, err = shell(bare, "--map", "k2", "--yes")
    assert code == 2
    assert "own.csv line 2: a kinematic viscosity (mm²/s) needs the density beside it" in err


def test_a_logger_s_file_is_temperatures(at_bench: Bench, shell: Shell) -> None:
    assert shell(LOGGER, "--map", "logger", "--yes")[:2] == (0, "temperatures: 2 added\n")


def test_a_file_of_an_old_program_says_its_letters(at_bench: Bench, shell: Shell) -> None:
    content = GERMAN.replace("1.234,5", "0,246").encode("cp1252")
    code, _, err = shell(content, "--map", "old", "--yes")
    assert (code, err.splitlines()[0]) == (2, "error: own.csv: is not UTF-8")
    assert shell(content, "--map", "old", "--yes", "--encoding", "cp1252")[0] == 0
    assert 'encoding = "cp1252"' in Path("mappings/old.toml").read_text("utf-8")
    assert shell(content, "--map", "old", "--yes")[1] == "readings: 3 already on record\n"


def _workbook(pages: dict[str, list[list[Any]]]) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for name, rows in pages.items():
        page = book.create_sheet(name)
        for row in rows:
            page.append(row)
    packed = io.BytesIO()
    book.save(packed)
    return packed.getvalue()


OVEN = [
    ["Messwerte", None, None, None],
    ["Probe", "Datum", "Visk. mPas", "Bemerkung"],
    ["0417-K", datetime.fromisoformat("2025-03-05T10:00"), 278.5, None],
    ["0418-M", datetime.fromisoformat("2025-03-05"), 246, "trüb"],
]


def test_a_workbook_s_own_numbers_and_dates_need_no_answers(at_bench: Bench, shell: Shell) -> None:
    content = _workbook({"Ofen": OVEN})
    code, _, err = shell(content, "--map", "x", "--yes", file="own.xlsx")
    assert code == 2
    assert "'2025-03-05' has no time of the day: at what time, such as 10:00? (--time-of-day 10:00)" in err
    assert shell(content, "--map", "x", "--yes", "--time-of-day", "11 Uhr", file="own.xlsx")[0] == 0
    assert taken(at_bench) == [("2025-03-05 10:00", 278.5), ("2025-03-05 11:00", 246.0)]


def test_of_several_sheets_one_is_named(at_bench: Bench, shell: Shell) -> None:
    content = _workbook({"Ofen": OVEN[:3], "Notizen": [["x", "y"]]})
    _, _, err = shell(content, "--map", "x", "--yes", file="own.xlsx")
    assert err.splitlines() == [
        "error: several sheets hold something",
        "hint: --sheet NAME, one of Ofen, Notizen",
    ]
    assert shell(content, "--map", "x", "--yes", "--sheet", "Ofen", file="own.xlsx")[0] == 0
    assert shell(content, "--map", "x", "--yes", file="own.xlsx")[1] == "readings: 1 already on record\n"


def test_a_formula_is_refused(at_bench: Bench, shell: Shell) -> None:
    rows = [*OVEN[:2], ["0417-K", datetime.fromisoformat("2025-03-05T10:00"), "=2*139", None]]
    code, _, err = shell(_workbook({"Ofen": rows}), "--map", "x", "--yes", file="own.xlsx")
    assert code == 2
    assert "cell C3: '=2*139' is a formula; expected a value" in err
