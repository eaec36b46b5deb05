"""What both databases must keep to: rows that stay, instants in UTC, checks, references, what was known when."""

# ruff: noqa: E501  (a line that is shown is easier to compare in one piece)

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest
import sqlalchemy as sa

from stability.errors import RecordsError
from stability.records.engine import Records
from stability.records.events import events_of, note, seal, unsealed_count, verify_chain
from stability.records.history import readings, samples, studies
from stability.records.intake import insert_columns
from stability.records.tables import APPEND_ONLY_TABLES, METADATA
from stability.records.tables.bench import Reading
from tests.tables import NOW, ground, stored, take

AT = datetime(2025, 3, 11, 9, 0, 0, 120_000, tzinfo=UTC)
READING = METADATA.tables["reading"]


@pytest.fixture
def filed(records: Records) -> Records:
    ground(records)
    return records


def reading(**changes: Any) -> dict[str, Any]:
    plain = {
        "sample_id": 1,
        "taken_at": AT,
        "viscosity_mpas": 398.0,
        "over_range": 0,
        "entered_at": AT,
        "entered_by": "M",
    }
    return plain | changes


def insert(records: Records, row: Mapping[str, Any]) -> None:
    with records.writing() as connection:
        connection.execute(READING.insert().values(**row))


def test_a_table_that_only_grows_refuses_change_and_deletion(filed: Records) -> None:
    insert(filed, reading())
    for act in (READING.update().values(viscosity_mpas=1.0), READING.delete()):
        with (
            pytest.raises(
                (sa.exc.IntegrityError, RecordsError), match="append-only: a correction is a new row"
            ),
            filed.writing() as connection,
        ):
            connection.execute(act)
    assert [row["viscosity_mpas"] for row in stored(filed, "reading")] == [398.0]


def test_every_table_of_the_list_has_its_triggers(records: Records) -> None:
    query = (
        "SELECT count(*) FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'keep_%'"
        if records.on_sqlite
        else "SELECT count(*) FROM pg_trigger WHERE tgname LIKE 'keep_%'"
    )
    with records.reading() as connection:
        found = connection.execute(sa.text(query)).scalar_one()
    assert found == len(APPEND_ONLY_TABLES) * (2 if records.on_sqlite else 1)


@pytest.mark.parametrize(
    "changes",
    [
        pytest.param({"viscosity_mpas": 0.0}, id="a viscosity of zero"),
        pytest.param({"viscosity_mpas": -3.0}, id="a negative viscosity"),
        pytest.param({"viscosity_mpas": float("inf")}, id="infinity"),
        pytest.param({"viscosity_mpas": None}, id="an original that says nothing"),
        pytest.param({"gel_grade": 6}, id="a grade that is none"),
        pytest.param({"over_range": 2}, id="a mark that is none"),
        pytest.param({"sample_id": 99}, id="a sample that is not there"),
        pytest.param({"corrects_id": 1, "reason": None}, id="a correction without reason"),
        pytest.param({"corrects_id": 99, "reason": "x"}, id="a correction of nothing"),
        pytest.param({}, id="the same identity twice"),
    ],
)
def test_the_database_itself_refuses_a_row_that_cannot_be(filed: Records, changes: dict[str, Any]) -> None:
    insert(filed, reading())
    later = {} if not changes else {"taken_at": AT + timedelta(hours=1)}
    with pytest.raises(sa.exc.IntegrityError):
        insert(filed, reading(**later, **changes))
    assert len(stored(filed, "reading")) == 1


def test_an_instant_comes_back_in_utc_whatever_the_offset_it_went_in_with(filed: Records) -> None:
    insert(filed, reading(taken_at=AT.astimezone(timezone(timedelta(hours=5, minutes=30)))))
    (row,) = stored(filed, "reading")
    assert row["taken_at"] == AT
    assert row["taken_at"].utcoffset() == timedelta(0)


def test_an_instant_without_offset_is_refused(filed: Records) -> None:
    with pytest.raises(sa.exc.StatementError, match="timezone"):
        insert(filed, reading(taken_at=AT.replace(tzinfo=None)))


