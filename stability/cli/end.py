"""`stability end`: a sample is gelled, dropped, used up or closed."""

from __future__ import annotations

import click

from stability.app import App, parse_instant
from stability.cli.options import warn, with_app
from stability.cli.typed import caution, say

__all__ = ["command"]

_REASONS = ("gelled", "dropped", "used", "closed")


@click.command("end")
@with_app(as_json=True, person=True)
@click.argument("sample")
@click.option("--reason", required=True, type=click.Choice(_REASONS), help="Why it ends.")
@click.option("--at", metavar="TIME", help="When it ended (ISO 8601); default now.")
def command(app: App, sample: str, reason: str, at: str | None) -> None:
    """End SAMPLE: no check of it falls due any more, and its readings stay.

    Example: stability end 0417-K --reason gelled
    """
    from stability.services.end import end_sample

    moment = parse_instant(at, app.zone) if at else app.now.replace(microsecond=0)
    ended = end_sample(
        app.records, sample, at=moment, reason=reason, person=app.person, now=app.now, zone=app.zone
    )
    if app.as_json:
        click.echo(
            app.json_text(
                {
                    "sample": ended.sample,
                    "reason": ended.reason.value,
                    "at": ended.at,
                    "already_stored": ended.already,
                    "says": ended.says,
                    "cautions": list(ended.cautions),
                }
            )
        )
    else:
        say(ended.says)
    if ended.already:
        warn("this ending was stored before; nothing was written")
    caution(ended.cautions)
