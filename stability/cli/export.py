"""`stability export`: every table and study file, to look at elsewhere or to take in again."""

from __future__ import annotations

from pathlib import Path

import click

from stability.app import App
from stability.cli.options import show, with_app

__all__ = ["command"]


@click.command("export")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path, file_okay=False))
@with_app(as_json=True, as_of=True)
@click.option(
    "--format",
    "form",
    type=click.Choice(("csv", "xlsx")),
    default="csv",
    show_default=True,
    help="Kind of file.",
)
def command(app: App, folder: Path, form: str) -> None:
    """Write all tables as CSV or XLSX, and the study files. The same records give the same bytes.

    Example: stability export out --format xlsx
    """
    from stability.services.export import export

    done = export(app.records, folder, as_of=app.as_of, form=form)
    data = {"folder": done.folder, "files": dict(done.files)}
    rows = sum(count for file, count in done.files.items() if not file.endswith(".toml"))
    studies = sum(file.endswith(".toml") for file in done.files)
    data |= {"rows": rows, "study_files": studies}
    show(app, data, lambda: f"{rows} rows and {studies} study files written to {done.folder}")