def test_rows_in_bulk_are_stored_as_single_rows_are(filed: Records) -> None:
    insert(filed, reading())
    later = [AT + timedelta(days=1), AT + timedelta(days=2)]
    columns: dict[str, list[Any]] = {
        "sample_id": [1, 1],
        "taken_at": later,
        "viscosity_mpas": [398.0, None],
        "gel_grade": [None, 4],
        "over_range": [0, 0],
        "entered_at": later,
        "entered_by": ["M", "M"],
        "note": [None, None],
    }
    with filed.writing() as connection:
        insert_columns(connection, Reading, columns)
    assert [row["taken_at"] for row in stored(filed, "reading")] == [AT, *later]
    with filed.reading() as connection:
        # one form of text in every row: comparisons in SQL go by it
        found = connection.exec_driver_sql("SELECT taken_at FROM reading ORDER BY id").scalars().all()
    if filed.on_sqlite:
        assert found == [f"2025-03-{day} 09:00:00.120000" for day in (11, 12, 13)]


def test_a_transaction_that_fails_leaves_nothing(filed: Records) -> None:
    def interrupted() -> None:
        with filed.writing() as connection:
            connection.execute(READING.insert().values(**reading()))
            raise RuntimeError("in the middle")

    with pytest.raises(RuntimeError, match="in the middle"):
        interrupted()
    assert stored(filed, "reading") == []


def test_what_counts_of_a_reading_is_what_was_entered_last_until_then(filed: Records) -> None:
    insert(filed, reading())
    day = timedelta(days=1)
    number = stored(filed, "reading")[0]["id"]
    insert(filed, reading(corrects_id=number, reason="digits", viscosity_mpas=389.0, entered_at=AT + day))
    insert(filed, reading(corrects_id=number, reason="tin", viscosity_mpas=None, entered_at=AT + 2 * day))
    seen = []
    for as_of in (AT - day, AT, AT + day, AT + 2 * day):
        with filed.reading() as connection:
            found = readings(connection, as_of=as_of, with_set_aside=True)
            assert len(readings(connection, as_of=as_of)) == (as_of in (AT, AT + day))
        seen.append([(r.viscosity_mpas, r.corrected, r.set_aside) for r in found])
    assert seen == [[], [(398.0, False, False)], [(389.0, True, False)], [(None, True, True)]]


def test_a_reading_taken_before_and_entered_after_an_instant_was_not_known_then(filed: Records) -> None:
    insert(filed, reading(entered_at=AT + timedelta(days=3)))
    with filed.reading() as connection:
        assert readings(connection, as_of=AT + timedelta(days=2)) == ()
        assert len(readings(connection, as_of=AT + timedelta(days=3), study="S-07")) == 1
        assert readings(connection, as_of=NOW, study="S-99") == ()


def test_a_sample_stands_where_its_last_move_until_then_put_it_until_it_ends(filed: Records) -> None:
    take(
        filed,
        {
            "m.csv": "sample,at,to_store\nT1,2025-04-01T00:00Z,ROOM-23\n",
            "e.csv": "sample,at,reason\nT1,2025-05-01T00:00Z,used\n",
        },
    )
    seen = []
    for month in (3, 4, 5):
        with filed.reading() as connection:
            (tin,) = samples(connection, as_of=datetime(2025, month, 20, tzinfo=UTC), sample="T1")
        seen.append((tin.store, tin.store_temperature_c, tin.end_reason))
    assert seen == [("OVN-50", 50.0, None), ("ROOM-23", 23.0, None), ("ROOM-23", 23.0, "used")]
    with filed.reading() as connection:
        assert samples(connection, as_of=datetime(2025, 3, 4, 8, 0, tzinfo=UTC)) == ()
        assert [study.code for study in studies(connection, as_of=NOW)] == ["S-07"]


def test_the_log_of_acts_is_sealed_and_a_tampered_act_is_named(filed: Records) -> None:
    with filed.writing() as connection:
        for number in range(3):
            note(connection, at=NOW, person="Mira", verb="tried", subject=f"T{number}", details={"n": number})
        assert unsealed_count(connection) == 4  # the ground and these three
        assert seal(connection, at=NOW) == 4
        note(connection, at=NOW, person="Mira", verb="tried", subject="after")
    with filed.reading() as connection:
        assert verify_chain(connection) == ()
        assert unsealed_count(connection) == 1
        assert [event.subject for event in events_of(connection, limit=2)] == ["T2", "after"]
    lift = (
        "DROP TRIGGER keep_event_update"
        if filed.on_sqlite
        else "ALTER TABLE event DISABLE TRIGGER keep_event"
    )
    with filed.writing() as connection:
        connection.exec_driver_sql(lift)
        connection.exec_driver_sql("UPDATE event SET person = 'Nobody' WHERE subject = 'T1'")
    with filed.reading() as connection:
        (fault,) = verify_chain(connection)
    assert fault == "seal 1: the events up to number 4 are not those that were sealed"
