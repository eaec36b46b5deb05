"""`stability due`: the round sheet."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stability.app import App
from stability.cli.options import draw, warn, with_app

if TYPE_CHECKING:
    from rich.console import RenderableType

    from stability.services.round_sheet import RoundSheet

__all__ = ["command"]

_COLUMNS = (
    "sample", "study", "blend", "store", "temperature_c", "act", "checks", "due_at", "state", "age_days",
    "moved", "minutes", "cell", "spindle", "speed_rpm", "cup", "needs_ml", "holds_ml", "short_at_days",
    "cautions",
)  # fmt: skip
_STDOUT = Path("-")


@click.command("due")
@with_app(as_json=True, as_of=True, person=True)
@click.option(
    "--within", type=click.IntRange(0, 366), default=1, metavar="DAYS", help="Days ahead; default 1, 0 today."
)
@click.option(
    "--pdf",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write the sheet to print and write on (PDF).",
)
@click.option(
    "--csv",
    "table",
    is_flag=False,
    flag_value=_STDOUT,
    metavar="[FILE]",
    type=click.Path(path_type=Path, dir_okay=False),
    help="One row per tin, for a spreadsheet: into a file, or without one to the terminal.",
)
def command(app: App, within: int, pdf: Path | None, table: Path | None) -> None:
    """Print the round sheet: what is late, what to measure and what to take out, in walking order.

    Each tin comes with its cell, spindle and speed, the volume it needs and holds, cautions and minutes.

    Example: stability due --within 7 --pdf round.pdf
    """
    from stability.services.checks_round import round_of
    from stability.services.round_sheet import sheet_of

    found = round_of(app.records, as_of=app.as_of, settings=app.settings, within_days=within)
    sheet = sheet_of(app.records, found, settings=app.settings, person=app.person, within_days=within)
    if pdf is not None:
        _write_pdf(sheet, pdf)
    if table is not None and table != _STDOUT:
        _write_csv(sheet, table)
    if app.as_json:
        click.echo(app.json_text(_data(sheet, within)))
    elif table == _STDOUT:
        click.echo(_csv(sheet), nl=False)
    elif pdf is None and table is None:
        _draw(sheet)


def _data(sheet: RoundSheet, within: int) -> dict[str, Any]:
    from stability.services.checks_round import round_rows

    found = sheet.round
    return {
        "as_of": found.as_of,
        "within_days": within,
        "minutes": found.minutes,
        "checks": round_rows(found),
        "cautions": list(found.cautions),
    }


def _write_pdf(sheet: RoundSheet, file: Path) -> None:
    from stability.cli.edge import one_line
    from stability.services.round_paper import round_pdf, round_unprintable
    from stability.services.whole_file import write_whole

    write_whole(file, round_pdf(sheet))
    if odd := round_unprintable(sheet):
        warn(f"not in the sheet's font, printed as \ufffd: {one_line(' '.join(odd))}")
    warn(f"round sheet written to {one_line(str(file))}")


def _write_csv(sheet: RoundSheet, file: Path) -> None:
    from stability.cli.edge import one_line
    from stability.services.whole_file import write_whole

    write_whole(file, _csv(sheet).encode("utf-8"))
    warn(f"{len(sheet.lines)} rows written to {one_line(str(file))}")


def _csv(sheet: RoundSheet) -> str:
    from stability.services.round_sheet import csv_rows

    out = io.StringIO()
    table = csv.DictWriter(out, _COLUMNS, lineterminator="\n")
    table.writeheader()
    table.writerows(csv_rows(sheet))
    return out.getvalue()


def _draw(sheet: RoundSheet) -> None:
    from stability.board.tables import round_sheet
    from stability.services.checks_round import work_lines
    from stability.services.round_sheet import notes_of

    def drawn(width: int, ascii_only: bool) -> RenderableType:
        return round_sheet(
            work_lines(sheet.round, zone=sheet.zone),
            zone_name=sheet.zone.key,
            width=width,
            ascii_only=ascii_only,
            cautions=sheet.cautions,
            notes=notes_of(sheet),
        )

    draw(drawn)
