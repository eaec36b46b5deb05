"""`stability report`: one study as text or JSON, as a page or on paper, with its figures on request."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stability.app import App
from stability.cli.options import warn, with_app
from stability.cli.report_answer import answer, customer_options

if TYPE_CHECKING:
    from stability.reports.dossier import StudyDossier

__all__ = ["command"]

_FILE = click.Path(path_type=Path, dir_okay=False)


@click.command("report")
@with_app(as_json=True, as_of=True)
@click.argument("study", required=False)
@click.option(
    "--html", metavar="FILE", type=_FILE, help="Write it as a page for a browser, with figures and readings."
)
@click.option("--pdf", metavar="FILE", type=_FILE, help="Write the same as archival paper (PDF).")
@click.option(
    "--figures",
    "folder",
    metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False),
    help="Write a master curve and an Arrhenius figure per blend (SVG) into this folder.",
)
@customer_options
def command(
    app: App,
    study: str | None,
    html: Path | None,
    pdf: Path | None,
    folder: Path | None,
    for_customer: bool,
    **asked: Any,
) -> None:
    """Write the report of a study: question, design, verdicts, lives, evidence, and what happened.

    With --for-customer: one sheet that answers how long a blend keeps in his warehouse, by month of filling.

    Example: stability report S-07 --html S-07.html --pdf S-07.pdf
    """
    if for_customer:
        answer(app, study, {"html": html, "pdf": pdf}, asked)
        return
    if any(asked.values()):
        raise click.UsageError("options that choose a blend or a warehouse go with --for-customer")
    from stability.board.view import to_json
    from stability.reports.text import study_report_text
    from stability.services.report import study_report

    if html is not None or pdf is not None:
        from stability.services.dossier import study_dossier

        dossier = study_dossier(app.records, study=study, as_of=app.as_of, settings=app.settings)
        report = dossier.report
        _write(dossier, html, pdf)
    else:
        report = study_report(app.records, study=study, as_of=app.as_of, settings=app.settings)
    if folder is not None:
        from stability.services.curves import write_figures

        files = write_figures(app.records, folder, study=report.code, as_of=app.as_of, settings=app.settings)
        warn(f"{len(files)} figures written to {folder}")
    if app.as_json:
        click.echo(app.json_text(to_json(report)))
    elif html is None and pdf is None:
        click.echo(study_report_text(report), nl=False)


def _write(dossier: StudyDossier, html: Path | None, pdf: Path | None) -> None:
    from stability.cli.edge import one_line
    from stability.services.whole_file import write_whole

    if html is not None:
        from stability.reports.pages import study_page

        write_whole(html, study_page(dossier).encode("utf-8"))
        warn(f"page written to {one_line(str(html))}")
    if pdf is not None:
        from stability.reports.study_paper import study_pdf

        write_whole(pdf, study_pdf(dossier))
        warn(f"paper written to {one_line(str(pdf))}")
