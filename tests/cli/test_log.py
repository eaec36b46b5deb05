"""`stability log` as typed: options, streams, exit codes, the question on a terminal, a quick start."""

from __future__ import annotations

import fcntl
import json
import os
import pty
import re
import select
import signal
import subprocess
import sys
import termios
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from stability.cli.edge import run
from tests.builders import PLACED, Bench, bench

Shell = Callable[..., tuple[int, str, str]]


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
    def call(*arguments: str) -> tuple[int, str, str]:
        code = run([*arguments, "--person", "Mira"])
        return code, *capsys.readouterr()

    return call


def test_the_echo_goes_to_stdout_and_the_cautions_to_stderr(shell: Shell) -> None:
    code, out, err = shell(
        "log", "0417-K", "278.3", "--temp", "23.1", "--grade", "0", "--at", "2025-03-04T10:30"
    )
    assert code == 0
    assert out.startswith("0417-K, propyl acetate 20 %, 50 °C, day 0: 278 mPa·s; entered ")
    assert err.splitlines()[0].startswith("caution: 50 °C stock, no flash point on record")
    assert err.splitlines()[-1] == "caution: SDS, local code and licensed practice come first."


def test_every_option_lands_in_its_column(at_bench: Bench, shell: Shell) -> None:
    given = {
        "--temp": "23.1",
        "--grade": "1",
        "--instrument": "VIS-1",
        "--spindle": "S62",
        "--speed": "100",
        "--torque": "45",
        "--cup": "CUP-4",
        "--efflux": "61.5",
        "--density": "0.981",
        "--mass": "250.02",
        "--appearance": "clear",
        "--photo": "P1.jpg",
        "--operator": "Jonas",
        "--note": "lid tight",
    }
    options = [word for pair in given.items() for word in pair]
    assert shell("log", "0417-K", "270", "--at", "2025-03-05T10:00", *options)[0] == 0
    (row,) = at_bench.rows("reading")
    names = (
        "temperature_c",
        "gel_grade",
        "instrument",
        "spindle",
        "speed_rpm",
        "torque_pct",
        "cup",
        "efflux_s",
    )
    names += ("density_g_ml", "mass_g", "appearance", "photo", "operator", "note")
    assert [str(row[name]).removesuffix(".0") for name in names] == list(given.values())
    assert row["taken_at"] == PLACED + timedelta(days=1)


def test_json_is_data_on_stdout_alone(shell: Shell) -> None:
    shell("log", "0417-K", "402", "--at", "2025-03-05")
    code, out, err = shell("log", "0417-K", "4120", "--at", "2025-03-06", "--json")
    data = json.loads(out)
    assert code == 0
    assert (data["sample"], data["taken_at"], data["stored"]) == ("0417-K", "2025-03-05T23:00:00Z", True)
    assert data["doubts"][0]["kind"] == "ten_times"
    assert data["cautions"][-1].startswith("SDS, local code")
    assert "doubt: ten times too much?" in err


def test_away_from_a_terminal_a_doubt_is_said_and_the_reading_kept(at_bench: Bench, shell: Shell) -> None:
    shell("log", "0417-K", "402", "--at", "2025-03-05")
    code, _, err = shell("log", "0417-K", "4120", "--at", "2025-03-06")
    assert code == 0
    assert err.startswith("doubt: ten times too much? 412 mPa·s would fit")
    assert len(at_bench.rows("reading")) == 2


def test_strict_refuses_what_is_doubted_and_keeps_the_attempt(at_bench: Bench, shell: Shell) -> None:
    shell("log", "0417-K", "402", "--at", "2025-03-05")
    code, out, err = shell("log", "0417-K", "4120", "--at", "2025-03-06", "--strict")
    assert (code, out) == (2, "")
    assert err.startswith("error: sample 0417-K: ten times too much?")
    assert len(at_bench.rows("reading")) == 1
    assert at_bench.rows("event")[-1]["verb"] == "refused attempt"


