"""Wiring: settings, database, clock and person, put together once for one command or one daemon."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from stability.clock import now_utc
from stability.errors import InputError

if TYPE_CHECKING:
    from stability.records.engine import Records
    from stability.settings import Settings

__all__ = ["App", "parse_instant"]


@dataclass(slots=True)
class App:
    """What a command needs: opened lazily, so that `--help` and errors cost nothing."""

    db: str | None = None
    settings_file: Path | None = None
    person_given: str | None = None
    as_of_text: str | None = None
    as_json: bool = False
    now: datetime = field(default_factory=now_utc)
    _settings: Settings | None = None
    _records: Records | None = None

    @property
    def settings(self) -> Settings:
        """The settings, read at first use."""
        if self._settings is None:
            from stability.settings import load

            named = self.settings_file or os.environ.get("STABILITY_SETTINGS")
            default = Path("stability.toml")
            self._settings = load(Path(named) if named else default if default.exists() else None)
        return self._settings

    @property
    def database(self) -> str:
        """The database as named: flag, then environment, then settings, then ./stability.db."""
        return self.db or self.settings.db.get_secret_value()

    @property
    def records(self) -> Records:
        """The open database."""
        if self._records is None:
            from stability.records.engine import open_records

            self._records = open_records(self.database)
        return self._records

    @property
    def zone(self) -> ZoneInfo:
        """The site's zone."""
        return ZoneInfo(self.settings.time_zone)

    @property
    def as_of(self) -> datetime:
        """The instant whose knowledge counts: `--as-of`, or now."""
        return parse_instant(self.as_of_text, self.zone, end_of_day=True) if self.as_of_text else self.now

    @property
    def person(self) -> str:
        """Who acts: `--person`, the settings, the person bound to this account, or the account itself."""
        if self.person_given or self.settings.person:
            return self.person_given or self.settings.person or ""
        import getpass

        from stability.records.people import person_of_account

        try:
            account = getpass.getuser()
        except (KeyError, OSError):  # a container without a passwd entry
            account = f"uid {os.getuid()}"
        with self.records.reading() as connection:
            return person_of_account(connection, account) or f"account {account}"

    def close(self) -> None:
        """Let go of the database."""
        if self._records is not None:
            self._records.close()

    @staticmethod
    def json_text(data: Mapping[str, Any]) -> str:
        """Return data as JSON; a NaN is a fault of ours, never printed."""
        return json.dumps(data, ensure_ascii=False, allow_nan=False, indent=1, default=_plain)


def _plain(value: object) -> str:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date | Path):
        return str(value)
    raise TypeError(f"{type(value).__name__} has no JSON form")


def parse_instant(text: str, zone: ZoneInfo, *, end_of_day: bool = False) -> datetime:
    """Return an ISO 8601 text as an instant in UTC; without an offset it is local to the zone.

    A date alone means its beginning, or with `end_of_day` its last microsecond ("what did we know on 3 May").

    Raises
    ------
    InputError
        If the text is no ISO 8601 time, or the local time does not exist (the summer-time gap).
    """
    from stability.services.instants import instant_of

    try:
        if end_of_day and len(text) == len("2025-05-03"):
            return instant_of(f"{text}T23:59:59.999999", zone)
        return instant_of(text, zone)
    except ValueError as exc:
        raise InputError(f"time {exc}", hint="for example 2025-03-04T10:00+01:00") from None
