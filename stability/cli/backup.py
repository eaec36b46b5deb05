"""`stability backup`: a checked copy of the database, made while others go on writing."""

from __future__ import annotations

from pathlib import Path

import click

from stability.app import App
from stability.cli.options import show, with_app

__all__ = ["command"]


@click.command("backup")
@click.argument("file", type=click.Path(path_type=Path))
@with_app(as_json=True)
@click.option("--force", is_flag=True, help="Write over a file that exists.")
def command(app: App, file: Path, force: bool) -> None:
    """Write a verified copy of the database to FILE; it may be in use meanwhile.

    Example: stability backup /media/disk/stability-2026-03-04.db
    """
    from stability.services.keep import backup

    size = backup(app.database, file, force=force)
    data = {"backup": file, "bytes": size}
    show(app, data, lambda: f"{file}: {size / 1e6:.3g} MB, checked")
