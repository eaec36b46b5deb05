"""The schema that the scripts make is the one that the classes describe, on both databases."""

from __future__ import annotations

import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from stability.records.engine import HEAD, Records, schema_version
from stability.records.migrate import scripts_config
from stability.records.tables import METADATA


def test_the_scripts_make_what_the_classes_describe(records: Records) -> None:
    with records.reading() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, METADATA) == []


def test_the_version_that_the_program_writes_is_the_newest_script(records: Records) -> None:
    scripts = ScriptDirectory.from_config(scripts_config(records.engine))
    assert scripts.get_current_head() == HEAD
    assert schema_version(records.engine) == HEAD


def test_every_table_on_sqlite_is_strict(on_sqlite: Records) -> None:
    with on_sqlite.reading() as connection:
        listed = connection.exec_driver_sql("PRAGMA table_list").mappings().all()
        ours = {row["name"]: row["strict"] for row in listed if row["name"] in METADATA.tables}
    assert set(ours) == set(METADATA.tables)
    assert set(ours.values()) == {1}


def test_partial_indexes_are_partial_on_both(records: Records) -> None:
    with records.reading() as connection:
        found = {index["name"]: index for index in sa.inspect(connection).get_indexes("reading")}
    for name in ("uq_reading_original", "uq_reading_correction"):
        kind = "sqlite_where" if records.on_sqlite else "postgresql_where"
        assert found[name]["unique"]
        assert "corrects_id" in str(found[name]["dialect_options"][kind])
