"""`stability run`: the daemon."""

from __future__ import annotations

import logging
import sys
import time

import click

from stability.app import App
from stability.cli.options import with_app

__all__ = ["command"]


@click.command("run")
@with_app()
@click.option(
    "--every", type=click.FloatRange(0, 86_400, min_open=True), metavar="SECONDS", help="Between two looks."
)
@click.option("--sweeps", type=click.IntRange(1), metavar="N", help="End after N looks; default: never.")
def command(app: App, every: float | None, sweeps: int | None) -> int:
    """Run the daemon: look, judge, deliver, until it is told to stop (SIGTERM, Ctrl-C).

    Example: stability run --every 30
    """
    _log_to_stderr()
    from stability.daemon import Daemon

    every_s = every or app.settings.sweep.every_s
    return Daemon(app, every_s, most_sweeps=sweeps).run()


def _log_to_stderr() -> None:
    handler = logging.StreamHandler(sys.stderr)
    form = logging.Formatter("%(asctime)s %(levelname)s %(message)s", "%Y-%m-%dT%H:%M:%SZ")
    form.converter = time.gmtime
    handler.setFormatter(form)
    for name, level in (("stability", logging.INFO), ("apscheduler", logging.ERROR)):
        log = logging.getLogger(name)
        log.handlers = [handler]
        log.setLevel(level)
