"""`stability import`: tables and study files in, all or nothing; with `--map` a laboratory's own sheet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stability.app import App
from stability.cli.options import show, warn, with_app
from stability.errors import InputError

if TYPE_CHECKING:
    from stability.services.bring import Brought

__all__ = ["command", "tell_brought"]

_ASKS = ""
"""What `--map` without a name stands for."""


@click.command("import")
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path))
@with_app(as_json=True, person=True)
@click.option(
    "--map",
    "map_name",
    is_flag=False,
    flag_value=_ASKS,
    metavar="[NAME]",
    help="Read a sheet of your own by the mapping of this name; a new one is asked for. Comes after FILE.",
)
@click.option("--yes", is_flag=True, help="With --map: take the rows in without asking.")
@click.option("--column", "columns", multiple=True, metavar="HEAD=OURS", help="With --map: what a column is.")
@click.option("--word", "words", multiple=True, metavar="TEXT=MEANS", help="With --map: nothing, or grade N.")
@click.option("--set", "constants", multiple=True, metavar="OURS=VALUE", help="With --map: same in all rows.")
@click.option("--values", metavar="OURS", help="With --map: what stands below heads that are ages or dates.")
@click.option("--ages", "age_unit", type=click.Choice(["days", "weeks"]), help="With --map: their unit.")
@click.option("--dates", type=click.Choice(["day first", "month first"]), help="With --map: order in dates.")
@click.option("--decimal", type=click.Choice(["comma", "point"]), help="With --map: the decimal mark.")
@click.option("--time-of-day", metavar="TIME", help="With --map: of dates without one, such as 10:00.")
@click.option("--table", metavar="TABLE", help="With --map: which of our tables it is.")
@click.option("--sheet", metavar="NAME", help="With --map: which sheet of a workbook.")
@click.option("--encoding", metavar="NAME", help="With --map: of a text file that is not UTF-8, as cp1252.")
def command(app: App, paths: tuple[Path, ...], map_name: str | None, yes: bool, **answers: Any) -> None:
    """Take in tables (CSV, XLSX) and study files (TOML), from files or whole folders, in any order.

    A table is told from its header. Everything is taken or nothing; rows that are on record already are
    counted and left alone. With --map a sheet of your own is proposed as one of our tables, shown as
    understood, and taken in when you say so; the mapping is kept for the next time.

    Examples: stability import stores.csv samples.csv readings.csv studies/S-07.toml

    stability import results.xlsx --map oven-round
    """
    given = {name: value for name, value in answers.items() if value}
    if map_name is not None:
        from stability.cli.bring_map import import_by_map

        import_by_map(app, paths, map_name, answers=given, yes=yes)
        return
    if given or yes:
        named = sorted(f"--{name.replace('_', '-')}" for name in given) or ["--yes"]
        raise InputError(f"{named[0]} goes with --map", hint="stability import FILE --map NAME")
    from stability.services.bring import bring
    from stability.services.paths import sources_of

    tell_brought(app, bring(app.records, sources_of(paths), person=app.person, now=app.now, zone=app.zone))


def tell_brought(app: App, brought: Brought, **beside: str) -> None:
    """Say what an import did; `beside` goes into the JSON as it is."""
    for said in brought.notes:
        warn(f"note: {said}")
    data = {
        "changed": brought.changed,
        "tables": {
            name: {"added": count.added, "unchanged": count.unchanged, "completed": count.completed}
            for name, count in brought.tables.items()
        },
        "studies": [
            {"study": study.code, "version": study.version, "changed": study.changed}
            for study in brought.studies
        ],
        "notes": list(brought.notes),
        **beside,
    }
    show(app, data, lambda: _lines(brought))


def _lines(brought: Brought) -> str:
    told = [
        f"study {study.code}: version {study.version}{'' if study.changed else ' already on record'}"
        for study in brought.studies
    ]
    for name, count in brought.tables.items():
        parts = [f"{count.added} added"] if count.added else []
        parts += [f"{count.completed} completed"] if count.completed else []
        parts += [f"{count.unchanged} already on record"] if count.unchanged else []
        told += [f"{name}: {', '.join(parts)}"] if parts else []
    return "\n".join(told) or "nothing to take in"
