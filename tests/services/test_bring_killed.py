"""An import that is killed leaves all or nothing, and importing again adds nothing twice."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from stability.records.engine import open_records
from tests.conftest import fresh_sqlite
from tests.tables import ground, stored

HEADER = "sample,taken_at,viscosity_mpas,temperature_c,operator,entered_at\n"


def readings_file(path: Path, count: int) -> None:
    with path.open("w") as file:
        file.write(HEADER)
        for number in range(count):
            day, second = divmod(number // 2, 40_000)
            taken = (
                f"2025-04-{day + 1:02d}T{second // 3600:02d}:{second // 60 % 60:02d}:{second % 60:02d}+00:00"
            )
            file.write(f"T{number % 2 + 1},{taken},{400 + number % 97},23.0,Mira,{taken}\n")


def importing(folder: Path) -> subprocess.Popen[bytes]:
    command = [
        sys.executable,
        "-m",
        "stability",
        "import",
        "readings.csv",
        "--db",
        "records.db",
        "--person",
        "Mira",
    ]
    env = {name: value for name, value in os.environ.items() if not name.startswith("STABILITY_")}
    env["PYTHONPATH"] = str(Path(__file__).parents[2])
    return subprocess.Popen(command, cwd=folder, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE)


@pytest.mark.parametrize(
    ("count", "kills"), [pytest.param(8_000, 1), pytest.param(200_000, 6, marks=pytest.mark.slow)]
)
def test_a_killed_import_leaves_all_or_nothing(tmp_path: Path, count: int, kills: int) -> None:
    records = fresh_sqlite(tmp_path)
    ground(records)
    records.close()
    readings_file(tmp_path / "readings.csv", count)
    writing_seen = 0
    for attempt in range(kills):
        process = importing(tmp_path)
        writing_seen += _killed_while_writing(process, tmp_path, after_bytes=attempt * 2_000_000)
        opened = open_records(str(tmp_path / "records.db"))
        assert len(stored(opened, "reading")) in (0, count)
        opened.close()
    assert writing_seen, "no attempt was killed while it was writing"
    for _ in range(2):
        process = importing(tmp_path)
        out, err = process.communicate(timeout=120)
        assert process.returncode == 0, err
    assert out.decode().strip() == f"readings: {count} already on record"
    opened = open_records(str(tmp_path / "records.db"))
    assert len(stored(opened, "reading")) == count
    opened.close()


def _killed_while_writing(process: subprocess.Popen[bytes], folder: Path, *, after_bytes: int) -> bool:
    """Kill it when so much of it is in the journal or the file; say whether it was still at it."""
    empty = (folder / "records.db").stat().st_size
    deadline = time.monotonic() + 60
    while process.poll() is None and time.monotonic() < deadline:
        written = sum(path.stat().st_size for path in folder.glob("records.db*") if path.exists())
        if written > empty + after_bytes:
            break
    process.send_signal(signal.SIGKILL)
    process.communicate()
    return process.returncode == -signal.SIGKILL
