"""The options that commands share, and how a command gets its `App` and shows what it found."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import click

from stability.app import App

__all__ = ["show", "warn", "with_app"]


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


def show(app: App, data: Mapping[str, Any], renderable: Callable[[], Any]) -> None:
    """Print the data as JSON, or what `renderable` makes (text, or something rich can draw)."""
    if app.as_json:
        click.echo(app.json_text(data))
        return
    made = renderable()
    if isinstance(made, str):
        click.echo(made)
        return
    from stability.board.plain import print_renderable

    print_renderable(made)


def warn(text: str) -> None:
    """Say something beside the data, on stderr."""
    click.echo(text, err=True)