def test_a_reason_keeps_it_even_strictly(at_bench: Bench, shell: Shell) -> None:
    shell("log", "0417-K", "402", "--at", "2025-03-05")
    code, _, _ = shell("log", "0417-K", "4120", "--at", "2025-03-06", "--strict", "--keep", "second cup too")
    assert code == 0
    assert at_bench.rows("reading")[-1]["note"] == "kept: second cup too"


def test_a_reason_that_was_not_needed_is_said_to_be_dropped(shell: Shell) -> None:
    _, _, err = shell("log", "0417-K", "402", "--at", "2025-03-05", "--keep", "thick")
    assert "nothing was doubted: the reason was not needed and is not stored" in err


def test_a_reading_logged_twice_is_told(at_bench: Bench, shell: Shell) -> None:
    shell("log", "0417-K", "402", "--at", "2025-03-05")
    code, _, err = shell("log", "0417-K", "402", "--at", "2025-03-05")
    assert (code, len(at_bench.rows("reading"))) == (0, 1)
    assert "this reading was stored before; nothing was written" in err


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["0417-K", "-5"], "error: viscosity -5 is not a positive number of mPa·s"),
        (["0417-K", "-.5"], "error: viscosity -.5 is not a positive number"),
        (["0417-K", "0"], "error: viscosity 0 is not a positive number"),
        (["0417-K", "nan"], "error: viscosity 'nan' is not a finite number"),
        (["0417-K", "inf"], "error: viscosity 'inf' is not a finite number"),
        (["0417-K", "41,2"], "error: viscosity '41,2' has a comma: write a decimal point"),
        (["0417-K", "398", "--temp", "23,1"], "error: Invalid value for '--temp': '23,1' has a comma"),
        (
            ["0417-K", "398", "--mass", "nan"],
            "error: Invalid value for '--mass': 'nan' is not a finite number",
        ),
        (["0417-K", "--grade", "6"], "error: Invalid value for '--grade': 6 is not in the range 0<=x<=5."),
        (["0417-K", "--fresh"], "error: No such option '--fresh'."),
        (["0417-K", "398", "--at", "yesterday"], "error: time 'yesterday' is not an ISO 8601 time"),
        (
            ["0417-K", "398", "--at", "2025-03-30T02:30"],
            "error: time '2025-03-30T02:30:00' does not exist",
        ),
        (["0417-X", "398"], "error: sample '0417-X' is not on record"),
        (["\x1b[31m0417", "398"], r"error: sample '\x1b[31m0417' is not on record"),
        (["0417-K"], "error: sample 0417-K: nothing to log"),
        (["0417-K", "398", "--keep", " "], "error: --keep wants a reason"),
    ],
)
def test_bad_input_is_one_line_with_exit_2_and_nothing_written(
    at_bench: Bench, shell: Shell, arguments: list[str], told: str
) -> None:
    events = at_bench.rows("event")
    code, out, err = shell("log", *arguments)
    assert (code, out) == (2, "")
    assert err.startswith(told), err
    assert (at_bench.rows("reading"), at_bench.rows("event")) == ([], events)


CTRL_C = "\x03"


def _own_the_terminal() -> None:
    # a shell that runs its tests in the background hands SIGINT on as ignored, and Ctrl-C would be lost
    signal.signal(signal.SIGINT, signal.default_int_handler)
    # only the session that owns the terminal gets Ctrl-C from it
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


def on_a_terminal(*arguments: str, answers: list[tuple[str, str]]) -> tuple[int, str]:
    """Run a command on a pseudo-terminal and type each answer when its question has come."""
    leader, follower = pty.openpty()
    command = [sys.executable, "-m", "stability", *arguments, "--person", "Mira"]
    process = subprocess.Popen(
        command,
        stdin=follower,
        stdout=follower,
        stderr=follower,
        start_new_session=True,
        preexec_fn=_own_the_terminal,  # noqa: PLW1509 - a test of one thread
    )
    os.close(follower)
    shown, waiting = "", list(answers)
    pressed = ""
    for _ in range(60):
        if not select.select([leader], [], [], 1)[0]:
            if process.poll() is not None:
                break
            if pressed == CTRL_C:
                # one that comes between the question and the wait for its answer is not seen by the
                # interpreter; a person presses again, and so does this one
                os.write(leader, CTRL_C.encode())
            continue
        try:
            piece = os.read(leader, 4096)
        except OSError:  # the other end is closed
            break
        if not piece:
            break
        shown += piece.decode()
        if waiting and waiting[0][0] in shown:
            question, answer = waiting.pop(0)
            shown = shown.replace(question, "?", 1)
            os.write(leader, answer.encode())
            pressed = answer
    # the terminal outlives the program: closing it first would hang up on one that is still leaving
    code = process.wait(30)
    os.close(leader)
    return code, shown


