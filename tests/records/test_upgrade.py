"""A database of the first schema is brought up to date: every row stays, the new tables are append-only."""

# ruff: noqa: S608  (all that is put in stands in this file)

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic import command

from stability.errors import RecordsError
from stability.records.engine import APPLICATION_ID, HEAD, database_url, make_engine, open_records
from stability.records.migrate import bring_up_to_date, scripts_config
from stability.records.tables import APPEND_ONLY_TABLES

AT = "2025-03-04 10:00:00.000000"
ROWS = (
    "INSERT INTO instrument (id, instrument, kind, factor) VALUES (1, 'VIS-1', 'rotational', 6.0)",
    "INSERT INTO calibration (id, instrument_id, at, due_at, as_found_pct, entered_at) "
    f"VALUES (1, 1, '{AT}', '2026-03-04 10:00:00.000000', 0.2, '{AT}')",
    "INSERT INTO oil_check (id, instrument_id, at, certified_mpas, read_mpas, entered_at) "
    f"VALUES (1, 1, '{AT}', 350.0, 351.0, '{AT}')",
    "INSERT INTO store (id, store, temperature_c) VALUES (1, 'ROOM-23', 23.0)",
    "INSERT INTO study (id, code) VALUES (1, 'S-07')",
    "INSERT INTO sample (id, sample, study_id, product, product_lot, store_id, placed_at, entered_at) "
    f"VALUES (1, 'T1', 1, 'Heron-A', 'H-1', 1, '{AT}', '{AT}')",
    "INSERT INTO reading (id, sample_id, taken_at, viscosity_mpas, over_range, instrument, entered_at, "
    f"entered_by) VALUES (1, 1, '{AT}', 398.0, 0, 'VIS-1', '{AT}', 'Mira')",
)


@pytest.fixture
def first_schema(tmp_path: Path) -> Path:
    """A file as the first schema left it, with its triggers and one row in what an instrument touches."""
    path = tmp_path / "old.db"
    engine = make_engine(database_url(str(path)), foreign_keys=False)
    with engine.begin() as connection:
        connection.exec_driver_sql(f"PRAGMA application_id={APPLICATION_ID}")
        config = scripts_config(engine)
        config.attributes["connection"] = connection
        command.upgrade(config, "0001")
        for statement in ROWS:
            connection.exec_driver_sql(statement)
        present = set(sa.inspect(connection).get_table_names())
        for name in sorted(present & set(APPEND_ONLY_TABLES)):
            for act in ("UPDATE", "DELETE"):
                connection.exec_driver_sql(
                    f'CREATE TRIGGER "keep_{name}_{act.lower()}" BEFORE {act} ON "{name}" '
                    f"BEGIN SELECT RAISE(ABORT, '{name} is append-only'); END"
                )
    engine.dispose()
    return path


def test_an_older_file_is_named_with_what_brings_it_up_to_date(first_schema: Path) -> None:
    with pytest.raises(RecordsError, match="has schema 0001, this program needs") as refused:
        open_records(str(first_schema))
    assert "stability init" in str(refused.value.hint)


def test_an_upgrade_keeps_every_row_and_finds_the_version_before(first_schema: Path) -> None:
    records, found = bring_up_to_date(str(first_schema))
    assert found == "0001"
    with records.reading() as connection:
        reading = connection.exec_driver_sql("SELECT * FROM reading").mappings().one()
        kept = [
            connection.exec_driver_sql(f"SELECT count(*) FROM {name}").scalar()
            for name in ("instrument", "calibration", "oil_check", "sample")
        ]
    records.close()
    assert (reading["viscosity_mpas"], reading["instrument"], reading["uncertainty_mpas"]) == (
        398,
        "VIS-1",
        None,
    )
    assert kept == [1, 1, 1, 1]
    again, at = bring_up_to_date(str(first_schema))
    again.close()
    assert at == HEAD


@pytest.mark.parametrize("name", APPEND_ONLY_TABLES)
def test_after_the_upgrade_every_kept_table_refuses_to_forget(first_schema: Path, name: str) -> None:
    bring_up_to_date(str(first_schema))[0].close()
    with closing(sqlite3.connect(first_schema)) as connection:
        triggers = connection.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?", (name,)
        ).fetchall()
    assert sorted(row[0] for row in triggers) == [f"keep_{name}_delete", f"keep_{name}_update"]
