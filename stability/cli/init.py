"""`stability init`: a new database, or an older one brought up to date."""

from __future__ import annotations

import click

from stability.app import App
from stability.cli.options import show, warn, with_app

__all__ = ["command"]


@click.command("init")
@with_app(as_json=True)
def command(app: App) -> None:
    """Set up a database, or bring an older one up to date.

    An older SQLite file is copied first. Nothing is done to one that is up to date.

    Example: stability init --db stability.db
    """
    from stability.services.keep import set_up

    done = set_up(app.database, now=app.now)
    if done.backup:
        warn(f"the older database was copied to {done.backup}")
    done.records.close()
    data = {
        "database": done.shown,
        "found": done.found,
        "schema": done.schema,
        "journal": done.journal,
        "backup": done.backup,
    }
    show(app, data, lambda: done.says)
