"""What the sweep asks of loggers and certificates: cheap questions, whatever the size of the archive."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

import sqlalchemy as sa

from stability.records.climate import StoreFacts
from stability.records.tables import table
from stability.records.tables.bench import Instrument
from stability.records.tables.measured import Calibration, StoreTemperature

__all__ = ["LastPoint", "beyond_since", "calibrations_due", "last_point", "log_between"]

_temperature, _calibration, _instrument = table(StoreTemperature), table(Calibration), table(Instrument)
_ENTRIES = 6


@dataclass(frozen=True, slots=True)
class LastPoint:
    """The youngest value of a logger, and how far apart its entries usually come."""

    at: datetime
    entered_at: datetime
    usual_step: timedelta


def last_point(connection: sa.Connection, store_id: int, *, as_of: datetime) -> LastPoint | None:
    """Return when a store's logger last spoke; None where it never did."""
    known = (
        _temperature.c.store_id == store_id,
        _temperature.c.at <= as_of,
        _temperature.c.entered_at <= as_of,
    )
    last = connection.execute(
        sa.select(_temperature.c.at, _temperature.c.entered_at)
        .where(*known)
        .order_by(_temperature.c.at.desc(), _temperature.c.entered_at.desc())
        .limit(1)
    ).first()
    if last is None:
        return None
    recent = connection.execute(
        sa.select(_temperature.c.entered_at)
        .distinct()
        .where(*known, _temperature.c.at > last[0] - timedelta(days=30))
        .order_by(_temperature.c.entered_at.desc())
        .limit(_ENTRIES)
    ).scalars()
    entries = list(recent)
    steps = [later - earlier for later, earlier in pairwise(entries)]
    return LastPoint(last[0], last[1], max(steps, default=timedelta(0)))


def beyond_since(
    connection: sa.Connection, store: StoreFacts, *, tolerance_c: float, since: datetime, as_of: datetime
) -> bool:
    """Say whether a store's log left its tolerance since an instant."""
    query = sa.select(_temperature.c.id).where(
        _temperature.c.store_id == store.id,
        _temperature.c.at >= since,
        _temperature.c.at <= as_of,
        _temperature.c.entered_at <= as_of,
        sa.or_(
            _temperature.c.temperature_c > store.temperature_c + tolerance_c,
            _temperature.c.temperature_c < store.temperature_c - tolerance_c,
        ),
    )
    return connection.execute(query.limit(1)).first() is not None


def log_between(
    connection: sa.Connection, store_id: int, *, since: datetime, as_of: datetime
) -> tuple[tuple[datetime, float], ...]:
    """Return a store's log in order of time, of each instant the value entered last."""
    query = (
        sa.select(_temperature.c.at, _temperature.c.temperature_c)
        .where(
            _temperature.c.store_id == store_id,
            _temperature.c.at >= since,
            _temperature.c.at <= as_of,
            _temperature.c.entered_at <= as_of,
        )
        .order_by(_temperature.c.at, _temperature.c.entered_at)
    )
    return tuple({at: float(value) for at, value in connection.execute(query)}.items())


def calibrations_due(connection: sa.Connection, *, as_of: datetime) -> dict[str, datetime]:
    """Return, per instrument, until when its latest certificate holds."""
    query = (
        sa.select(_instrument.c.instrument, _calibration.c.due_at)
        .join(_instrument, _instrument.c.id == _calibration.c.instrument_id)
        .where(_calibration.c.at <= as_of, _calibration.c.entered_at <= as_of)
        .order_by(_calibration.c.at)
    )
    return {str(name): due_at for name, due_at in connection.execute(query)}
