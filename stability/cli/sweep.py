"""`stability sweep`: look once, as the daemon does."""

from __future__ import annotations

from pathlib import Path

import click

from stability.app import App
from stability.cli.options import with_app

__all__ = ["command"]


@click.command("sweep")
@with_app(as_json=True, as_of=True)
@click.option(
    "--board",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write the wall board (HTML) too, as `run` does at every look.",
)
def command(app: App, board: Path | None) -> None:
    """Look once, as the daemon does: refit what changed, open and close alerts. `run` sends the messages.

    Example: stability sweep --as-of 2025-08-26
    """
    from stability.errors import InputError
    from stability.services.sweep import sweep
    from stability.services.sweep_told import outcome_json, outcome_lines

    if app.as_of > app.now:
        raise InputError(
            "--as-of lies in the future", hint="a look at a time that has not come knows nothing"
        )
    outcome = sweep(app.records, now=app.as_of, settings=app.settings, began_at=app.now)
    if board is not None:
        from stability.services.wall_board import write_wall_board

        write_wall_board(app.records, now=app.as_of, settings=app.settings, file=board)
    if app.as_json:
        click.echo(app.json_text(outcome_json(outcome)))
        return
    click.echo("\n".join(outcome_lines(outcome)))
