"""`stability report`: one study as text or JSON, with its figures as SVG files on request."""

from __future__ import annotations

from pathlib import Path

import click

from stability.app import App
from stability.cli.options import warn, with_app

__all__ = ["command"]


@click.command("report")
@with_app(as_json=True, as_of=True)
@click.argument("study", required=False)
@click.option(
    "--figures",
    "folder",
    metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False),
    help="Write a master curve and an Arrhenius figure per blend (SVG) into this folder.",
)
def command(app: App, study: str | None, folder: Path | None) -> None:
    """Write the report of a study: question, design, verdicts, lives, evidence, and what happened.

    Example: stability report S-07 --figures figures > S-07.txt
    """
    from stability.board.view import to_json
    from stability.reports.text import study_report_text
    from stability.services.report import study_report

    report = study_report(app.records, study=study, as_of=app.as_of, settings=app.settings)
    if folder is not None:
        from stability.services.curves import write_figures

        files = write_figures(app.records, folder, study=report.code, as_of=app.as_of, settings=app.settings)
        warn(f"{len(files)} figures written to {folder}")
    if app.as_json:
        click.echo(app.json_text(to_json(report)))
    else:
        click.echo(study_report_text(report), nl=False)
