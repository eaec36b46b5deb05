"""Frozen forecasts and the bands they expect: written once, looked up by blend and by sample.

Ages are days since a sample was placed, expectations ln(mPa·s) with their standard deviation.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from stability.records.tables import table
from stability.records.tables.bench import ExpectedBand
from stability.records.tables.told import Forecast

__all__ = ["ForecastRow", "Knot", "band_before", "by_digest", "looks", "store_forecast"]

_forecast, _band = table(Forecast), table(ExpectedBand)

Knot = tuple[float, float, float]
"""(age [d], ln viscosity [ln mPa·s], sd of a new reading [ln])."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastRow:
    """One frozen forecast; `payload` is what was said, as JSON data."""

    id: int
    study_id: int
    blend_key: str
    as_of: datetime
    made_at: datetime
    digest: str
    outcome: str
    life_days: float | None
    life_days_lower95: float | None
    probability: float | None
    alert_probability: float | None
    payload: Mapping[str, Any]


def looks(
    connection: sa.Connection, blend_key: str, *, as_of: datetime, limit: int = 2
) -> tuple[ForecastRow, ...]:
    """Return the latest forecasts of one blend as of an instant, newest first."""
    query = (
        sa.select(_forecast)
        .where(_forecast.c.blend_key == blend_key, _forecast.c.as_of <= as_of)
        .order_by(_forecast.c.as_of.desc(), _forecast.c.id.desc())
        .limit(limit)
    )
    return tuple(_forecast_row(row) for row in connection.execute(query).mappings())


def store_forecast(
    connection: sa.Connection, values: Mapping[str, Any], bands: Mapping[int, Sequence[Knot]]
) -> int:
    """Freeze one forecast with the bands of its samples; return its number.

    `values` are the columns without the number; `payload` is JSON data. One that is stored already (same
    blend, instant and digest) stays as it is.
    """
    row = {**values, "payload": json.dumps(values["payload"], ensure_ascii=False, allow_nan=False)}
    known = connection.execute(
        sa.select(_forecast.c.id).where(
            _forecast.c.blend_key == row["blend_key"],
            _forecast.c.as_of == row["as_of"],
            _forecast.c.digest == row["digest"],
        )
    ).scalar()
    if known is not None:
        return int(known)
    number = connection.execute(_forecast.insert().returning(_forecast.c.id), row).scalar_one()
    rows = [
        {"forecast_id": number, "sample_id": sample_id, "knots": json.dumps([list(knot) for knot in knots])}
        for sample_id, knots in bands.items()
    ]
    if rows:
        connection.execute(_band.insert(), rows)
    return int(number)


def band_before(connection: sa.Connection, sample_id: int, *, before: datetime) -> tuple[Knot, ...]:
    """Return what the last forecast before an instant expected of a sample; empty where there is none."""
    query = (
        sa.select(_band.c.knots)
        .join(_forecast, _forecast.c.id == _band.c.forecast_id)
        .where(_band.c.sample_id == sample_id, _forecast.c.as_of < before)
        .order_by(_forecast.c.as_of.desc(), _band.c.id.desc())
        .limit(1)
    )
    found = connection.execute(query).scalar()
    if found is None:
        return ()
    return tuple((float(age), float(log), float(sd)) for age, log, sd in json.loads(found))


def _forecast_row(row: Any) -> ForecastRow:
    values = {name: row[name] for name in ForecastRow.__slots__}
    values["payload"] = json.loads(values["payload"])
    return ForecastRow(**values)


def by_digest(connection: sa.Connection, blend_key: str, digest: str) -> ForecastRow | None:
    """Return the latest forecast of a blend that was made from exactly this, if there is one."""
    query = sa.select(_forecast).where(_forecast.c.blend_key == blend_key, _forecast.c.digest == digest)
    row = connection.execute(query.order_by(_forecast.c.id.desc()).limit(1)).mappings().first()
    return None if row is None else _forecast_row(row)
