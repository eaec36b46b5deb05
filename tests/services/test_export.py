"""What is written out comes in again as it was: the same rows, the same corrections, the same bytes."""

# ruff: noqa: E501  (a line that is shown is easier to compare in one piece)

from __future__ import annotations

import io
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stability.records.engine import Records
from stability.records.history import readings, studies
from stability.services.bring import bring, bring_rows
from stability.services.correct import set_aside
from stability.services.export import export
from stability.services.forecast import forecasts
from stability.services.paths import sources_of
from stability.services.studies import file_study
from stability.services.tables import TABLES
from tests.conftest import fresh_sqlite
from tests.fleet import day
from tests.lab import SETTINGS, lab_rows
from tests.services.test_bring_tables import EVERYTHING
from tests.tables import BERLIN, NOW, STUDY, ground, stored, take

PLACED = datetime(2025, 3, 4, 9, 0, tzinfo=UTC)


def bytes_in(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def again(folder: Path, target: Path, now: datetime = NOW) -> Records:
    """Return a new database with everything that was exported."""
    target.mkdir(exist_ok=True)
    records = fresh_sqlite(target)
    bring(records, sources_of([folder]), person="Lena", now=now, zone=BERLIN)
    return records


@pytest.fixture
def full(records: Records) -> Records:
    take(records, {f"{name}.csv": text for name, text in EVERYTHING.items()} | {"S-07.toml": STUDY})
    return records


@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_all_tables_go_out_and_come_in_again_byte_for_byte(full: Records, form: str, tmp_path: Path) -> None:
    export(full, tmp_path / "first", as_of=NOW, form=form)
    copy = again(tmp_path / "first", tmp_path / "new")
    export(copy, tmp_path / "second", as_of=NOW, form=form)
    assert bytes_in(tmp_path / "first") == bytes_in(tmp_path / "second")
    brought = bring(copy, sources_of([tmp_path / "first"]), person="Lena", now=NOW, zone=BERLIN)
    assert not brought.changed
    copy.close()


def test_every_table_is_written_with_exactly_its_columns_even_when_it_is_empty(
    on_sqlite: Records, tmp_path: Path
) -> None:
    done = export(on_sqlite, tmp_path / "out", as_of=NOW)
    assert set(done.files) == {f"{name}.csv" for name in TABLES}
    for name, spec in TABLES.items():
        assert (tmp_path / "out" / f"{name}.csv").read_text() == ",".join(spec.names) + "\n"
    assert not again(tmp_path / "out", tmp_path / "new").close()


def test_times_are_written_in_utc_and_an_older_view_leaves_out_what_was_not_known(
    on_sqlite: Records, tmp_path: Path
) -> None:
    ground(on_sqlite)
    header = "sample,taken_at,viscosity_mpas,entered_at,corrects,reason\n"
    first = "T1,2025-03-11T10:00+01:00,398,2025-03-11T11:00+01:00,,\n"
    mended = "T1,2025-03-11T10:00+01:00,389,2025-03-13T11:00+01:00,2025-03-11T10:00+01:00,misread\n"
    take(on_sqlite, {"r.csv": header + first + mended})
    export(on_sqlite, tmp_path / "then", as_of=datetime(2025, 3, 12, tzinfo=UTC))
    export(on_sqlite, tmp_path / "now", as_of=NOW)
    then = (tmp_path / "then" / "readings.csv").read_text().splitlines()
    assert [line.split(",")[:3] for line in then[1:]] == [["T1", "2025-03-11T09:00:00Z", "398.0"]]
    assert len((tmp_path / "now" / "readings.csv").read_text().splitlines()) == 3
    assert "2025-03-11T09:00:00Z,misread" in (tmp_path / "now" / "readings.csv").read_text()


def test_older_versions_of_a_study_go_out_beside_the_newest_and_come_in_with_their_times(
    on_sqlite: Records, tmp_path: Path
) -> None:
    at = [datetime(2025, month, 1, tzinfo=UTC) for month in (1, 2, 3)]
    texts = [STUDY, STUDY.replace("= 365", "= 540"), STUDY]
    for text, moment in zip(texts, at, strict=True):
        file_study(on_sqlite, text, person="Lena", now=moment)
    export(on_sqlite, tmp_path / "out", as_of=NOW)
    assert sorted(bytes_in(tmp_path / "out" / "studies")) == ["S-07.toml", "S-07.v1.toml", "S-07.v2.toml"]
    copy = again(tmp_path / "out", tmp_path / "new")
    for records in (on_sqlite, copy):
        with records.reading() as connection:
            known = [studies(connection, as_of=moment)[0] for moment in at]
        assert [(s.version, s.target_life_days) for s in known] == [(1, 365.0), (2, 540.0), (3, 365.0)]
        assert [s.entered_at for s in known] == at
    assert [row["source"] for row in stored(copy, "study_version")] == texts
    assert not bring(copy, sources_of([tmp_path / "out"]), person="x", now=NOW, zone=BERLIN).changed
    copy.close()


def test_a_new_database_gives_the_same_forecasts_and_the_same_corrections(
    on_sqlite: Records, tmp_path: Path
) -> None:
    lab_rows(on_sqlite, thinner="xylene")
    (wrong, *_) = [row for row in stored(on_sqlite, "reading") if row["viscosity_mpas"] > 420]
    correction = {
        "sample": next(
            row["sample"] for row in stored(on_sqlite, "sample") if row["id"] == wrong["sample_id"]
        ),
        "taken_at": wrong["taken_at"],
        "viscosity_mpas": wrong["viscosity_mpas"] * 1.03,
        "corrects": wrong["taken_at"],
        "reason": "read again",
        "entered_at": wrong["taken_at"] + timedelta(days=1),
    }
    now = day(120)
    bring_rows(on_sqlite, {"readings": [correction]}, person="Mira", now=now, zone=BERLIN)
    export(on_sqlite, tmp_path / "out", as_of=now)
    copy = again(tmp_path / "out", tmp_path / "new", now=now)
    told = [
        [forecast.row for forecast in forecasts(records, as_of=at, settings=SETTINGS)]
        for at in (wrong["taken_at"] + timedelta(hours=2), now)
        for records in (on_sqlite, copy)
    ]
    assert told[0] == told[1]
    assert told[2] == told[3]
    assert told[2][0]["outcome"] == "estimated"
    copy.close()


def test_a_reading_that_was_set_aside_stays_aside_whatever_it_was_measured_with(
    on_sqlite: Records, tmp_path: Path
) -> None:
    ground(on_sqlite)
    header = "sample,taken_at,spindle,speed_rpm,torque_pct,instrument,cup,efflux_s,density_g_ml,entered_at\n"
    torque = "T1,2025-03-11T10:00Z,S2,60,40,VIS-1,,,,2025-03-11T11:00Z\n"
    cup = "T2,2025-03-11T10:00Z,,,,,ISO 4,60,0.95,2025-03-11T11:00Z\n"
    take(on_sqlite, {"r.csv": header + torque + cup})
    at = datetime(2025, 3, 11, 10, 0, tzinfo=UTC)
    for sample in ("T1", "T2"):
        set_aside(
            on_sqlite,
            sample=sample,
            taken_at=at,
            reason="wrong tin",
            person="Mira",
            now=at + timedelta(days=1),
        )
    export(on_sqlite, tmp_path / "out", as_of=NOW)
    copy = again(tmp_path / "out", tmp_path / "new")
    assert what_counts(copy, NOW) == what_counts(on_sqlite, NOW)
    assert [values[2] for values in what_counts(copy, NOW)] == [None, None]
    assert not bring(on_sqlite, sources_of([tmp_path / "out"]), person="x", now=NOW, zone=BERLIN).changed
    export(copy, tmp_path / "again", as_of=NOW)
    assert bytes_in(tmp_path / "again") == bytes_in(tmp_path / "out")
    copy.close()


def test_a_code_that_no_file_may_be_called_is_spelt_out(on_sqlite: Records, tmp_path: Path) -> None:
    file_study(on_sqlite, STUDY.replace("S-07", "S:07*"), person="Lena", now=NOW)
    done = export(on_sqlite, tmp_path, as_of=NOW)
    assert "studies/S%3A07%2A.toml" in done.files


def test_a_workbook_keeps_text_as_text_and_every_digit(on_sqlite: Records, tmp_path: Path) -> None:
    ground(on_sqlite)
    row = {
        "sample": "T1",
        "taken_at": NOW,
        "viscosity_mpas": 0.1 + 0.2,
        "note": "=cmd|' /C calc'!A0",
        "photo": "#N/A",
    }
    bring_rows(on_sqlite, {"readings": [row]}, person="Mira", now=NOW, zone=BERLIN)
    export(on_sqlite, tmp_path / "out", as_of=NOW, form="xlsx")
    content = (tmp_path / "out" / "stability.xlsx").read_bytes()
    book = openpyxl.load_workbook(io.BytesIO(content))
    assert book.sheetnames == list(TABLES)
    cells = dict(zip((c.value for c in book["readings"][1]), book["readings"][2], strict=True))
    assert (cells["note"].data_type, cells["note"].value) == ("s", row["note"])
    assert cells["viscosity_mpas"].value == 0.30000000000000004
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        assert {item.date_time for item in packed.infolist()} == {(1980, 1, 1, 0, 0, 0)}
    copy = again(tmp_path / "out", tmp_path / "new")
    (there,) = stored(copy, "reading")
    assert (there["viscosity_mpas"], there["note"], there["photo"]) == (0.1 + 0.2, row["note"], "#N/A")
    copy.close()


MOMENTS = st.integers(0, 80 * 24 * 60).map(lambda minutes: PLACED + timedelta(minutes=minutes))
TEXTS = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Cf", "Zs", "Zl", "Zp", "Co", "Cn"]),
    max_size=12,
)
NOTES = st.one_of(
    st.none(), TEXTS, st.sampled_from(['a "b", c; d', "two\nlines", "=1+1", "  blanks  ", "'", ","])
)
VALUES = st.one_of(
    st.floats(300, 3000), st.sampled_from([">50000", "398.20", "4e2"]).filter(lambda text: text != ">50000")
)


