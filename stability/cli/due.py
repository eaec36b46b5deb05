"""`stability due`: the round sheet."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Any

import click

from stability.app import App
from stability.cli.options import draw, with_app

if TYPE_CHECKING:
    from rich.console import RenderableType

__all__ = ["command"]

_COLUMNS = (
    "sample", "study", "blend", "store", "temperature_c", "act", "checks", "due_at", "state", "age_days",
    "moved", "minutes",
)  # fmt: skip


@click.command("due")
@with_app(as_json=True, as_of=True)
@click.option(
    "--within", type=click.IntRange(0, 366), default=1, metavar="DAYS", help="Days ahead; default 1, 0 today."
)
@click.option("--csv", "as_csv", is_flag=True, help="One row per tin, for a spreadsheet.")
def command(app: App, within: int, as_csv: bool) -> None:
    """Print the round sheet: what is late, what to measure and what to take out, in walking order.

    Example: stability due --within 7
    """
    from stability.services.checks_round import round_of, round_rows, work_lines

    found = round_of(app.records, as_of=app.as_of, settings=app.settings, within_days=within)
    rows = round_rows(found)
    if app.as_json:
        data = {
            "as_of": app.as_of,
            "within_days": within,
            "minutes": found.minutes,
            "checks": rows,
            "cautions": list(found.cautions),
        }
        click.echo(app.json_text(data))
        return
    if as_csv:
        click.echo(_csv(rows, app), nl=False)
        return
    from stability.board.tables import round_sheet

    zone = app.zone

    def drawn(width: int, ascii_only: bool) -> RenderableType:
        return round_sheet(
            work_lines(found, zone=zone),
            zone_name=zone.key,
            width=width,
            ascii_only=ascii_only,
            cautions=found.cautions,
        )

    draw(drawn)


def _csv(rows: list[dict[str, Any]], app: App) -> str:
    out = io.StringIO()
    table = csv.DictWriter(out, _COLUMNS, lineterminator="\n")
    table.writeheader()
    for row in rows:
        local = row["due_at"].astimezone(app.zone).isoformat(timespec="minutes")
        table.writerow(row | {"checks": " ".join(row["checks"]), "due_at": local})
    return out.getvalue()
