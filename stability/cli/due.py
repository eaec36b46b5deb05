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

    from stability.planning.rounds import RoundLine
    from stability.services.checks_round import Round

__all__ = ["command"]


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
    from stability.services.checks_round import round_of, work_lines

    found = round_of(app.records, as_of=app.as_of, settings=app.settings, within_days=within)
    rows = [_row(line, found) for line in found.lines]
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


_COLUMNS = (
    "sample", "study", "blend", "store", "temperature_c", "act", "checks", "due_at", "state", "age_days",
    "moved", "minutes",
)  # fmt: skip


def _row(line: RoundLine, found: Round) -> dict[str, Any]:
    return {
        "sample": line.sample,
        "study": found.studies[line.sample],
        "blend": line.words,
        "store": line.store,
        "temperature_c": line.store_temperature_c,
        "act": "take out" if line.take_out else "measure",
        "checks": list(line.checks),
        "due_at": line.due_at,
        "state": line.state.value,
        "age_days": line.age_days,
        "moved": line.moved,
        "minutes": line.minutes,
    }


def _csv(rows: list[dict[str, Any]], app: App) -> str:
    out = io.StringIO()
    table = csv.DictWriter(out, _COLUMNS, lineterminator="\n")
    table.writeheader()
    for row in rows:
        local = row["due_at"].astimezone(app.zone).isoformat(timespec="minutes")
        table.writerow(row | {"checks": " ".join(row["checks"]), "due_at": local})
    return out.getvalue()