class TestOnATerminal:
    @pytest.fixture
    def known(self, at_bench: Bench, shell: Shell) -> Bench:
        shell("log", "0417-K", "402", "--at", "2025-03-05")
        return at_bench

    def test_kept_with_a_reason(self, known: Bench) -> None:
        code, shown = on_a_terminal(
            *("log", "0417-K", "4120", "--at", "2025-03-06"),
            answers=[("keep, repeat or undo", "keep\n"), ("why it stays", "second cup too\n")],
        )
        assert code == 0
        assert "doubt: ten times too much?" in shown
        assert known.rows("reading")[-1]["note"] == "kept: second cup too"

    def test_repeated_the_right_value_is_stored_and_the_attempt_noted(self, known: Bench) -> None:
        code, _ = on_a_terminal(
            *("log", "0417-K", "4120", "--at", "2025-03-06"),
            answers=[
                ("keep, repeat or undo", "repeat\n"),
                ("viscosity read again", "41,2\n"),
                ("comma", "412\n"),
            ],
        )
        assert code == 0
        assert [r["viscosity_mpas"] for r in known.rows("reading")] == [402, 412]
        assert [e["verb"] for e in known.rows("event")[-2:]] == ["refused attempt", "logged a reading"]

    def test_taken_back(self, known: Bench) -> None:
        code, shown = on_a_terminal(
            *("log", "0417-K", "4120", "--at", "2025-03-06"), answers=[("keep, repeat or undo", "undo\n")]
        )
        assert code == 0
        assert "not stored; the attempt is in the event log" in shown
        assert len(known.rows("reading")) == 1

    def test_stopped_at_the_question_the_attempt_stays_on_record(self, known: Bench) -> None:
        code, _ = on_a_terminal(
            *("log", "0417-K", "4120", "--at", "2025-03-06"), answers=[("keep, repeat or undo", "\x03")]
        )
        assert code == 130
        assert len(known.rows("reading")) == 1
        assert "stopped at the question" in known.rows("event")[-1]["details"]


HEAVY = ("numpy", "scipy", "matplotlib", "rich", "alembic", "jinja2", "openpyxl", "apscheduler")


def imported_by(*arguments: str) -> set[str]:
    """Return the modules that a command line loads."""
    command = [sys.executable, "-X", "importtime", "-m", "stability", *arguments]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return set(re.findall(r"\|\s+([\w.]+)$", done.stderr, flags=re.MULTILINE))


def test_help_loads_neither_the_database_nor_anything_heavy() -> None:
    loaded = imported_by("--help")
    assert "click" in loaded
    assert not loaded & {"sqlmodel", "sqlalchemy", "pydantic", *HEAVY}
    assert {m for m in loaded if m.startswith("stability.")} <= {
        "stability.__main__",
        "stability.cli",
        "stability.cli.edge",
        "stability.cli.group",
        "stability.errors",
    }


def test_log_loads_only_the_tables_that_it_touches(at_bench: Bench) -> None:
    loaded = imported_by("log", "0417-K", "398", "--at", "2025-03-05", "--temp", "23.0", "--grade", "0")
    assert {"sqlmodel", "stability.records.tables.bench"} <= loaded
    assert not loaded & {*HEAVY, "difflib", "stability.cli.board", "stability.bench.cups"}
    assert not loaded & {f"stability.records.tables.{name}" for name in ("design", "measured", "told")}
    assert not {
        m for m in loaded if m.startswith(("stability.ageing", "stability.board", "stability.reports"))
    }
