"""The edge: runs the command line and turns every fault into one line, one hint and an exit code."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

import click

from stability.cli.group import cli
from stability.errors import StabilityError

__all__ = ["MOST_FAULTS_SHOWN", "one_line", "run"]

MOST_FAULTS_SHOWN = 20


def run(arguments: Sequence[str]) -> int:
    """Run one command line and return its exit code; never a traceback for bad input."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal without braille must not end the command
    try:
        result = cli.main(args=list(arguments), prog_name="stability", standalone_mode=False)
    except StabilityError as exc:
        return _told(exc.lines, exc.hint, exc.exit_code)
    except click.UsageError as exc:
        hint = f"{exc.ctx.command_path} --help" if exc.ctx else "stability --help"
        return _told((exc.format_message(),), hint, 2)
    except click.ClickException as exc:
        return _told((exc.format_message(),), None, 2)
    except (click.Abort, KeyboardInterrupt):
        click.echo("stopped", err=True)
        return 130
    except BrokenPipeError:
        # the reader of the pipe went away; Python would complain once more while closing stdout
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as exc:
        if os.environ.get("STABILITY_DEBUG"):
            raise
        return _told((f"unexpected fault: {type(exc).__name__}: {exc}",), "STABILITY_DEBUG=1 shows where", 1)
    return result if isinstance(result, int) else 0


def _told(faults: Sequence[str], hint: str | None, code: int) -> int:
    for fault in faults[:MOST_FAULTS_SHOWN]:
        click.echo(f"error: {one_line(fault)}", err=True)
    if len(faults) > MOST_FAULTS_SHOWN:
        click.echo(f"error: … and {len(faults) - MOST_FAULTS_SHOWN} more", err=True)
    if hint:
        click.echo(f"hint: {one_line(hint)}", err=True)
    return code


def one_line(text: str) -> str:
    """Show control characters as what they are: input must not drive the terminal."""
    return "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)
