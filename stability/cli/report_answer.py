"""The answer sheet of `stability report --for-customer`: its options, and how it is shown."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stability.app import App
from stability.cli.options import warn

if TYPE_CHECKING:
    from stability.reports.answer import AnswerSheet
    from stability.services.answer import Warehouse

__all__ = ["answer", "customer_options"]

_OPTIONS = (
    click.option("--for-customer", is_flag=True, help="The answer sheet of one blend instead of the report."),
    click.option(
        "--means", metavar="°C …", help="With it: twelve monthly means of his warehouse, January first."
    ),
    click.option("--filled", metavar="MONTH", help="With it: the month of filling (June, Jun or 6)."),
    click.option("--product", metavar="NAME", help="With it: what was thinned."),
    click.option("--thinner", metavar="NAME", help="With it: what it was thinned with; none for nothing."),
    click.option("--level", "level_pct", type=float, metavar="PCT", help="With it: share of thinner, %."),
    click.option("--additive", metavar="NAME", help="With it: what else is in it; none for nothing."),
    click.option("--pack", metavar="PACK", help="With it: his pack."),
    click.option("--lot", "lots", multiple=True, metavar="LOT", help="With it: only these lots."),
    click.option(
        "--limit",
        "limit_ratio",
        type=float,
        metavar="RATIO",
        help="With it: his own limit, × the day-0 value.",
    ),
)
_MONTHS = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"]


def customer_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options of the answer sheet to a command."""
    for option in reversed(_OPTIONS):
        function = option(function)
    return function


def answer(app: App, study: str | None, files: Mapping[str, Path | None], typed: Mapping[str, Any]) -> None:
    """Show the answer sheet: as text or JSON, or into the files named."""
    from stability.board.view import to_json
    from stability.reports.answer import answer_text
    from stability.services.answer import answer_sheet
    from stability.services.statement import Asked

    ratio = typed["limit_ratio"]
    if ratio is not None and not 1.0 < ratio < 1e6:
        raise click.BadParameter(f"{ratio:g} is no ratio above 1", param_hint="--limit")
    names = ("product", "thinner", "level_pct", "additive", "pack", "lots", "limit_ratio")
    asked = Asked(study=study, **{name: typed[name] for name in names})
    warehouse = _warehouse(typed["means"], typed["filled"])
    sheet = answer_sheet(app.records, asked, warehouse, as_of=app.as_of, settings=app.settings)
    _write(sheet, files)
    if app.as_json:
        click.echo(app.json_text(to_json(sheet)))
    elif not any(files.values()):
        click.echo(answer_text(sheet), nl=False)


def _warehouse(means: str | None, filled: str | None) -> Warehouse | None:
    from stability.services.answer import Warehouse

    if means is None:
        if filled is not None:
            raise click.UsageError("--filled asks for a month of the warehouse that --means describes")
        return None
    values = []
    for word in re.split(r"[\s;,]+", means.strip()):
        try:
            values.append(float(word))
        except ValueError:
            raise click.BadParameter(f"{word!r} is no temperature", param_hint="--means") from None
    return Warehouse(tuple(values), None if filled is None else _month(filled))


def _month(typed: str) -> int:
    word = typed.strip().casefold()
    if word.isdigit() and 1 <= int(word) <= 12:
        return int(word)
    if len(word) >= 3 and word[:3] in _MONTHS:
        return _MONTHS.index(word[:3]) + 1
    raise click.BadParameter(f"{typed!r} is no month, expected for example June or 6", param_hint="--filled")


def _write(sheet: AnswerSheet, files: Mapping[str, Path | None]) -> None:
    from stability.cli.edge import one_line
    from stability.services.whole_file import write_whole

    if (html := files["html"]) is not None:
        from stability.reports.answer import answer_page

        write_whole(html, answer_page(sheet).encode("utf-8"))
        warn(f"answer sheet written to {one_line(str(html))}")
    if (pdf := files["pdf"]) is not None:
        from stability.reports.answer import answer_pdf

        write_whole(pdf, answer_pdf(sheet))
        warn(f"answer sheet written to {one_line(str(pdf))}")
