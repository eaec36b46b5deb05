"""Settings: TOML file, then environment (`STABILITY_…`, nested by two underscores), then flags.

The example file config/stability.example.toml is generated from this module and tested against it.
"""

from __future__ import annotations

import textwrap
import tomllib
from pathlib import Path
from typing import Any, Literal
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ConfigDict, Field, SecretStr, ValidationError, field_validator
from pydantic_settings import BaseSettings, PydanticBaseSettingsSource, SettingsConfigDict

from stability.errors import InputError

__all__ = [
    "AlertSettings",
    "FileSettings",
    "FitSettings",
    "LabelSettings",
    "MailSettings",
    "RoundSettings",
    "Settings",
    "SweepSettings",
    "example",
    "load",
]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class FitSettings(_Part):
    """How the growth law is fitted."""

    store_spread: float = Field(
        0.05,
        ge=0,
        le=1,
        description="Departure of a store from the Arrhenius line, sd on the log rate. Not estimable from "
        "three or four stores; 0.05 keeps the bound honest when a second path of low energy runs beside.",
    )
    opening_spread_pct: float = Field(
        0.5,
        ge=0,
        le=20,
        description="What one opening may add to the viscosity (air, lost thinner), sd in %. Estimated "
        "within it where a study has re-used and never-opened tins: the life asked for is an unopened one's.",
    )
    gel_ratio: float = Field(
        100.0, gt=1, description="Viscosity deemed gelled, as a multiple of the initial one."
    )
    day_bias_pct: float = Field(
        1.0,
        ge=0,
        le=20,
        description="Readings of one day share a bias, %: it widens the expected bands, and the second "
        "fit that statements hold beside the first begins with it. 0: no such fit.",
    )
    method_repeatability_pct: float = Field(
        2.5, gt=0, le=50, description="Stated repeatability of the viscosity method in one room, %."
    )
    logger_gap_hours: float = Field(
        6.0,
        gt=0,
        description="A longer gap in a store's log is filled with the nominal temperature and marked.",
    )
    prior_energy_kj_mol: float = Field(75.0, gt=0, lt=250, description="Weak prior on E, for alerts only.")
    prior_energy_sd_kj_mol: float = Field(
        20.0, gt=0, description="Its standard deviation: bracketing chemistry."
    )
    prior_m: float = Field(0.0, description="Weak prior on the shape m, for alerts only: exponential growth.")
    prior_m_sd: float = Field(1.5, gt=0, description="Its standard deviation.")
    prior_b: float = Field(1.0, description="Weak prior on the shape b, for alerts only: some run-away.")
    prior_b_sd: float = Field(2.0, gt=0, description="Its standard deviation.")


class AlertSettings(_Part):
    """When an alert opens and closes."""

    open_above: float = Field(
        0.95, gt=0, lt=1, description="P(limit before the target life) that opens at once."
    )
    open_twice_above: float = Field(
        0.90, gt=0, lt=1, description="… that opens when seen at two looks in a row."
    )
    close_below: float = Field(0.50, gt=0, lt=1, description="… below which an open alert closes.")
    blind_after_hours: float = Field(
        2.0, gt=0, description="A gap between sweeps that is told as a blind period."
    )


class SweepSettings(_Part):
    """How often the daemon looks."""

    every_s: float = Field(30.0, gt=0, le=86_400, description="Seconds between two sweeps.")
    lease_s: float = Field(
        300.0, gt=0, description="How long one daemon's claim on the sweep holds without a sign."
    )


class MailSettings(_Part):
    """Where mail goes out. No host: no mail."""

    host: str | None = Field(None, description="SMTP server; without one no mail is sent.")
    port: int = Field(587, gt=0, lt=65_536, description="Its port.")
    security: Literal["starttls", "tls", "none"] = Field(
        "starttls",
        description="Encryption; the certificate is verified. `none` only for a server on this machine.",
    )
    sender: str = Field("stability@localhost", description="Address that the mail comes from.")
    user: str | None = Field(None, description="Account at the server, if it asks for one.")
    password: SecretStr | None = Field(None, description="Better: STABILITY_MAIL__PASSWORD or password_file.")
    password_file: Path | None = Field(None, description="A file that holds the password and nothing else.")
    timeout_s: float = Field(20.0, gt=0, description="Seconds before an attempt counts as failed.")
    attempts: int = Field(
        8, gt=0, description="Attempts before a message is given up and shown on the board."
    )


class FileSettings(_Part):
    """The append-only text file of alerts."""

    path: Path | None = Field(
        Path("stability-out/alerts.txt"), description="One line per alert that opens, worsens or closes."
    )


class RoundSettings(_Part):
    """The round sheet: what a pull draws from a tin."""

    cell: str = Field(
        "small-sample cell", max_length=60, description="What viscosity is read in, where no range says."
    )
    cell_ml: float = Field(16.0, gt=0, le=5000, description="What one filling of it takes, mL.")
    cup_ml: float = Field(100.0, gt=0, le=5000, description="What a flow cup takes, mL.")
    fillings: int = Field(2, ge=1, le=5, description="Fresh fillings of the cell per pull.")
    put_back: bool = Field(True, description="Whether what was measured goes back into the tin.")


