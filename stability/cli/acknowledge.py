"""`stability acknowledge`: an alert is seen, and why it may stand."""

from __future__ import annotations

import click

from stability.app import App
from stability.cli.options import with_app

__all__ = ["command"]


@click.command("acknowledge")
@with_app(as_json=True, person=True)
@click.argument("number", type=click.IntRange(1, 2**62), metavar="ID")
@click.option("--reason", required=True, metavar="TEXT", help="What you saw and what you do about it.")
def command(app: App, number: int, reason: str) -> None:
    """Say that an alert is seen, and why it may stand; it closes when its cause is gone.

    Example: stability acknowledge 12 --reason "old drum, test stopped"
    """
    from stability.board.text import clean
    from stability.services.alerts import acknowledge, as_json

    row = acknowledge(app.records, number, reason=reason, person=app.person, now=app.now)
    if app.as_json:
        click.echo(app.json_text({"alerts": [as_json(row)]}))
        return
    click.echo(clean(f"alert {row.id} ({row.kind.replace('_', ' ')}) acknowledged by {row.acknowledged_by}"))
