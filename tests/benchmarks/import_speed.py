"""How fast 100 000 readings are imported, against the fastest way into the same table.

Prints both in the same run; validation, identity and the note of the act are included on our side.
Run: python tests/benchmarks/import_speed.py [rows]
"""

from __future__ import annotations

import gc
import sqlite3
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from stability.records.engine import sqlite_module
from stability.records.migrate import bring_up_to_date
from stability.services.bring import Source, bring

SAMPLES = 500
NEEDED = 1 / 6


def main(count: int) -> float:
    """Print rows per second of both ways and return the ratio."""
    with tempfile.TemporaryDirectory() as folder:
        ours = _seconds_of_import(Path(folder) / "ours.db", count)
        plain = _seconds_of_executemany(Path(folder) / "ours.db", Path(folder) / "plain.db", count)
    ratio = plain / ours
    print(f"SQLite {sqlite_module().sqlite_version}, {count} readings of {SAMPLES} samples")
    print(f"executemany into the same table   {count / plain:10.0f} rows/s  {plain:6.2f} s")
    print(f"import, validation included       {count / ours:10.0f} rows/s  {ours:6.2f} s")
    print(f"ratio {ratio:.3f} (needed: at least {NEEDED:.3f})")
    return ratio


def _tables(count: int) -> list[Source]:
    samples = ["sample,study,product,product_lot,thinner,level_pct,store,placed_at"]
    samples += [f"T{i},S-1,Heron-A,H-1,xylene,20,OVN-50,2024-01-01T00:00Z" for i in range(SAMPLES)]
    readings = ["sample,taken_at,viscosity_mpas,temperature_c,gel_grade,operator,instrument,note,entered_at"]
    for number in range(count):
        sample, turn = number % SAMPLES, number // SAMPLES
        day = f"2024-{turn // 28 % 12 + 1:02d}-{turn % 28 + 1:02d}"
        at = f"{day}T{turn // 336 % 24:02d}:{sample % 60:02d}:00+00:00"
        readings.append(f"T{sample},{at},{400 + number % 997 / 10},23.{number % 10},0,Mira,VIS-1,clear,{at}")
    study = 'code="S-1"\ntitle="x"\nowner="a@b.example"\ntarget_life_days=365\nstorage_c=23.0\n'
    study += "[limits]\nviscosity_ratio=2.0\n"
    texts = {
        "study.toml": study,
        "stores.csv": "store,temperature_c\nOVN-50,50\n",
        "samples.csv": "\n".join(samples),
        "readings.csv": "\n".join(readings),
    }
    return [Source(name, text.encode()) for name, text in texts.items()]


def _seconds_of_import(path: Path, count: int) -> float:
    records, _ = bring_up_to_date(str(path))
    *ground, readings = _tables(count)
    given = {"person": "Mira", "now": datetime(2026, 1, 1, tzinfo=UTC), "zone": ZoneInfo("UTC")}
    bring(records, ground, **given)  # type: ignore[arg-type]
    gc.collect()
    begun = time.perf_counter()
    brought = bring(records, [readings], **given)  # type: ignore[arg-type]
    spent = time.perf_counter() - begun
    records.close()
    assert brought.tables["readings"].added == count
    return spent


def _seconds_of_executemany(filled: Path, path: Path, count: int) -> float:
    module = sqlite_module()
    source = module.connect(filled)
    rows = source.execute("SELECT * FROM reading").fetchall()
    marks = ", ".join("?" * len(rows[0]))
    records, _ = bring_up_to_date(str(path))
    records.close()
    target = module.connect(path, isolation_level=None)
    for table in ("study", "store", "sample"):
        copied = source.execute(f"SELECT * FROM {table}").fetchall()  # noqa: S608
        target.executemany(f"INSERT INTO {table} VALUES ({', '.join('?' * len(copied[0]))})", copied)  # noqa: S608
    for pragma in ("journal_mode=TRUNCATE", "synchronous=FULL", "foreign_keys=ON"):
        target.execute(f"PRAGMA {pragma}")
    begun = time.perf_counter()
    target.execute("BEGIN IMMEDIATE")
    target.executemany(f"INSERT INTO reading VALUES ({marks})", rows)  # noqa: S608
    target.execute("COMMIT")
    spent = time.perf_counter() - begun
    assert target.execute("SELECT count(*) FROM reading").fetchone() == (count,)
    target.close()
    source.close()
    return spent


if __name__ == "__main__":
    assert sqlite3.sqlite_version_info >= (3, 37)
    sys.exit(0 if main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000) >= NEEDED else 1)
