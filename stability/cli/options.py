"""The options that commands share, and how a command gets its `App` and shows what it found."""

from __future__ import annotations

import functools
import os
import shutil
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stability.app import App

if TYPE_CHECKING:
    from rich.console import RenderableType

__all__ = ["draw", "screen", "show", "warn", "with_app"]


def with_app(
    *, as_json: bool = False, as_of: bool = False, person: bool = False
) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Give a command its App as first argument, and the options `--db`, `--json`, `--as-of`, `--person`."""

    def decorate(function: Callable[..., Any]) -> Callable[..., Any]:
        @functools.wraps(function)
        def call(*args: Any, **kwargs: Any) -> Any:
            context = click.get_current_context()
            given = context.find_root().obj or {}
            app = App(
                db=kwargs.pop("db", None),
                settings_file=Path(given["settings"]) if given.get("settings") else None,
                person_given=kwargs.pop("person", None),
                as_of_text=kwargs.pop("as_of", None),
                as_json=bool(kwargs.pop("as_json", False)),
            )
            try:
                return function(app, *args, **kwargs)
            finally:
                app.close()

        wrapped: Callable[..., Any] = call
        if person:
            wrapped = click.option(
                "--person", metavar="NAME", help="Who acts; default: whoever this account is bound to."
            )(wrapped)
        if as_of:
            wrapped = click.option("--as-of", metavar="TIME", help="What was known then (ISO 8601).")(wrapped)
        if as_json:
            wrapped = click.option("--json", "as_json", is_flag=True, help="Data as JSON on stdout.")(wrapped)
        return click.option(
            "--db",
            envvar="STABILITY_DB",
            metavar="DB",
            help="SQLite path or PostgreSQL URL.",
            show_envvar=True,
        )(wrapped)

    return decorate


def show(app: App, data: Mapping[str, Any], text: Callable[[], str]) -> None:
    """Print the data as JSON when that was asked for, else the text."""
    click.echo(app.json_text(data) if app.as_json else text())


def screen() -> tuple[int, bool]:
    """Return the width to draw at, and whether only ASCII can be shown."""
    width = shutil.get_terminal_size((100, 24)).columns if sys.stdout.isatty() else _piped_width()
    try:
        "\u28ff█–".encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return width, True
    return width, False


def _piped_width() -> int:
    columns = os.environ.get("COLUMNS", "")
    return int(columns) if columns.isdigit() and int(columns) > 0 else 100


def draw(make: Callable[[int, bool], RenderableType]) -> None:
    """Draw what `make(width, ascii_only)` returns: in colour on a terminal, plain in a pipe."""
    from rich.console import Console

    width, ascii_only = screen()
    console = Console(width=width, highlight=False, markup=False, emoji=False, soft_wrap=False)
    console.print(make(width, ascii_only))


def warn(text: str) -> None:
    """Say something beside the data, on stderr."""
    click.echo(text, err=True)
