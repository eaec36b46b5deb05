"""`stability demo`: the invented scenario, played through the doors of a user."""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stability.app import App
from stability.cli.options import draw
from stability.errors import InputError

if TYPE_CHECKING:
    from rich.console import RenderableType

    from stability.board.view import BoardView
    from stability.services.board import Records

__all__ = ["command"]

WIDTH = 100


@click.command("demo")
@click.option(
    "--db",
    default="stability-demo.db",
    show_default=True,
    help="New database; an earlier demo's is replaced.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("stability-out/demo"),
    show_default=True,
    help="Folder for board, report, pictures and the text file of alerts.",
)
def command(db: str, out: Path) -> None:
    """Play the invented laboratory of 25 weeks into a new database and show its board.

    All data are invented and say so: thirteen blends, a wet drum, an oven fault, a missed pull, swapped rows.

    Example: stability demo --db demo.db --out demo
    """
    from stability.demo.play import play
    from stability.demo.show import write_sample_output
    from stability.demo.stage import NOW
    from stability.demo.stage_settings import demo_settings
    from stability.services.board import board_view

    out.mkdir(parents=True, exist_ok=True)
    (out / "alerts.txt").unlink(missing_ok=True)
    settings = demo_settings(out)
    records = _new_database(db, NOW)
    try:
        play(records, settings, on_sweep=_progress)
        board = board_view(records, as_of=NOW, settings=settings)
        names = write_sample_output(records, settings, out, board, _drawings())
    finally:
        records.close()
    from stability.board.screen import board as drawn

    def show(width: int, ascii_only: bool) -> RenderableType:
        return drawn(board, width=width, ascii_only=ascii_only)

    draw(show)
    click.echo(f"\nDatabase {db}; {', '.join(names)} and alerts.txt in {out}", err=True)
    click.echo(f"Look closer: stability board --db {db} --as-of {NOW:%Y-%m-%dT%H:%M}Z --study S-07", err=True)


def _progress(at: datetime, opened: int) -> None:
    if sys.stderr.isatty():
        click.echo(f"\r{at:%d %b %Y}  {opened:2d} new alerts ", err=True, nl=False)


def _new_database(db: str, now: datetime) -> Records:
    from stability.services.keep import set_up

    path = Path(db)
    if path.exists():
        if not _holds_the_demo(db, now):
            raise InputError(
                f"database {db} exists and is not an earlier demo's", hint="name a new file with --db"
            )
        for extra in ("", "-journal", "-wal", "-shm"):
            Path(f"{path}{extra}").unlink(missing_ok=True)
    return set_up(db, now=now).records


def _holds_the_demo(db: str, now: datetime) -> bool:
    from stability.demo.stage import STUDY_CODE
    from stability.services.studies import studies_listed

    app = App(db=db, now=now)
    try:
        found = studies_listed(app.records, as_of=now)
    finally:
        app.close()
    return [s.code for s in found] == [STUDY_CODE] and "invented" in found[0].title.lower()


def _drawings() -> dict[str, Any]:
    from stability.board.picture import board_svg
    from stability.board.plain import render_text
    from stability.board.screen import board
    from stability.board.tables import compare_table, forecast_table
    from stability.cli.compare import view_of
    from stability.reports.answer import answer_page
    from stability.reports.board_page import board_page
    from stability.reports.figures import arrhenius, master_curve
    from stability.reports.pages import study_page
    from stability.reports.text import study_report_text

    def board_text(view: BoardView) -> str:
        return render_text(board(view, width=WIDTH), WIDTH)

    return {
        "board": board_text,
        "board_svg": lambda view: board_svg(view, 120),
        "board_page": board_page,
        "forecast": lambda rows: render_text(forecast_table(rows, width=WIDTH), WIDTH),
        "compare": lambda found: render_text(compare_table(view_of(found), width=WIDTH), WIDTH),
        "report": study_report_text,
        "report_page": study_page,
        "answer_page": answer_page,
        "master_curve": master_curve,
        "arrhenius": arrhenius,
    }