@st.composite
def record_sets(draw: st.DrawFn) -> list[dict[str, Any]]:
    """Some readings of two samples and corrections of them, of corrected times too."""
    rows: list[dict[str, Any]] = []
    known: set[tuple[str, datetime]] = set()
    for _ in range(draw(st.integers(0, 6))):
        sample, taken_at = draw(st.sampled_from(["T1", "T2"])), draw(MOMENTS)
        if (sample, taken_at) in known:
            continue
        known.add((sample, taken_at))
        entered_at = taken_at + timedelta(seconds=draw(st.integers(0, 86_400)))
        grade = draw(st.one_of(st.none(), st.integers(0, 5)))
        value = draw(VALUES) if grade is None else draw(st.one_of(st.none(), VALUES))
        row = {"sample": sample, "taken_at": taken_at, "viscosity_mpas": value, "gel_grade": grade}
        rows.append(
            row
            | {
                "note": draw(NOTES),
                "entered_at": entered_at,
                "mass_g": draw(st.one_of(st.none(), st.floats(1, 400))),
            }
        )
        for number in range(draw(st.integers(0, 2))):
            entered_at += timedelta(seconds=draw(st.integers(1, 86_400)))
            moved = taken_at if draw(st.booleans()) else max(PLACED, taken_at - timedelta(hours=number + 1))
            rows.append(
                {
                    "sample": sample,
                    "taken_at": moved,
                    "viscosity_mpas": draw(st.one_of(st.none(), VALUES)),
                    "gel_grade": draw(st.one_of(st.none(), st.integers(0, 5))),
                    "entered_at": entered_at,
                    "corrects": taken_at,
                    "reason": draw(TEXTS.filter(bool)),
                }
            )
    return rows


