"""`stability restore`: a new database from a backup."""

from __future__ import annotations

from pathlib import Path

import click

from stability.app import App
from stability.cli.options import show, with_app

__all__ = ["command"]


@click.command("restore")
@click.argument("backup", type=click.Path(path_type=Path))
@with_app(as_json=True)
def command(app: App, backup: Path) -> None:
    """Make a database from a BACKUP; nothing that exists is written over, so name a new file with --db.

    Example: stability restore stability-2026-03-04.db --db restored.db
    """
    from stability.services.keep import needs_update, restore

    version = restore(backup, app.database)
    old = needs_update(version)
    data = {"database": app.database, "schema": version, "needs_init": old}
    advice = f"; it has an older schema: stability init --db {app.database}" if old else ""
    show(app, data, lambda: f"{app.database}: restored from {backup}, checked{advice}")
