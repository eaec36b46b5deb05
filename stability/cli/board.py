"""`stability board`: today's work, alerts, how much life is used, stores."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import click

from stability.app import App
from stability.cli.options import draw, screen, with_app
from stability.clock import now_utc

if TYPE_CHECKING:
    from rich.console import RenderableType

    from stability.board.view import BoardView

__all__ = ["command"]


@click.command("board")
@with_app(as_json=True, as_of=True)
@click.option("--study", metavar="CODE", help="Only this study, with its samples.")
@click.option("--sample", metavar="SAMPLE", help="One tin: its curve, readings, corrections and events.")
@click.option("--live", is_flag=True, help="Keep it on the screen and look again every few seconds.")
@click.option("--every", type=float, default=15.0, show_default=True, help="Seconds between two looks.")
def command(app: App, study: str | None, sample: str | None, live: bool, every: float) -> None:
    """Show today's work, open alerts, how much life is used, and the stores.

    Example: stability board --study S-07 --as-of 2025-08-26
    """
    from stability.board.view import to_json

    if sample is not None:
        _show_sample(app, sample)
        return
    if live:
        _watch(app, study, every)
        return
    view = _view(app, study)
    if app.as_json:
        click.echo(app.json_text(to_json(view)))
        return
    from stability.board.screen import board

    def drawn(width: int, ascii_only: bool) -> RenderableType:
        return board(view, width=width, ascii_only=ascii_only)

    draw(drawn)


def _view(app: App, study: str | None) -> BoardView:
    from stability.services.board import board_view

    return board_view(
        app.records, as_of=app.as_of, settings=app.settings, study=study, samples=study is not None
    )


def _show_sample(app: App, sample: str) -> None:
    from stability.board.sample import sample_board
    from stability.board.view import to_json
    from stability.services.sample import sample_view

    view = sample_view(app.records, sample, as_of=app.as_of, settings=app.settings)
    if app.as_json:
        click.echo(app.json_text(to_json(view)))
        return

    def drawn(width: int, ascii_only: bool) -> RenderableType:
        return sample_board(view, width=width, ascii_only=ascii_only)

    draw(drawn)


def _watch(app: App, study: str | None, every: float) -> None:
    from rich.console import Console

    from stability.board.live import watch

    if app.as_of_text or app.as_json:
        raise click.UsageError("--live shows the present: it goes with neither --as-of nor --json")
    if not timedelta(seconds=0) < timedelta(seconds=every):
        raise click.BadParameter(f"{every:g} is not above 0", param_hint="--every")

    def view() -> BoardView:
        app.now = now_utc()
        return _view(app, study)

    _, ascii_only = screen()
    watch(view, console=Console(highlight=False), every_s=every, ascii_only=ascii_only)
