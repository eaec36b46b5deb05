"""`stability compare`: thinners ranked by the lower bound of their life."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from stability.app import App
from stability.cli.options import draw, with_app

if TYPE_CHECKING:
    from rich.console import RenderableType

    from stability.board.detail import CompareView
    from stability.services.compare import Compared, Comparison

__all__ = ["command", "view_of"]


@click.command("compare")
@with_app(as_json=True, as_of=True)
@click.argument("study", required=False)
@click.option(
    "--reference", metavar="THINNER", help="Hold all against this thinner; default: an aromatic one."
)
def command(app: App, study: str | None, reference: str | None) -> None:
    """Rank thinners by the lower bound of their life, with cure, evidence and flash point beside it.

    Esters without a finished test of the blend itself are shown, never ranked.

    Example: stability compare S-07 --reference xylene
    """
    from stability.services.compare import compare

    found = compare(app.records, study=study, as_of=app.as_of, settings=app.settings, reference=reference)
    if app.as_json:
        click.echo(app.json_text(_data(found, app)))
        return
    from stability.board.tables import compare_table

    def drawn(width: int, ascii_only: bool) -> RenderableType:
        return compare_table(view_of(found), width=width, ascii_only=ascii_only)

    draw(drawn)


def _flash(line: Compared) -> str:
    return "not on record" if line.flash_c is None else f"{line.flash_c:g} °C, class {line.flash_class}"


def _data(found: Comparison, app: App) -> dict[str, Any]:
    lines = [
        {
            "rank": line.rank,
            "product": line.forecast.product,
            "product_lots": list(line.forecast.product_lots),
            "thinner": line.forecast.thinner,
            "thinner_lots": list(line.forecast.thinner_lots),
            "level_pct": line.forecast.level_pct,
            "additive": line.forecast.additive,
            "pack": line.forecast.pack,
            "outcome": line.forecast.outcome,
            "life_days_lower95_next_tin": line.lower95_days,
            "months": line.months,
            "life_ratio": line.ratio,
            "life_ratio_lower95": line.ratio_lower,
            "life_ratio_upper95": line.ratio_upper,
            "dry_through_ratio": line.cure.ratio if line.cure else None,
            "cure_lost": line.cure.lost if line.cure else None,
            "flash_c": line.flash_c,
            "flash_class": line.flash_class,
            "class": line.thinner_class,
            "evidence_rung": line.rung,
            "capped_by": line.capped_by,
            "remark": line.remark,
        }
        for line in found.lines
    ]
    return {
        "as_of": app.as_of,
        "study": found.study,
        "reference": found.reference.key.words if found.reference else None,
        "blends": lines,
        "first_choice": found.first_choice,
        "fallback": found.fallback,
        "do_not": found.do_not,
    }


def view_of(found: Comparison) -> CompareView:
    """Return a comparison as the board draws it."""
    from stability.board.detail import CompareLine, CompareView

    return CompareView(
        title=f"{found.study}: {found.title}",
        reference_words=found.reference.key.words if found.reference else "no reference blend",
        lines=tuple(
            CompareLine(
                rank=line.rank,
                blend_words=f"{line.forecast.key.words}, {line.forecast.pack or 'pack not given'}"
                f" ({', '.join(line.forecast.product_lots)})",
                months=line.months,
                lower95_days=line.lower95_days,
                ratio=line.ratio,
                ratio_lower=line.ratio_lower,
                ratio_upper=line.ratio_upper,
                cure_word=line.cure.word if line.cure else "not tested",
                rung=line.rung,
                flash_words=_flash(line),
                remark=line.remark,
            )
            for line in found.lines
        ),
        first_choice=found.first_choice,
        fallback=found.fallback,
        do_not=found.do_not,
        cautions=found.cautions,
    )
