"""How long one reading of a guided round takes, from its code to its echo, above the bare write to the store.

Run: python tests/benchmarks/round_speed.py. The invented study is played to day 112 (about a thousand
readings of 140 tins), and the round of that day is walked by short answers. The bare write is one transaction
with one reading and one event into the same database. Wanted: at most 0.4 s more.
"""

from __future__ import annotations

import contextlib
import io
import os
import statistics
import sys
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent.parent))

import stability.cli.round as guided
from stability.cli.edge import run
from stability.demo import acts, play
from stability.demo.stage import ZONE, instant
from stability.demo.stage_settings import demo_settings
from stability.demo.stream import stream
from stability.records.engine import Records
from stability.records.events import note
from stability.records.migrate import bring_up_to_date
from stability.records.readings import insert_reading, readings_of, sample_at_bench
from stability.services.round import todays_stops

NOW = instant(112) - timedelta(minutes=5)
WANTED_S = 0.4


class Keys:
    """The keyboard: answers cautions and doubts by itself, and counts the time that the program is busy."""

    def __init__(self, lines: list[str], asked: io.StringIO) -> None:
        self.lines, self.asked = lines, asked
        self.busy_s, self.handed_at = 0.0, time.perf_counter()

    def isatty(self) -> bool:
        return False

    def readline(self, _size: int = -1) -> str:
        self.busy_s += time.perf_counter() - self.handed_at
        question = self.asked.getvalue()[-40:]
        if question.endswith("read this> "):
            line = "ok"
        elif question.endswith("read again> "):
            line = "keep for the clock"
        else:
            line, self.busy_s = (self.lines.pop(0) if self.lines else "quit"), 0.0
        self.handed_at = time.perf_counter()
        return f"{line}\n"


class Screen(io.StringIO):
    """The screen: remembers how long the program was busy for each echo."""

    def __init__(self, keys: Keys) -> None:
        super().__init__()
        self.keys = keys
        self.took: list[float] = []

    def write(self, text: str, /) -> int:
        if "day 112:" in text:
            self.took.append(self.keys.busy_s + time.perf_counter() - self.keys.handed_at)
        return super().write(text)


def played(path: Path) -> Records:
    """Return the study as it stood before the round of day 112; nothing was swept."""
    records, _ = bring_up_to_date(str(path))
    asked = (acts.Swept, acts.StatementAsked)
    known = tuple(act for act in stream() if act.entered_at < NOW and not isinstance(act, asked))
    play.stream = lambda: known  # type: ignore[attr-defined]
    play.play(records, demo_settings(path.parent / "settings"))
    return records


def answers(records: Records, path: Path) -> list[str]:
    """Return one line per tin: its code, its last value again, the temperature and the grade."""
    stops = todays_stops(records, now=NOW, settings=demo_settings(path.parent / "settings"))
    lines = []
    for stop in stops:
        with records.reading() as connection:
            sample = sample_at_bench(connection, stop.sample, at=NOW)
            assert sample is not None
            values = [r.viscosity_mpas for r in readings_of(connection, sample.id) if r.viscosity_mpas]
        if stop.take_out or not values:
            continue
        lines.append(f"{stop.sample} {values[-1] * 1.02:.4g} 23.0C g0")
    return lines


def walked(path: Path, lines: list[str]) -> list[float]:
    """Return the seconds from code to echo of each reading."""
    ticks = {"now": NOW}

    def clock() -> datetime:
        ticks["now"] += timedelta(seconds=1)
        return ticks["now"]

    guided.now_utc = clock  # type: ignore[attr-defined]
    asked = io.StringIO()
    keys = Keys(lines, asked)
    screen = Screen(keys)
    sys.stdin = keys  # type: ignore[assignment]
    with contextlib.redirect_stdout(screen), contextlib.redirect_stderr(asked):
        run(["log", "--round", "--person", "Mira O.", "--db", str(path)])
    return screen.took


def bare_writes(records: Records, count: int) -> list[float]:
    """Return the seconds of bare writes: a reading and an event in one transaction."""
    took = []
    for number in range(count):
        at = NOW - timedelta(minutes=1, milliseconds=number)
        values = {"sample_id": 1, "taken_at": at, "viscosity_mpas": 312.0, "gel_grade": 0}
        begun = time.perf_counter()
        with records.writing() as connection:
            insert_reading(connection, {**values, "entered_at": NOW, "entered_by": "x", "over_range": 0})
            note(connection, at=NOW, person="x", verb="logged a reading", subject="x")
        took.append(time.perf_counter() - begun)
    return took


def main() -> int:
    """Print both and their difference; the exit code says whether it is small enough."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "demo.db"
        os.environ["STABILITY_TIME_ZONE"] = ZONE.key
        records = played(path)
        lines = answers(records, path)
        took = walked(path, lines)
        bare = bare_writes(records, len(took))
        records.close()
    middle, worst, floor = statistics.median(took), max(took), statistics.median(bare)
    print(f"{len(took)} readings of a round, ms")
    print(f"  bare write, median          {1000 * floor:8.1f}")
    print(f"  code to echo, median        {1000 * middle:8.1f}")
    print(f"  code to echo, slowest       {1000 * worst:8.1f}")
    print(
        f"slowest above the bare write: {1000 * (worst - floor):.0f} ms, wanted at most {1000 * WANTED_S:.0f}"
    )
    return 0 if took and worst - floor < WANTED_S else 1


if __name__ == "__main__":
    sys.exit(main())
