"""`stability doctor`: whether everything is in order here."""

from __future__ import annotations

import click

from stability.app import App
from stability.cli.options import show, with_app

__all__ = ["command"]


@click.command("doctor")
@with_app(as_json=True)
def command(app: App) -> int:
    """Check the database, its journal, the disk, the clock, the log of acts, mail and the calculation.

    Nothing is changed. Exit code 3 if a check failed; advice alone is no failure.

    Example: stability doctor --db stability.db
    """
    from stability.services.keep_checks import State, examine

    checks = examine(app.records, app.settings, now=app.now)
    failed = [check for check in checks if check.state is State.FAILED]
    data = {
        "passed": not failed,
        "checks": [
            {
                "name": check.name,
                "passed": check.state is not State.FAILED,
                "state": check.state,
                "says": check.says,
            }
            for check in checks
        ],
    }
    verdict = (
        f"{len(failed)} of {len(checks)} checks failed" if failed else f"all {len(checks)} checks passed"
    )
    lines = [f"{check.state:<7} {check.name}: {check.says}" for check in checks]
    show(app, data, lambda: "\n".join([*lines, verdict]))
    return 3 if failed else 0
