"""The settings of the invented laboratory: its zone, its closed days, its weekly look."""

from __future__ import annotations

from pathlib import Path

from stability.demo.stage import CLOSED_DATES, ZONE
from stability.settings import AlertSettings, FileSettings, MailSettings, Settings

__all__ = ["demo_settings"]

WEEKLY_LOOK_HOURS = 8 * 24.0
"""The scenario is looked at once a week of its own time; only a longer silence is a blind period."""


def demo_settings(folder: Path) -> Settings:
    """Write the closed days into a folder and return the settings; no mail goes out."""
    folder.mkdir(parents=True, exist_ok=True)
    lines = "".join(f'{day.isoformat()} = "closed"\n' for day in sorted(CLOSED_DATES))
    closed = folder / "closed_days.toml"
    closed.write_text(
        f"# Closed days of the invented laboratory, beside the weekends.\n[days]\n{lines}", "utf-8"
    )
    return Settings(
        time_zone=ZONE.key,
        output=folder,
        closed_days=(closed,),
        alerts=AlertSettings(blind_after_hours=WEEKLY_LOOK_HOURS),
        mail=MailSettings(),
        file=FileSettings(path=folder / "alerts.txt"),
    )
