"""`stability labels`: a sheet of labels for tins and their lids."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from stability.app import App
from stability.cli.options import show, warn, with_app

__all__ = ["command"]


@click.command("labels")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path, dir_okay=False))
@with_app(as_json=True, as_of=True, person=True)
@click.option("--study", metavar="CODE", help="Only the samples of this study.")
@click.option("--store", metavar="NAME", help="Only the samples in this store.")
@click.option(
    "--sample", "samples", metavar="CODE", multiple=True, help="Only this sample; may be given again."
)
@click.option(
    "--part",
    type=click.Choice(("both", "body", "lid")),
    default="both",
    show_default=True,
    help="Labels for the body, for the lid, or one of each.",
)
@click.option(
    "--skip",
    type=click.IntRange(0, 400),
    default=0,
    metavar="N",
    help="Leave the first N places empty: a sheet that was begun.",
)
def command(app: App, file: Path, part: str, skip: int, **chosen: Any) -> None:
    """Write labels as PDF: code, square code, blend in words, store, start, hazard words; body and lid.

    The sheet (rows, columns, margins) is set under [labels]. Print at 100 %, on stock that outlives solvent.

    Example: stability labels labels.pdf --study S-07 --store OVN-50
    """
    from stability.board.view import to_json
    from stability.cli.edge import one_line
    from stability.services.labels import PARTS, LabelSheet, tin_labels
    from stability.services.whole_file import write_whole

    found = tin_labels(app.records, as_of=app.as_of, **chosen)
    parts = PARTS if part == "both" else (part,)
    sheet = LabelSheet(
        labels=found,
        layout=app.settings.labels,
        zone_name=app.zone.key,
        person=app.person,
        at=app.as_of,
        parts=parts,
        skip=skip,
    )
    write_whole(file, sheet.pdf())
    if odd := sheet.unprintable():
        warn(f"not in the label's font, printed as \ufffd: {one_line(' '.join(odd))}")
    count = len(found) * len(parts)
    data = {"file": file, "sheets": sheet.sheets, "labels": [to_json(label) for label in found]}
    pages = "1 sheet" if sheet.sheets == 1 else f"{sheet.sheets} sheets"
    show(
        app, data, lambda: f"{count} labels for {len(found)} tins on {pages} written to {one_line(str(file))}"
    )
