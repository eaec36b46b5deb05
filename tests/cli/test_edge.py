"""The edge: every fault is one line, one hint and an exit code; never a traceback for bad input."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import click
import pytest

from stability.cli import edge
from stability.cli.edge import MOST_FAULTS_SHOWN, run
from stability.errors import DeliveryError, InputError, RecordsError, RefusedError, StabilityError


@pytest.fixture
def failing(monkeypatch: pytest.MonkeyPatch) -> Callable[[BaseException], int]:
    """Return a function that runs a command line whose command raises this."""

    def fail(fault: BaseException) -> int:
        @click.command()
        def command() -> None:
            raise fault

        monkeypatch.setattr(edge, "cli", command)
        return run([])

    return fail


@pytest.mark.parametrize(
    ("fault", "code"),
    [
        pytest.param(InputError("a"), 2, id="bad input"),
        pytest.param(RecordsError("a"), 2, id="a database that cannot be used"),
        pytest.param(RefusedError(["a"]), 3, id="refused on evidence"),
        pytest.param(StabilityError("a"), 1, id="a fault of ours"),
        pytest.param(DeliveryError("a", permanent=True), 1, id="a message that nobody took"),
        pytest.param(ZeroDivisionError("a"), 1, id="an unexpected fault"),
        pytest.param(click.UsageError("a"), 2, id="bad usage"),
        pytest.param(click.ClickException("a"), 2, id="a fault told by the parser"),
        pytest.param(KeyboardInterrupt(), 130, id="stopped by hand"),
    ],
)
def test_every_fault_has_its_exit_code_and_no_traceback(
    failing: Callable[[BaseException], int],
    capsys: pytest.CaptureFixture[str],
    fault: BaseException,
    code: int,
) -> None:
    assert failing(fault) == code
    out, err = capsys.readouterr()
    assert out == ""
    assert "Traceback" not in err
    assert err.lstrip("\n").startswith(("error: ", "stopped"))


def test_one_line_per_fault_then_one_hint(
    failing: Callable[[BaseException], int], capsys: pytest.CaptureFixture[str]
) -> None:
    failing(InputError("first", "second", hint="do this"))
    assert capsys.readouterr().err.splitlines() == ["error: first", "error: second", "hint: do this"]


def test_at_most_twenty_faults_are_shown_and_the_rest_is_counted(
    failing: Callable[[BaseException], int], capsys: pytest.CaptureFixture[str]
) -> None:
    failing(InputError(*(f"fault {n}" for n in range(57)), hint="one hint"))
    lines = capsys.readouterr().err.splitlines()
    assert MOST_FAULTS_SHOWN == 20
    assert lines[19:] == ["error: fault 19", "error: … and 37 more", "hint: one hint"]


def test_exactly_twenty_need_no_count(
    failing: Callable[[BaseException], int], capsys: pytest.CaptureFixture[str]
) -> None:
    failing(InputError(*(f"fault {n}" for n in range(20))))
    assert len(capsys.readouterr().err.splitlines()) == 20


@pytest.mark.parametrize(
    ("typed", "shown"),
    [
        ("tin\x1b[2J\x1b]0;gone\x07", r"tin\x1b[2J\x1b]0;gone\x07"),
        ("first\nerror: second\r", r"first\nerror: second\r"),
        ("ab\u202edcb", r"ab\u202edcb"),
        ("[red]red[/red] <b>", "[red]red[/red] <b>"),
        ("Müller 20 % – µ", "Müller 20 % – µ"),
    ],
)
def test_what_could_steer_the_terminal_is_shown_and_not_acted_on(
    failing: Callable[[BaseException], int], capsys: pytest.CaptureFixture[str], typed: str, shown: str
) -> None:
    failing(InputError(f"sample {typed} is not on record", hint=typed))
    assert capsys.readouterr().err.splitlines() == [
        f"error: sample {shown} is not on record",
        f"hint: {shown}",
    ]


def test_an_unexpected_fault_says_how_to_see_more(
    failing: Callable[[BaseException], int],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    failing(KeyError("x"))
    assert "hint: STABILITY_DEBUG=1 shows where" in capsys.readouterr().err
    monkeypatch.setenv("STABILITY_DEBUG", "1")
    with pytest.raises(KeyError):
        failing(KeyError("x"))


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["lgo"], "error: no command 'lgo'; did you mean 'log'?\nhint: stability --help\n"),
        (["--zzz"], "error: No such option '--zzz'.\nhint: stability --help\n"),
        (["log"], "error: Missing argument 'SAMPLE'.\nhint: stability log --help\n"),
        (["end", "0417-K"], "hint: stability end --help\n"),
    ],
)
def test_a_wrong_command_line_gets_the_nearest_name_and_where_the_help_is(
    capsys: pytest.CaptureFixture[str], arguments: list[str], told: str
) -> None:
    assert run(arguments) == 2
    assert told in capsys.readouterr().err


def test_without_a_command_the_help_is_shown(capsys: pytest.CaptureFixture[str]) -> None:
    run([])
    out, err = capsys.readouterr()
    assert "Commands:" in out + err


@pytest.mark.parametrize(
    ("made", "told"),
    [
        (None, "does not exist"),
        (b"", "is not one of this program"),
        (b"sample,taken_at\n" * 50, "is not a database of this program"),
    ],
)
def test_a_database_that_cannot_be_used_is_told_in_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], made: bytes | None, told: str
) -> None:
    path = tmp_path / "some.db"
    if made is not None:
        path.write_bytes(made)
    assert run(["log", "0417-K", "398", "--db", str(path)]) == 2
    err = capsys.readouterr().err
    assert err.startswith(f"error: database {path} {told}")
    assert err.splitlines()[1].startswith("hint: ")
    assert path.exists() == (made is not None)


def test_a_reader_that_goes_away_is_no_fault() -> None:
    command = f"'{sys.executable}' -m stability --help | head -n 1; exit ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_a_terminal_that_knows_only_ascii_ends_nothing() -> None:
    environment = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    done = subprocess.run(
        [sys.executable, "-m", "stability", "log", "Ω", "--db", "/nowhere/Ω.db"],
        capture_output=True,
        env=environment,
        check=False,
    )
    assert done.returncode == 2
    assert done.stderr.startswith(b"error: database ")