class LabelSettings(_Part):
    """The sheet of labels (A4); the label's size is what margins and gaps leave."""

    rows: int = Field(7, ge=1, le=20, description="Labels down the sheet.")
    columns: int = Field(2, ge=1, le=8, description="Labels across it.")
    margin_top_mm: float = Field(15.1, ge=0, le=100, description="Above the first and below the last row.")
    margin_left_mm: float = Field(
        4.6, ge=0, le=80, description="Left of the first, right of the last column."
    )
    gap_across_mm: float = Field(2.5, ge=0, le=20, description="Between two columns.")
    gap_down_mm: float = Field(0.0, ge=0, le=20, description="Between two rows.")
    frame: bool = Field(False, description="Draw cutting lines, for plain paper.")


class Settings(BaseSettings):
    """Everything that can be set."""

    model_config = SettingsConfigDict(
        env_prefix="STABILITY_",
        env_nested_delimiter="__",
        extra="forbid",
        frozen=True,
        nested_model_default_partial_update=True,
    )

    db: SecretStr = Field(SecretStr("./stability.db"), description="SQLite path or PostgreSQL URL.")
    time_zone: str = Field("UTC", description="The site's zone, an IANA name; plans are local dates in it.")
    person: str | None = Field(None, description="Who acts when --person is not given.")
    output: Path = Field(Path("stability-out"), description="Where reports and the wall board are written.")
    closed_weekdays: tuple[int, ...] = Field((5, 6), description="Days without work, Monday is 0.")
    closed_days: tuple[Path, ...] = Field(
        (), description="Files with further closed days (config/closed_days/)."
    )
    fit: FitSettings = FitSettings()
    alerts: AlertSettings = AlertSettings()
    sweep: SweepSettings = SweepSettings()
    round: RoundSettings = RoundSettings()
    labels: LabelSettings = LabelSettings()
    mail: MailSettings = MailSettings()
    file: FileSettings = FileSettings()

    @field_validator("time_zone")
    @classmethod
    def _known_zone(cls, name: str) -> str:
        try:
            ZoneInfo(name)
        except (KeyError, ValueError, OSError):
            raise ValueError("no such zone; an IANA name such as Europe/Berlin is expected") from None
        return name

    @classmethod
    def settings_customise_sources(
        cls,
        settings_cls: type[BaseSettings],
        init_settings: PydanticBaseSettingsSource,
        env_settings: PydanticBaseSettingsSource,
        dotenv_settings: PydanticBaseSettingsSource,
        file_secret_settings: PydanticBaseSettingsSource,
    ) -> tuple[PydanticBaseSettingsSource, ...]:
        """Let the environment win over the file, which `load` passes in as initial values."""
        del settings_cls, dotenv_settings
        return env_settings, init_settings, file_secret_settings


def load(path: Path | None) -> Settings:
    """Read the settings file (which must exist when it is named) and the environment.

    Raises
    ------
    InputError
        If the file cannot be read, or a key or a value is not understood; one line per fault.
    """
    values: dict[str, Any] = {}
    if path is not None:
        try:
            values = tomllib.loads(path.read_text("utf-8"))
        except OSError as exc:
            raise InputError(
                f"settings {path}: {exc.strerror or exc}", hint="check --settings or STABILITY_SETTINGS"
            ) from exc
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as exc:
            raise InputError(
                f"settings {path}: not TOML: {exc}", hint="see config/stability.example.toml"
            ) from exc
    try:
        return Settings(**values)
    except ValidationError as exc:
        source = path or "environment"
        faults = [
            f"settings {source}: {'.'.join(map(str, e['loc']))} = {_shown(e)}: {e['msg'].lower()}"
            for e in exc.errors()
        ]
        raise InputError(*faults, hint="see config/stability.example.toml for every key") from None


def _shown(error: Any) -> str:
    # A secret must not reach a terminal or a log because its neighbour was mistyped.
    secret = any(str(part) in ("password", "db") for part in error["loc"])
    return "…" if secret else repr(error["input"])


def example() -> str:
    """Return the example settings file: every key with its default and what it means."""
    lines = [
        "# Settings of `stability`: copy to stability.toml and keep what you change.",
        "# The environment wins over this file: STABILITY_TIME_ZONE, STABILITY_MAIL__HOST and so on.",
        "# Generated from stability/settings.py; a line that begins with # shows the default.",
        "",
    ]
    parts: list[str] = []
    for name, field in Settings.model_fields.items():
        value = Settings.model_fields[name].default
        if isinstance(value, _Part):
            parts += [f"[{name}]", f"# {type(value).__doc__}".rstrip()]
            parts += [line for key, inner in type(value).model_fields.items() for line in _entry(key, inner)]
        else:
            lines += _entry(name, field)
    return "\n".join([*lines, *parts]).rstrip() + "\n"


def _entry(name: str, field: Any) -> list[str]:
    value = field.default
    if isinstance(value, SecretStr):
        value = value.get_secret_value()
    if isinstance(value, Path):
        value = str(value)
    shown = {True: "true", False: "false"}.get(value) if isinstance(value, bool) else None
    if value is None:
        shown = '""'
    elif isinstance(value, tuple):
        shown = str(list(value))
    elif shown is None:
        shown = f'"{value}"' if isinstance(value, str) else str(value)
    words = textwrap.wrap(field.description, 96, initial_indent="# ", subsequent_indent="# ")
    return [*words, f"# {name} = {shown}", ""]
