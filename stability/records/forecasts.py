"""Forecasts as they were made: frozen rows, found again by the digest of what went in."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from stability.records.tables import table
from stability.records.tables.told import ExpectedBand, Forecast

__all__ = ["ForecastFacts", "Knots", "band_of_sample", "by_digest", "keep", "looks"]

_forecast, _band = table(Forecast), table(ExpectedBand)

Knots = Sequence[tuple[float, float, float]]
"""(age in days, expected ln viscosity, sd of a reading), in order of age."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastFacts:
    """One forecast of one blend, as made."""

    id: int
    blend_key: str
    as_of: datetime
    digest: str
    outcome: str
    life_days: float | None
    life_days_lower95: float | None
    probability: float | None
    alert_probability: float | None
    payload: Mapping[str, Any]


def by_digest(connection: sa.Connection, blend_key: str, digest: str) -> ForecastFacts | None:
    """Return the latest forecast of a blend made from exactly this, if there is one."""
    query = sa.select(_forecast).where(_forecast.c.blend_key == blend_key, _forecast.c.digest == digest)
    row = connection.execute(query.order_by(_forecast.c.id.desc()).limit(1)).mappings().first()
    return None if row is None else _facts(row)


def looks(
    connection: sa.Connection, blend_key: str, *, as_of: datetime, limit: int = 2
) -> tuple[ForecastFacts, ...]:
    """Return the latest forecasts of a blend up to an instant, youngest first, one per digest."""
    query = (
        sa.select(_forecast)
        .where(_forecast.c.blend_key == blend_key, _forecast.c.as_of <= as_of)
        .order_by(_forecast.c.as_of.desc(), _forecast.c.id.desc())
        .limit(limit)
    )
    return tuple(_facts(row) for row in connection.execute(query).mappings())


def _facts(row: Any) -> ForecastFacts:
    names = ("id", "blend_key", "as_of", "digest", "outcome", "life_days", "life_days_lower95", "probability")
    return ForecastFacts(
        **{name: row[name] for name in names},
        alert_probability=row["alert_probability"],
        payload=json.loads(row["payload"]),
    )


def keep(
    connection: sa.Connection,
    *,
    study_id: int,
    blend_key: str,
    digest: str,
    as_of: datetime,
    made_at: datetime,
    payload: Mapping[str, Any],
    alert_probability: float | None,
    bands: Mapping[int, Knots],
) -> int:
    """Freeze one forecast with the expected bands of its samples (sample id → knots); return its id."""
    row = payload["row"]
    made = connection.execute(
        _forecast.insert().values(
            study_id=study_id,
            blend_key=blend_key,
            as_of=as_of,
            made_at=made_at,
            digest=digest,
            outcome=row["outcome"],
            life_days=row["life_days"],
            life_days_lower95=row["life_days_lower95"],
            probability=row["probability_before_target"],
            alert_probability=alert_probability,
            payload=json.dumps(payload, ensure_ascii=False, allow_nan=False),
        )
    )
    forecast_id = int(made.inserted_primary_key[0])  # type: ignore[index]
    rows = [
        {"forecast_id": forecast_id, "sample_id": sample_id, "knots": json.dumps([list(k) for k in knots])}
        for sample_id, knots in bands.items()
    ]
    if rows:
        connection.execute(_band.insert(), rows)
    return forecast_id


def band_of_sample(connection: sa.Connection, sample_id: int) -> Knots | None:
    """Return where the next readings of a sample are expected, from its latest forecast."""
    query = (
        sa.select(_band.c.knots).where(_band.c.sample_id == sample_id).order_by(_band.c.id.desc()).limit(1)
    )
    found = connection.execute(query).scalar()
    return None if found is None else [tuple(knot) for knot in json.loads(found)]
