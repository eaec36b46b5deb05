"""`stability statement draft`: how many months the evidence of a blend carries, or why none."""

from __future__ import annotations

import click

from stability.app import App
from stability.cli.options import with_app

__all__ = ["command"]

REFUSED = 3


@click.group("statement", no_args_is_help=False)
def command() -> None:
    """Draft a statement of months: what the evidence carries, and what it does not.

    A draft is never a statement: it is neither numbered nor signed.
    """


@command.command("draft")
@with_app(as_json=True, as_of=True, person=True)
@click.argument("study", required=False)
@click.option("--product", metavar="NAME", help="What was thinned.")
@click.option("--thinner", metavar="NAME", help="What it was thinned with; none for the product alone.")
@click.option("--level", "level_pct", type=float, metavar="PCT", help="Share of thinner, % by mass.")
@click.option("--additive", metavar="NAME", help="What else is in it; none for nothing.")
@click.option("--pack", metavar="PACK", help="The pack of the claim; one that was not tested is refused.")
@click.option("--lot", "lots", multiple=True, metavar="LOT", help="Only these lots; default: all tested.")
@click.option(
    "--months", type=click.IntRange(1, 120), metavar="N", help="Ask for so many months; else the most."
)
@click.option(
    "--limit", "limit_ratio", type=float, metavar="RATIO", help="Another viscosity limit, × the day-0 value."
)
def draft(app: App, /, **asked: object) -> int:
    """Say how many months the evidence carries; exit code 3 where it does not carry the claim.

    Example: stability statement draft S-07 --thinner xylene --pack "lined tin 250 mL" --months 6
    """
    from stability.board.view import to_json
    from stability.reports.text import statement_draft_text
    from stability.services.statement import Asked, draft_statement, note_draft

    wanted = Asked(**asked)  # type: ignore[arg-type]
    if wanted.limit_ratio is not None and not 1.0 < wanted.limit_ratio < 1e6:
        raise click.BadParameter(f"{wanted.limit_ratio:g} is no ratio above 1", param_hint="--limit")
    view = draft_statement(
        app.records, wanted, as_of=app.as_of, settings=app.settings, person=app.person_given
    )
    if app.person_given:
        note_draft(app.records, view, person=app.person_given, now=app.now)
    refused = view.months is None
    if app.as_json:
        click.echo(app.json_text({**to_json(view), "refused": refused}))
    else:
        click.echo(statement_draft_text(view), nl=False)
    return REFUSED if refused else 0
