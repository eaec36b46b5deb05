"""What one look did, as data and in words."""

from __future__ import annotations

from typing import Any

from stability.alerts.wording import clean
from stability.planning.windows import CheckState
from stability.records.alerts import AlertRow
from stability.services.alerts import as_json
from stability.services.sweep import SweepOutcome

__all__ = ["outcome_json", "outcome_lines"]


def outcome_json(outcome: SweepOutcome) -> dict[str, Any]:
    """Return what a look did, with each alert as `alerts --json` shows it."""
    return {
        "as_of": outcome.as_of,
        "opened": [as_json(row) for row in outcome.opened],
        "worse": [as_json(row) for row in outcome.worsened],
        "closed": [as_json(row) for row in outcome.closed],
        "refitted": len(outcome.refitted),
        "checks_due": _count(outcome, CheckState.DUE),
        "checks_late": _count(outcome, CheckState.LATE),
        "blind_from": outcome.blind_from,
        "messages": outcome.messages,
    }


def outcome_lines(outcome: SweepOutcome) -> tuple[str, ...]:
    """Return a line for each alert that changed, and one that counts."""
    steps = (("opened", outcome.opened), ("worse", outcome.worsened), ("closed", outcome.closed))
    counts = ", ".join(f"{len(rows)} {word}" for word, rows in steps)
    return (
        *(_line(word, row) for word, rows in steps for row in rows),
        f"{counts}; {len(outcome.refitted)} refitted, {_count(outcome, CheckState.DUE)} checks due, "
        f"{_count(outcome, CheckState.LATE)} late, "
        f"{outcome.messages} message{'' if outcome.messages == 1 else 's'}",
    )


def _count(outcome: SweepOutcome, state: CheckState) -> int:
    return sum(check.state is state for check in outcome.checks)


def _line(word: str, row: AlertRow) -> str:
    return clean(f"{word} {row.id}: {row.kind.replace('_', ' ')}, {row.study or '-'}: {row.says}")
