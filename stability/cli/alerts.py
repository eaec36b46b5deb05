"""`stability alerts`: what is open, and with `--all` what was."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from stability.app import App
from stability.cli.options import draw, with_app

if TYPE_CHECKING:
    from rich.console import RenderableType

__all__ = ["command"]


@click.command("alerts")
@with_app(as_json=True, as_of=True)
@click.option("--all", "closed_too", is_flag=True, help="Also those that are closed.")
def command(app: App, closed_too: bool) -> None:
    """List the open alerts, worst first.

    Example: stability alerts --all --json
    """
    from stability.services.alerts import alert_line, as_json, list_alerts

    rows = list_alerts(app.records, as_of=app.as_of, closed_too=closed_too)
    if app.as_json:
        click.echo(app.json_text({"alerts": [as_json(row) for row in rows]}))
        return
    from stability.board.tables import alerts_table

    zone_name = app.zone.key

    def drawn(width: int, ascii_only: bool) -> RenderableType:
        return alerts_table(
            [alert_line(row) for row in rows], zone_name=zone_name, width=width, ascii_only=ascii_only
        )

    draw(drawn)
