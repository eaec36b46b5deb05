"""`stability statement`: what the evidence of a blend carries, drafted, issued, withdrawn, checked."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from stability.app import App
from stability.cli.options import with_app
from stability.cli.statement_issued import issue, key, list_, notices, receive, withdraw, write
from stability.cli.statement_verify import verify

__all__ = ["command"]

REFUSED = 3
WORDED = ("number", "answers", "opened", "report_to", "reviewer", "reason")


@click.group("statement", no_args_is_help=False)
def command() -> None:
    """Statements of months: what the evidence carries, drafted, issued, withdrawn, checked.

    A draft is never a statement: it becomes one when somebody else approves and signs it.
    """


for _each in (issue, key, list_, notices, receive, verify, withdraw, write):
    command.add_command(_each)


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
@click.option(
    "--write",
    "file",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Write the draft for the approver; needs --person.",
)
@click.option("--number", metavar="NUMBER", help="Its number; default: the next one.")
@click.option(
    "--answer",
    "answers",
    multiple=True,
    metavar="NAME=TEXT",
    help="The author's answer to a check that did not pass.",
)
@click.option("--opened", metavar="TEXT", help="What holds for opened tins.")
@click.option("--report-to", metavar="TEXT", help="Where a bad tin is reported.")
@click.option("--reviewer", metavar="NAME", help="Who has read it.")
@click.option("--reason", metavar="TEXT", help="What has changed since the version before.")
def draft(app: App, /, file: Path | None, **given: Any) -> int:
    """Say how many months the evidence carries; exit code 3 where it does not carry the claim.

    With --write the draft becomes a file that another person can issue.

    Example: stability statement draft S-07 --thinner xylene --pack "lined tin 250 mL" --months 6
    """
    from stability.board.view import to_json
    from stability.reports.text import statement_draft_text
    from stability.services.statement import Asked, note_draft, prepare

    worded = {name: given.pop(name) for name in WORDED}
    wanted = Asked(**given)
    if wanted.limit_ratio is not None and not 1.0 < wanted.limit_ratio < 1e6:
        raise click.BadParameter(f"{wanted.limit_ratio:g} is no ratio above 1", param_hint="--limit")
    made = prepare(app.records, wanted, as_of=app.as_of, settings=app.settings, person=app.person_given)
    view = made.view
    if file is not None:
        _written(app, made, file, worded)
    elif app.person_given:
        note_draft(app.records, view, person=app.person_given, now=app.now)
    refused = view.months is None
    if app.as_json:
        click.echo(app.json_text({**to_json(view), "refused": refused}))
    else:
        click.echo(statement_draft_text(view), nl=False)
    return REFUSED if refused else 0


def _written(app: App, made: Any, file: Path, worded: dict[str, Any]) -> None:
    from stability.services.statement_data import Worded
    from stability.services.statement_issue import draft_written
    from stability.services.whole_file import write_whole

    answers = dict(_answer(text) for text in worded.pop("answers"))
    words = Worded(answers=answers, **worded)
    content = draft_written(app.records, made, words, person=app.person, now=app.now, settings=app.settings)
    write_whole(file, content)


def _answer(text: str) -> tuple[str, str]:
    name, equals, words = text.partition("=")
    if not equals or not words.strip():
        raise click.BadParameter(f"{text!r} is no answer; expected NAME=TEXT", param_hint="--answer")
    return name, words