@settings(max_examples=12)
@given(rows=record_sets(), form=st.sampled_from(["csv", "csv", "xlsx"]))
def test_any_readings_and_corrections_come_back_with_what_was_known_when(
    rows: list[dict[str, Any]], form: str
) -> None:
    with TemporaryDirectory() as folder:
        place = Path(folder)
        records = fresh_sqlite(place)
        ground(records)
        bring_rows(records, {"readings": rows}, person="Mira", now=NOW, zone=BERLIN)
        export(records, place / "out", as_of=NOW, form=form)
        copy = again(place / "out", place / "new")
        moments = sorted({row["entered_at"] for row in rows})
        assert [what_counts(copy, at) for at in moments] == [what_counts(records, at) for at in moments]
        export(copy, place / "out2", as_of=NOW, form=form)
        assert bytes_in(place / "out") == bytes_in(place / "out2")
        records.close()
        copy.close()


def what_counts(records: Records, as_of: datetime) -> list[tuple[object, ...]]:
    with records.reading() as connection:
        found = readings(connection, as_of=as_of, with_set_aside=True)
    return sorted(
        (r.sample_id, r.taken_at, r.viscosity_mpas, r.over_range, r.gel_grade, r.note, r.entered_at, r.reason, r.corrected)
        for r in found
    )  # fmt: skip
