"""The group of commands: each is loaded only when it is called, help texts come from the list below."""

from __future__ import annotations

import importlib
from typing import Any

import click

from stability import __version__

__all__ = ["COMMANDS", "cli"]

COMMANDS = {
    "acknowledge": "Say that an alert is seen, and why",
    "alerts": "List open alerts",
    "audit": "Write everything about a statement for auditors",
    "backup": "Write a verified copy of the database",
    "board": "Show today's work, alerts and how much life is used",
    "compare": "Rank thinners by the lower bound of their life",
    "correct": "Correct a reading; the original stays",
    "demo": "Play the invented scenario into a new database",
    "doctor": "Check the database, the clock, the disk and the calculation",
    "due": "Print the round sheet: what to take out and what to measure",
    "end": "End a sample: gelled, dropped, used or closed",
    "export": "Write all tables as CSV or XLSX",
    "forecast": "Say how long each blend lives, and how sure that is",
    "import": "Take in tables (CSV, XLSX) and study files (TOML)",
    "init": "Set up a database, or bring an older one up to date",
    "instrument": "Keep instruments: ranges, certificates, checks, charts",
    "labels": "Write a sheet of labels for tins and their lids",
    "log": "Log a reading at the bench",
    "move": "Move a sample to another store",
    "person": "Register a person, or list them",
    "release": "Release conditional readings, or list them",
    "report": "Write the report of a study",
    "restore": "Make a database from a backup",
    "run": "Run the daemon: sweep, judge, deliver",
    "statement": "Draft, issue, withdraw and check statements of months",
    "study": "File a study, or a new version of one",
    "sweep": "Look once, as the daemon does",
    "trip": "Say what a temperature record cost a blend of its life",
}
"""Command → one line of help. The module is `stability.cli.<command>`, its object `command`."""


class LazyGroup(click.Group):
    """A group that imports a command's module only when the command is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return all names, in order."""
        del ctx
        return sorted(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return one command."""
        del ctx
        if cmd_name not in COMMANDS:
            return None
        # `import` cannot be a module's name in Python
        module = importlib.import_module(f"stability.cli.{'bring' if cmd_name == 'import' else cmd_name}")
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing any."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, COMMANDS[name]) for name in self.list_commands(ctx)])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Offer the nearest name for one that is not known."""
        if args and not args[0].startswith("-") and args[0] not in COMMANDS:
            import difflib

            near = difflib.get_close_matches(args[0], COMMANDS, n=1)
            ctx.fail(f"no command {args[0]!r}" + (f"; did you mean {near[0]!r}?" if near else ""))
        return super().resolve_command(ctx, args)


@click.command(
    cls=LazyGroup,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Exit codes: 0 done, 1 unexpected fault, 2 bad input, 3 refused on evidence.",
)
@click.version_option(__version__, message="stability %(version)s")
@click.option(
    "--settings", metavar="FILE", help="Settings file; default $STABILITY_SETTINGS, then ./stability.toml."
)
@click.pass_context
def cli(ctx: click.Context, /, **given: Any) -> None:
    """Plan storage tests of thinned reactive binders, log readings, forecast, warn, state."""
    ctx.obj = given
