"""How long the program takes to answer, against a floor of the same run.

Run: python tests/benchmarks/start_up.py [RUNS]. Prints medians in milliseconds and two ratios:

- `stability --help` above `import click` (wanted: at most 15 ms more);
- `stability log` of one reading over a script that imports sqlmodel and commits one row (at most 1.4).

The floor is a plain script: unlike the program it does not spare itself Python's last collection on leaving.
The four take turns, so that a busy machine slows all of them alike.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
sys.path.insert(0, str(ROOT))

from tests.builders import PLACED, bench  # noqa: E402

FLOOR = """
import gc; gc.disable()
import sys
from datetime import UTC, datetime
from sqlalchemy import event
from sqlmodel import Field, Session, SQLModel, create_engine

class Reading(SQLModel, table=True):
    id: int | None = Field(default=None, primary_key=True)
    sample: str
    taken_at: datetime
    viscosity_mpas: float

engine = create_engine(f"sqlite:///{sys.argv[1]}")

@event.listens_for(engine, "connect")
def pragmas(connection, _record):
    connection.isolation_level = None
    for pragma in ("busy_timeout=30000", "journal_mode=JOURNAL", "synchronous=FULL", "foreign_keys=ON",
                   "trusted_schema=OFF"):
        connection.execute(f"PRAGMA {pragma}")

@event.listens_for(engine, "begin")
def begin(connection):
    connection.exec_driver_sql("BEGIN IMMEDIATE")

if len(sys.argv) > 2:
    SQLModel.metadata.create_all(engine)
else:
    with Session(engine) as session:
        session.add(Reading(sample="0417-K", taken_at=datetime.now(UTC), viscosity_mpas=398.0))
        session.commit()
"""
CLICK_MS, LOG_RATIO = 15.0, 1.4


def seconds(*arguments: str) -> float:
    """Return how long one start of the interpreter with these arguments takes."""
    begin = time.perf_counter()
    subprocess.run([sys.executable, *arguments], check=True, capture_output=True)
    return time.perf_counter() - begin


def journal() -> str:
    """Return the journal mode that the program itself chooses on this machine."""
    from stability.records.engine import sqlite_module, wal_is_safe

    return "WAL" if wal_is_safe(sqlite_module().sqlite_version_info) else "TRUNCATE"


def measure(folder: Path, runs: int) -> dict[str, float]:
    """Return the median seconds of each command over so many turns; the first turn only warms up."""
    made = bench(folder)
    made.records.close()
    os.environ |= {"STABILITY_DB": str(made.path), "STABILITY_PERSON": "Mira"}
    os.chdir(folder)
    floor = folder / "floor.py"
    floor.write_text(FLOOR.replace("JOURNAL", journal()), "utf-8")
    seconds(str(floor), "floor.db", "create")
    took: dict[str, list[float]] = {"click": [], "help": [], "floor": [], "log": []}
    for turn in range(runs + 1):
        at = (PLACED + timedelta(minutes=turn)).isoformat()
        log = ("log", "0417-K", str(300 + turn), "--temp", "23.1", "--grade", "0", "--at", at)
        commands = {
            "click": ("-c", "import click"),
            "help": ("-m", "stability", "--help"),
            "floor": (str(floor), "floor.db"),
            "log": ("-m", "stability", *log),
        }
        for name, arguments in commands.items():
            took[name].append(seconds(*arguments))
    return {name: statistics.median(values[1:]) for name, values in took.items()}


def main() -> None:
    """Measure and print."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 21
    with tempfile.TemporaryDirectory() as folder:
        took = {name: 1000 * value for name, value in measure(Path(folder), runs).items()}
        os.chdir(ROOT)
    print(f"median of {runs} runs each, taking turns, ms")
    print(f"  import click                        {took['click']:7.1f}")
    print(f"  stability --help                    {took['help']:7.1f}")
    print(f"  import sqlmodel, commit one row     {took['floor']:7.1f}")
    print(f"  stability log of one reading        {took['log']:7.1f}")
    above, ratio = took["help"] - took["click"], took["log"] / took["floor"]
    print(f"--help above click: {above:.1f} ms, wanted at most {CLICK_MS:g}")
    print(f"log over the floor: {ratio:.2f}, wanted at most {LOG_RATIO:g}")


if __name__ == "__main__":
    main()
