"""Forecasts of all blends: refit what changed, take the rest from what is frozen.

`refresh` belongs to the sweep and writes; `forecasts` answers a question and writes nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from stability.errors import InputError
from stability.records import forecasts as frozen
from stability.records.engine import Records
from stability.records.history import studies
from stability.services.blends import Blend, BlendKey, blends_of
from stability.services.forecast_rows import Row, rows_of
from stability.services.lots import families
from stability.services.tins import Climate, load_climate

if TYPE_CHECKING:
    from stability.settings import FitSettings, Settings

__all__ = ["BlendForecast", "forecasts", "refresh"]


@dataclass(frozen=True, slots=True, kw_only=True)
class BlendForecast:
    """One blend's forecast: the row that others may rely on, and what boards and alerts need beside it."""

    key: BlendKey
    target_life_days: float
    owner: str
    placed_at: datetime
    digest: str
    changed: bool
    row: Mapping[str, Any]
    extra: Mapping[str, Any]

    @property
    def study(self) -> str:
        """Code of the study."""
        return self.key.study

    @property
    def blend_key(self) -> str:
        """The key under which the forecast is frozen."""
        return self.key.text

    @property
    def product(self) -> str:
        """What was thinned."""
        return self.key.product

    @property
    def product_lots(self) -> tuple[str, ...]:
        """Lots of the product in this row."""
        return tuple(self.row["product_lots"])

    @property
    def thinner(self) -> str | None:
        """What it was thinned with."""
        return self.key.thinner

    @property
    def thinner_lots(self) -> tuple[str, ...]:
        """Lots of the thinner in this row."""
        return tuple(self.row["thinner_lots"])

    @property
    def level_pct(self) -> float | None:
        """Share of thinner, [% by mass]."""
        return self.key.level_pct

    @property
    def additive(self) -> str | None:
        """What else is in it."""
        return self.key.additive

    @property
    def pack(self) -> str | None:
        """What it stands in."""
        return self.key.pack

    @property
    def outcome(self) -> str:
        """`estimated`, `lower_bound_only`, `too_early` or `limit_reached`."""
        return str(self.row["outcome"])

    @property
    def alert_probability(self) -> float | None:
        """P(limit before the target life) with the weak priors that alerts may use."""
        found = self.extra.get("alert", {}).get("probability")
        return None if found is None else float(found)

    def _alert_date(self, name: str) -> date | None:
        days = self.extra.get("alert", {}).get(name)
        return None if days is None else limit_date(self.placed_at, days)

    @property
    def alert_limit_date(self) -> date | None:
        """When the fit that alerts use puts the limit."""
        return self._alert_date("life_days")

    @property
    def alert_limit_early(self) -> date | None:
        """Beginning of its 90 % range."""
        return self._alert_date("early_days")

    @property
    def alert_limit_late(self) -> date | None:
        """End of its 90 % range."""
        return self._alert_date("late_days")

    @property
    def notes(self) -> tuple[str, ...]:
        """Short words for the board."""
        return tuple(self.extra.get("notes", ()))


def limit_date(placed_at: datetime, life_days: float) -> date | None:
    """Return the date a life after day 0; None beyond what a calendar or a plan is good for (100 years)."""
    if not 0 <= life_days < 36_525:
        return None
    return (placed_at + timedelta(days=life_days)).date()


def refresh(records: Records, *, now: datetime, settings: Settings) -> tuple[BlendForecast, ...]:
    """Return every open study's forecasts as known at `now`; refit and freeze only what changed."""
    found: list[BlendForecast] = []
    for lots, surroundings in _open_families(records, as_of=now, settings=settings):
        with records.reading() as connection:
            rows = rows_of(lots, surroundings, connection, settings.fit)
        for row in (row for row in rows if row.changed):
            with records.writing() as connection:
                values = _values(row.blend, row.digest, row.payload, now)
                frozen.store_forecast(connection, values, row.bands)
        found += [_forecast(row) for row in rows]
    return tuple(found)


def forecasts(
    records: Records,
    *,
    as_of: datetime,
    settings: Settings,
    study: str | None = None,
    limit_ratio: float | None = None,
    store_spread: float | None = None,
) -> tuple[BlendForecast, ...]:
    """Return the forecasts as known at an instant, of closed studies too; nothing is written.

    `limit_ratio` asks for the life to another limit; `store_spread` 0 gives the plain model that reference
    programs fit.

    Raises
    ------
    InputError
        If a study is named that is not on record.
    """
    options = settings.fit
    if store_spread is not None:
        # 0 asks for the plain model of reference programs: then openings are not modelled either
        opening_pct = options.opening_spread_pct if store_spread else 0.0
        update = {"store_spread": store_spread, "opening_spread_pct": opening_pct}
        options = options.model_copy(update=update)
    zone = ZoneInfo(settings.time_zone)
    found: list[BlendForecast] = []
    climates: dict[str, Climate] = {}
    with records.reading() as connection:
        if study is not None and not studies(connection, as_of=as_of, code=study):
            raise InputError(f"study {study!r} is not on record", hint="stability study lists all")
        for lots in families(b for b in blends_of(connection, as_of=as_of, study=study) if b.readings):
            surroundings = _climate(connection, lots[0], climates, as_of, options=options, zone=zone)
            rows = rows_of(lots, surroundings, connection, options, limit_ratio=limit_ratio)
            found += [_forecast(row) for row in rows]
    return tuple(found)


def _open_families(
    records: Records, *, as_of: datetime, settings: Settings
) -> Sequence[tuple[tuple[Blend, ...], Climate]]:
    zone = ZoneInfo(settings.time_zone)
    with records.reading() as connection:
        climates: dict[str, Climate] = {}
        return [
            (lots, _climate(connection, lots[0], climates, as_of, options=settings.fit, zone=zone))
            for lots in families(
                blend
                for blend in blends_of(connection, as_of=as_of)
                if blend.readings and blend.study.is_open(as_of)
            )
        ]


def _climate(
    connection: sa.Connection,
    blend: Blend,
    climates: dict[str, Climate],
    as_of: datetime,
    *,
    options: FitSettings,
    zone: ZoneInfo,
) -> Climate:
    code = blend.study.code
    if code not in climates:
        gap_days = options.logger_gap_hours / 24
        climates[code] = load_climate(connection, code, as_of=as_of, gap_days=gap_days, zone=zone)
    return climates[code]


def _values(blend: Blend, digest: str, payload: Mapping[str, Any], now: datetime) -> Mapping[str, Any]:
    row = payload["row"]
    return {
        "study_id": blend.study.id,
        "blend_key": blend.key.text,
        "as_of": now,
        "made_at": now,
        "digest": digest,
        "outcome": row["outcome"],
        "life_days": row["life_days"],
        "life_days_lower95": row["life_days_lower95"],
        "probability": row["probability_before_target"],
        "alert_probability": payload["extra"].get("alert", {}).get("probability"),
        "payload": payload,
    }


def _forecast(row: Row) -> BlendForecast:
    blend = row.blend
    return BlendForecast(
        key=blend.key,
        target_life_days=blend.study.target_life_days,
        owner=blend.study.owner,
        placed_at=blend.placed_at,
        digest=row.digest,
        changed=row.changed,
        row=row.payload["row"],
        extra=row.payload["extra"],
    )
