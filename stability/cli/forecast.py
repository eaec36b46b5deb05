"""`stability forecast`: how long each blend lives, and how sure that is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from stability.app import App
from stability.cli.options import draw, with_app

if TYPE_CHECKING:
    from rich.console import RenderableType

__all__ = ["command"]


@click.command("forecast")
@with_app(as_json=True, as_of=True)
@click.argument("study", required=False)
@click.option("--limit", "limit_ratio", type=float, metavar="RATIO", help="Ask for another viscosity limit.")
@click.option(
    "--store-spread",
    type=float,
    metavar="SD",
    help="Departure of a store from the Arrhenius line; 0 gives the plain model of reference programs.",
)
def command(app: App, study: str | None, limit_ratio: float | None, store_spread: float | None) -> None:
    """Say how long each blend lives at its storage temperature, and how sure that is.

    Example: stability forecast S-07 --limit 1.5
    """
    from stability.services.forecast import forecasts

    _check(limit_ratio, store_spread)
    found = forecasts(
        app.records,
        as_of=app.as_of,
        settings=app.settings,
        study=study,
        limit_ratio=limit_ratio,
        store_spread=store_spread,
    )
    rows = [forecast.row for forecast in found]
    if app.as_json:
        click.echo(app.json_text({"as_of": app.as_of, "forecasts": rows}))
        return
    from stability.board.tables import forecast_table

    def drawn(width: int, ascii_only: bool) -> RenderableType:
        return forecast_table(rows, width=width, ascii_only=ascii_only)

    draw(drawn)


def _check(limit_ratio: float | None, store_spread: float | None) -> None:
    if limit_ratio is not None and not 1.0 < limit_ratio < 1e6:
        raise click.BadParameter(f"{limit_ratio:g} is no ratio above 1", param_hint="--limit")
    if store_spread is not None and not 0.0 <= store_spread <= 1.0:
        raise click.BadParameter(f"{store_spread:g} is not between 0 and 1", param_hint="--store-spread")
