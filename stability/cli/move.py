"""`stability move`: a sample goes to another store for good."""

from __future__ import annotations

import click

from stability.app import App, parse_instant
from stability.cli.options import warn, with_app
from stability.cli.typed import caution, say

__all__ = ["command"]


@click.command("move")
@with_app(as_json=True, person=True)
@click.argument("sample")
@click.argument("store")
@click.option("--at", metavar="TIME", help="Since when it stands there (ISO 8601); default now.")
def command(app: App, sample: str, store: str, at: str | None) -> None:
    """Move SAMPLE to STORE; its dose follows from then on.

    Example: stability move 0417-K ROOM-23 --at 2025-03-25T08:30
    """
    from stability.services.move import move_sample

    moment = parse_instant(at, app.zone) if at else app.now.replace(microsecond=0)
    moved = move_sample(app.records, sample, store, at=moment, person=app.person, now=app.now, zone=app.zone)
    if app.as_json:
        click.echo(
            app.json_text(
                {
                    "sample": moved.sample,
                    "from_store": moved.from_store,
                    "to_store": moved.to_store,
                    "at": moved.at,
                    "already_stored": moved.already,
                    "says": moved.says,
                    "cautions": list(moved.cautions),
                }
            )
        )
    else:
        say(moved.says)
    if moved.already:
        warn("this move was stored before; nothing was written")
    caution(moved.cautions)
