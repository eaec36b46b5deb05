"""`stability import`: tables and study files in, all or nothing."""

from __future__ import annotations

from pathlib import Path

import click

from stability.app import App
from stability.cli.options import show, warn, with_app

__all__ = ["command"]


@click.command("import")
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path))
@with_app(as_json=True, person=True)
def command(app: App, paths: tuple[Path, ...]) -> None:
    """Take in tables (CSV, XLSX) and study files (TOML), from files or whole folders, in any order.

    A table is told from its header. Everything is taken or nothing; rows that are on record already are
    counted and left alone.

    Example: stability import stores.csv samples.csv readings.csv studies/S-07.toml
    """
    from stability.services.bring import bring
    from stability.services.paths import sources_of

    brought = bring(app.records, sources_of(paths), person=app.person, now=app.now, zone=app.zone)
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
    }

    def lines() -> str:
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

    show(app, data, lines)
