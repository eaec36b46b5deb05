"""`stability trip`: what a carrier's or customer's temperature record cost a blend of its life."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stability.app import App
from stability.cli.options import show, with_app

if TYPE_CHECKING:
    from stability.services.trip import TripTold

__all__ = ["command"]


@click.command("trip")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path, dir_okay=False))
@click.argument("study", required=False)
@with_app(as_json=True, as_of=True)
@click.option("--product", metavar="NAME", help="What was thinned.")
@click.option("--thinner", metavar="NAME", help="What it was thinned with; none for the product alone.")
@click.option("--level", "level_pct", type=float, metavar="PCT", help="Share of thinner, % by mass.")
@click.option("--additive", metavar="NAME", help="What else is in it; none for nothing.")
@click.option("--pack", metavar="PACK", help="The pack.")
@click.option("--lot", "lots", multiple=True, metavar="LOT", help="Only these lots.")
def command(app: App, file: Path, **asked: Any) -> None:
    """Say which share of its life a blend used on a trip, by its own activation energy and its bounds.

    FILE is CSV with the columns at and temperature_c. The mean kinetic temperature stands beside it: alone it
    hides peaks, induction, gel and moisture.

    Example: stability trip logger.csv S-07 --thinner xylene
    """
    from stability.board.view import to_json
    from stability.services.statement import Asked
    from stability.services.trip import trip_cost

    told = trip_cost(app.records, file, Asked(**asked), as_of=app.as_of, settings=app.settings)
    show(app, {**to_json(told), "extra_days": told.extra_days}, lambda: "\n".join(_lines(told, app.zone.key)))


def _lines(told: TripTold, zone: str) -> list[str]:
    from stability.board.text import clean
    from stability.board.words import instant_words
    from stability.units import significant

    first = told.costs[0]
    of = "" if told.life_days is None else f" of {significant(told.life_days)}"
    lines = [
        f"{clean(told.blend_words)}: this trip cost {significant(first.days)} days{of}",
        f"{instant_words(told.began_at, zone)} to {instant_words(told.ended_at, zone)} {zone}, "
        f"{significant(told.duration_days)} d; at {told.storage_c:g} °C they would have cost as many",
    ]
    for cost in told.costs:
        share = "" if cost.share is None else f", {100 * cost.share:.1f} % of the {told.life_words}"
        lines.append(
            f"  {cost.words}, {cost.energy_kj_mol:.0f} kJ/mol: {significant(cost.days)} d{share}; "
            f"mean kinetic temperature {cost.mean_kinetic_c:.1f} °C"
        )
    lines.append(f"peak {told.peak_c:.1f} °C, {significant(told.hours_above_warm)} h above 40 °C")
    if told.flash_c is not None and told.hours_above_flash is not None:
        hours = significant(told.hours_above_flash)
        lines.append(f"{hours} h above the flash point of the thinner, {told.flash_c:g} °C")
    if told.unrecorded_days:
        lines.append(f"{significant(told.unrecorded_days)} d not recorded, counted at the peak")
    lines.append("not counted: moisture that came in, induction, gel; look at the tins before they are used")
    lines.append("SDS, local code and licensed practice come first.")
    return lines
