"""Talking to somebody at a bench terminal: lines of its width, plain letters where it knows no others.

Echoes go to stdout, all else to stderr. A lost terminal and a stop by hand end the talk, never the data.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import signal
import sys
import textwrap
import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import IO, Any

import click

from stability.board.text import clean, plain_ascii
from stability.errors import StabilityError

__all__ = [
    "QUIT",
    "STANDING",
    "BackError",
    "EndedError",
    "HangUpError",
    "QuitError",
    "Talk",
    "heard",
    "leave_on",
    "talk_here",
]

QUIT = frozenset({"q", "quit", "stop", "exit"})
STANDING = "SDS, local code and licensed practice come first."
_READ = ("ok", "y", "yes")
_PLAIN_TERMINALS = ("dumb", "vt52", "vt100", "vt102", "vt220", "vt320", "unknown")
# a number and its unit stay on one line
_UNIT = re.compile(r"(?<=[0-9]) (?=(?:mPa.s|mm|°C|deg C|%|g|s|h|d|rpm)\b|%)|(?<=±) ")
_WIDEST = 100
_SLIM = 80
_LONGEST_LINE = 2000


class EndedError(Exception):
    """No more input comes: the terminal is at its end."""


class HangUpError(EndedError):
    """The terminal is gone."""


class BackError(Exception):
    """Nothing shall be stored of this tin for now."""


class QuitError(Exception):
    """Somebody has had enough for now."""


def leave_on(typed: str) -> None:
    """Leave the tin, or the round, where one of the words for it was typed.

    Raises
    ------
    BackError, QuitError
        If it was.
    """
    act = typed.casefold()
    if act in QUIT:
        raise QuitError
    if act in ("back", "skip", "undo"):
        raise BackError


@dataclass(slots=True)
class Talk:
    """One terminal; `typed` says that it echoes the keys of a person, `gone` that nobody is there."""

    width: int = _SLIM
    ascii_only: bool = False
    colour: bool = False
    typed: bool = True
    waiting: bool = False
    gone: bool = False

    def say(self, text: str, *, indent: int = 0) -> None:
        """Say something that is data, on stdout."""
        self._put(text, sys.stdout, indent, None)

    def tell(self, text: str, *, indent: int = 0, colour: str | None = None) -> None:
        """Say something beside the data, on stderr; the colour only helps, words carry it."""
        self._put(text, sys.stderr, indent, colour)

    def not_taken(self, exc: StabilityError) -> None:
        """Say why something was not taken, and what helps."""
        for fault in exc.lines:
            self.tell(f"not taken: {fault}", colour="yellow")
        if exc.hint:
            self.tell(f"hint: {exc.hint}")

    def _line(self) -> str:
        if self.gone:
            raise HangUpError
        self.waiting = True
        try:
            return sys.stdin.readline(_LONGEST_LINE)
        except (OSError, ValueError):  # a line that was pulled out
            raise HangUpError from None
        finally:
            self.waiting = False

    def show(self, lines: Sequence[str]) -> None:
        """Show lines that are set already, none longer than a screen."""
        for line in lines:
            self._write(self._letters(line) + "\n", sys.stderr)

    def ask(self, question: str) -> str:
        """Return what is typed as one line without blanks around it.

        Raises
        ------
        EndedError
            If the input has ended.
        """
        self._write(self._letters(question) + "> ", sys.stderr)
        line = self._line()
        if not line:
            self._write("\n", sys.stderr)
            raise EndedError
        if not self.typed:
            self._write(self._letters(clean(line.strip())) + "\n", sys.stderr)
        return "".join(sign for sign in line if sign.isprintable()).strip()

    def answer_for(self, lines: Sequence[str]) -> None:
        """Show cautions and wait until somebody says that he has read them.

        Raises
        ------
        BackError, QuitError
            If he leaves instead.
        """
        for line in lines:
            self.tell(f"caution: {line}", colour="yellow")
        self.tell(STANDING)
        while (typed := self.ask("type ok when you have read this").casefold()) not in _READ:
            leave_on(typed)

    def _put(self, text: str, stream: IO[str], indent: int, colour: str | None) -> None:
        room = max(self.width - 1, 20)
        lead = " " * indent
        lines = textwrap.wrap(
            _UNIT.sub("\u00a0", self._letters(clean(text))),
            room,
            initial_indent=lead,
            subsequent_indent=lead + "  ",
            break_on_hyphens=False,
        )
        for kept in lines or [""]:
            line = kept.replace("\u00a0", " ")
            shown = click.style(line, fg=colour, bold=True) if colour and self.colour else line
            self._write(shown + "\n", stream)

    def _letters(self, text: str) -> str:
        return plain_ascii(text) if self.ascii_only else text

    @staticmethod
    def _write(text: str, stream: IO[str]) -> None:
        # what cannot be shown any more is stored all the same
        with contextlib.suppress(OSError, ValueError):
            stream.write(text)
            stream.flush()


def talk_here() -> Talk:
    """Return the terminal that this program sits at."""
    typed = sys.stdin.isatty()
    both = sys.stdout.isatty() and sys.stderr.isatty()
    width = shutil.get_terminal_size((_SLIM, 24)).columns if both else _SLIM
    plain = os.environ.get("TERM", "") in _PLAIN_TERMINALS
    if hasattr(sys.stdin, "reconfigure"):
        sys.stdin.reconfigure(errors="replace")  # noise on a serial line is no reason to stop
    return Talk(
        width=min(width, _WIDEST),
        ascii_only=(plain and typed) or not _knows_more(),
        colour=both and not plain and not os.environ.get("NO_COLOR"),
        typed=typed,
    )


def _knows_more() -> bool:
    """Say whether the terminal shows more than ASCII: its encoding does, and no C locale says otherwise."""
    locale = next((os.environ[n] for n in ("LC_ALL", "LC_CTYPE", "LANG") if os.environ.get(n)), "C")
    if locale in ("C", "POSIX") and sys.stdin.isatty():
        return False
    try:
        for stream in (sys.stdout, sys.stderr):
            "·°–²".encode(stream.encoding or "ascii")
    except UnicodeEncodeError:
        return False
    return True


@contextlib.contextmanager
def heard(talk: Talk) -> Iterator[None]:
    """Turn the hang-up of a terminal into `HangUpError` at the next question: nothing is cut in two."""
    if not hasattr(signal, "SIGHUP") or threading.current_thread() is not threading.main_thread():
        yield
        return

    def hang_up(_number: int, _frame: Any) -> None:
        talk.gone = True
        if talk.waiting:
            talk.waiting = False
            raise HangUpError

    before = signal.signal(signal.SIGHUP, hang_up)
    try:
        yield
    finally:
        signal.signal(signal.SIGHUP, before)
