"""`stability study`: file a study, or list those on record."""

from __future__ import annotations

from pathlib import Path

import click

from stability.app import App
from stability.cli.options import show, warn, with_app

__all__ = ["command"]


@click.command("study")
@click.argument("file", required=False, type=click.Path(path_type=Path, dir_okay=False))
@with_app(as_json=True, as_of=True, person=True)
def command(app: App, file: Path | None) -> None:
    """File a study from its TOML file; again with changes makes a new version. Without FILE, list them.

    Example: stability study S-07.toml
    """
    if file is None:
        _list(app)
        return
    from stability.services.paths import sources_of
    from stability.services.studies import file_study, text_of

    (source,) = sources_of([file])
    filed = file_study(
        app.records, text_of(source), person=app.person, now=app.now, zone=app.zone, name=source.name
    )
    for store in filed.missing_stores:
        warn(f"note: study {filed.code} plans checks in store {store!r}, which is not on record yet")
    data = {"study": filed.code, "version": filed.version, "changed": filed.changed}
    what = "filed" if filed.changed else "already on record, unchanged"
    show(app, data, lambda: f"study {filed.code}: version {filed.version} {what}")


def _list(app: App) -> None:
    from stability.services.studies import studies_listed

    listed = studies_listed(app.records, as_of=app.as_of)
    data = {
        "studies": [
            {
                "study": study.code,
                "version": study.version,
                "title": study.title,
                "target_life_days": study.target_life_days,
                "storage_c": study.storage_c,
                "owner": study.owner,
                "limits": dict(study.limits),
                "closed_at": study.closed_at,
            }
            for study in listed
        ]
    }

    def lines() -> str:
        return (
            "\n".join(
                f"{study.code}  {study.title}  ({study.target_life_days:g} days at {study.storage_c:g} °C, "
                f"version {study.version}{', closed' if study.closed_at else ''})"
                for study in listed
            )
            or "no study on record; stability study FILE files one"
        )

    show(app, data, lines)
