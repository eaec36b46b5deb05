"""`stability sweep`: look once, as the daemon does."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from stability.app import App
from stability.cli.options import with_app

if TYPE_CHECKING:
    from stability.records.alerts import AlertRow
    from stability.services.sweep import SweepOutcome

__all__ = ["command"]


@click.command("sweep")
@with_app(as_json=True, as_of=True)
def command(app: App) -> None:
    """Look once, as the daemon does: refit what changed, open and close alerts. `run` sends the messages.

    Example: stability sweep --as-of 2025-08-26
    """
    from stability.errors import InputError
    from stability.services.sweep import sweep

    if app.as_of > app.now:
        raise InputError(
            "--as-of lies in the future", hint="a look at a time that has not come knows nothing"
        )
    outcome = sweep(app.records, now=app.as_of, settings=app.settings, began_at=app.now)
    if app.as_json:
        click.echo(app.json_text(_data(outcome)))
        return
    click.echo("\n".join(_lines(outcome)))


def _data(outcome: SweepOutcome) -> dict[str, Any]:
    from stability.services.alerts import as_json

    return {
        "as_of": outcome.as_of,
        "opened": [as_json(row) for row in outcome.opened],
        "worse": [as_json(row) for row in outcome.worsened],
        "closed": [as_json(row) for row in outcome.closed],
        "refitted": len(outcome.refitted),
        "checks_due": sum(check.state == "due" for check in outcome.checks),
        "checks_late": sum(check.state == "late" for check in outcome.checks),
        "blind_from": outcome.blind_from,
        "messages": outcome.messages,
    }


def _lines(outcome: SweepOutcome) -> list[str]:
    late = sum(check.state == "late" for check in outcome.checks)
    due = len(outcome.checks) - late
    lines = [_line(word, row) for word, rows in _steps(outcome) for row in rows]
    lines.append(
        f"{len(outcome.opened)} opened, {len(outcome.worsened)} worse, {len(outcome.closed)} closed; "
        f"{len(outcome.refitted)} refitted, {due} checks due, {late} late, {outcome.messages} messages"
    )
    return lines


def _steps(outcome: SweepOutcome) -> tuple[tuple[str, tuple[AlertRow, ...]], ...]:
    return (("opened", outcome.opened), ("worse", outcome.worsened), ("closed", outcome.closed))


def _line(word: str, row: AlertRow) -> str:
    from stability.board.text import clean

    return clean(f"{word} {row.id}: {row.kind.replace('_', ' ')}, {row.study or '-'}: {row.says}")
