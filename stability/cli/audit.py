"""`stability audit`: everything about one statement as a folder and a ZIP file."""

from __future__ import annotations

from pathlib import Path

import click

from stability.app import App
from stability.cli.options import show, with_app

__all__ = ["command"]


@click.command("audit")
@click.argument("number")
@with_app(as_json=True)
@click.option("--version", type=click.IntRange(1), metavar="N", help="Default: the latest.")
@click.option(
    "--out", type=click.Path(path_type=Path, file_okay=False), metavar="FOLDER", help="Where the pack goes."
)
def command(app: App, number: str, version: int | None, out: Path | None) -> None:
    """Write the audit pack of a statement: open formats, digests, and an index that answers questions.

    Example: stability audit ST-01 --out packs
    """
    from stability.services.audit import audit_pack, write_pack

    pack = audit_pack(app.records, number, version, now=app.now)
    folder, book = write_pack(pack, out or app.settings.output)
    data = {"statement": pack.row.name, "folder": folder, "zip": book, "files": sorted(pack.files)}
    says = f"{len(pack.files)} files of {pack.row.name} in {folder} and {book}; begin with index.html"
    show(app, data, lambda: says)
