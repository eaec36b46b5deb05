"""One reading's whole way at the bench, the same on SQLite and on PostgreSQL."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
import sqlalchemy as sa

from stability.errors import InputError
from stability.records.engine import Records
from stability.records.events import events_of
from stability.records.history import readings
from stability.records.readings import latest_band
from stability.services.bring import bring_rows
from stability.services.correct import correct_reading, set_aside, swap_readings
from stability.services.correct_cure import correct_cure
from stability.services.end import end_sample
from stability.services.entry import ReadingEntry
from stability.services.move import move_sample
from stability.services.record import log_reading
from tests.builders import BERLIN, NOW, PLACED, expect, fill

AT = PLACED + timedelta(days=21)
ACT: dict[str, Any] = {"person": "Mira", "zone": BERLIN}


@pytest.fixture
def at_bench(records: Records) -> Records:
    fill(records)
    for sample, viscosity in (("0417-K", 357.0), ("0418-M", 246.0)):
        entry = ReadingEntry(sample=sample, viscosity_mpas=viscosity, taken_at=AT, gel_grade=0)
        log_reading(records, entry, now=AT + timedelta(minutes=1), **ACT)
    return records


def counted(records: Records) -> list[tuple[int, float | None]]:
    with records.reading() as connection:
        found = readings(connection, as_of=NOW + timedelta(days=9), study="S-07")
    return [(r.sample_id, r.viscosity_mpas) for r in found]


def test_logged_corrected_exchanged_and_set_aside(at_bench: Records) -> None:
    which: dict[str, Any] = {"sample": "0417-K", "taken_at": AT}
    correct_reading(at_bench, values={"viscosity_mpas": 375}, reason="digits", now=NOW, **which, **ACT)
    assert counted(at_bench) == [(1, 375), (3, 246)]
    later = NOW + timedelta(days=1)
    swap_readings(at_bench, first=("0417-K", AT), second=("0418-M", AT), reason="row above", now=later, **ACT)
    assert counted(at_bench) == [(1, 246), (3, 375)]
    set_aside(at_bench, reason="lid", now=later + timedelta(days=1), **which, **ACT)
    assert counted(at_bench) == [(3, 375)]


def test_the_same_again_is_nothing_and_another_value_is_refused(at_bench: Records) -> None:
    again = ReadingEntry(sample="0417-K", viscosity_mpas=357, taken_at=AT)
    assert log_reading(at_bench, again, now=NOW, **ACT).already
    other = ReadingEntry(sample="0417-K", viscosity_mpas=358, taken_at=AT)
    with pytest.raises(InputError, match="has another reading"):
        log_reading(at_bench, other, now=NOW, **ACT)


def test_a_band_is_kept_and_a_doubt_is_raised_by_it(at_bench: Records) -> None:
    expect(at_bench, "0417-K", [(0, 5.8, 0.01), (60, 5.9, 0.01)])
    with at_bench.reading() as connection:
        assert latest_band(connection, 1) == ((0, 5.8, 0.01), (60, 5.9, 0.01))
    done = log_reading(at_bench, ReadingEntry(sample="0417-K", viscosity_mpas=246), now=NOW, **ACT)
    assert done.stored
    assert any("0418-M" in doubt.sentence for doubt in done.doubts) is False  # read a week ago: no neighbour
    assert done.doubts


def test_moved_and_ended_with_their_acts_noted(at_bench: Records) -> None:
    move_sample(at_bench, "0417-K", "OVN-40", at=NOW - timedelta(days=2), now=NOW, **ACT)
    end_sample(at_bench, "0417-K", at=NOW - timedelta(days=1), reason="used", now=NOW, **ACT)
    with at_bench.reading() as connection:
        verbs = [event.verb for event in events_of(connection, subject="0417-K")]
    assert verbs == ["logged a reading", "moved", "ended"]
    with pytest.raises(InputError, match="after sample 0417-K ended"):
        log_reading(at_bench, ReadingEntry(sample="0417-K", viscosity_mpas=246), now=NOW, **ACT)


def test_a_drying_test_is_corrected(at_bench: Records) -> None:
    row = {"sample": "0417-K", "taken_at": AT, "humidity_pct": 50.0, "dry_through_h": 2.7}
    bring_rows(at_bench, {"cures": [row]}, now=AT + timedelta(minutes=1), **ACT)
    done = correct_cure(
        at_bench,
        sample="0417-K",
        taken_at=AT,
        humidity_pct=50.0,
        values={"dry_through_h": 3.1},
        reason="offset",
        person="Mira",
        now=NOW,
    )
    assert (done.was, done.now) == ("2.70 h", "3.10 h")


def test_the_database_itself_keeps_one_original_per_instant(at_bench: Records) -> None:
    copied = sa.text(
        "INSERT INTO reading (sample_id, taken_at, viscosity_mpas, over_range, entered_at, entered_by) "
        "SELECT sample_id, taken_at, 1.0, 0, entered_at, entered_by FROM reading WHERE sample_id = 1"
    )
    with pytest.raises(sa.exc.IntegrityError), at_bench.writing() as connection:
        connection.execute(copied)
