"""A carrier's or customer's temperature file against the life of a blend: which share of it the trip used.

Temperatures °C, times days, energies kJ/mol. The blend's own energy and its bounds are used; where none was
found, that of the mean kinetic temperature stands in, and is named.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from stability.errors import InputError
from stability.records.engine import Records
from stability.records.materials import thinners
from stability.services.forecast import BlendForecast
from stability.services.instants import instant_of
from stability.services.state import DEFAULT_ENERGY_KJ_MOL
from stability.services.statement import Asked, prepare
from stability.settings import Settings
from stability.units import SECONDS_PER_DAY

__all__ = ["Cost", "TripTold", "points_in", "trip_cost"]

WARM_C = 40.0
Z_95 = 1.96
_LARGEST = 50_000_000
_TIMES = ("at", "time", "timestamp", "datetime", "date_time")
_WARMTHS = ("temperature_c", "temperature", "temp_c", "temp", "c")


@dataclass(frozen=True, slots=True)
class Cost:
    """What the trip counts as by one energy: days at the storage temperature, share of the life, MKT."""

    words: str
    energy_kj_mol: float
    days: float
    share: float | None
    mean_kinetic_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TripTold:
    """A trip held against a life; the costs are the blend's own, its lower and its upper end."""

    blend_words: str
    life_days: float | None
    life_words: str
    storage_c: float
    began_at: datetime
    ended_at: datetime
    duration_days: float
    peak_c: float
    hours_above_warm: float
    flash_c: float | None
    hours_above_flash: float | None
    unrecorded_days: float
    costs: tuple[Cost, ...]

    @property
    def extra_days(self) -> float:
        """What the trip cost beyond its own length by the first energy, [d]."""
        return self.costs[0].days - self.duration_days


def trip_cost(records: Records, file: Path, asked: Asked, *, as_of: datetime, settings: Settings) -> TripTold:
    """Return what a temperature file cost a blend.

    Raises
    ------
    InputError
        If the file cannot be read as a record, or no single blend is meant.
    """
    from stability.services.trip_dose import dose_days, hours_above, trip_of

    points = points_in(file, ZoneInfo(settings.time_zone))
    made = prepare(records, asked, as_of=as_of, settings=settings)
    forecast, facts = made.evidence.lots[0].forecast, made.evidence.facts
    with records.reading() as connection:
        known = thinners(connection).get(forecast.thinner or "")
    flash = known.flash_c if known else None
    start = points[0][0]
    days = [(at - start).total_seconds() / SECONDS_PER_DAY for at, _ in points]
    trip = trip_of(days, [c for _, c in points], gap_days=settings.fit.logger_gap_hours / 24)
    life = facts.lower_bound_days
    costs = []
    for words, energy in _energies(forecast):
        cost = dose_days(trip, facts.storage_c, energy)
        share = None if life is None else cost / life
        costs.append(Cost(words, energy, cost, share, trip.mean_kinetic_c(energy)))
    return TripTold(
        blend_words=made.view.blend_words,
        life_days=life,
        life_words="lower bound of the life (95 %, next tin of the worst lot)",
        storage_c=facts.storage_c,
        began_at=start,
        ended_at=points[-1][0],
        duration_days=trip.duration_days,
        peak_c=trip.peak_c,
        hours_above_warm=hours_above(trip, WARM_C),
        flash_c=flash,
        hours_above_flash=None if flash is None else hours_above(trip, flash),
        unrecorded_days=trip.unrecorded_days,
        costs=tuple(costs),
    )


def points_in(file: Path, zone: ZoneInfo) -> list[tuple[datetime, float]]:
    """Return the points of a temperature file (CSV with a column of times and one of °C), by time.

    Raises
    ------
    InputError
        With a line for each fault; nothing is guessed.
    """
    try:
        with file.open("rb") as source:
            text = source.read(_LARGEST).decode("utf-8-sig")
    except OSError as exc:
        raise InputError(f"record {file}: {(exc.strerror or str(exc)).lower()}") from exc
    except UnicodeDecodeError:
        raise InputError(f"record {file} is no text in UTF-8") from None
    first = text.split("\n", 1)[0]
    separator = max(",;\t", key=first.count)
    rows = list(csv.reader(io.StringIO(text), delimiter=separator))
    header = [cell.strip().casefold() for cell in rows[0]] if rows else []
    at, warmth = _column(header, _TIMES), _column(header, _WARMTHS)
    if at is None or warmth is None:
        raise InputError(
            f"record {file}: its header names no time and temperature: {', '.join(header) or 'empty'}",
            hint="columns at (ISO 8601) and temperature_c",
        )
    faults: list[str] = []
    found: dict[datetime, float] = {}
    for line, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        try:
            cells = row[at].strip(), row[warmth].strip()
            moment, value = _point(*cells, zone=zone, comma=separator != ",")
            if found.setdefault(moment, value) != value:
                raise ValueError(f"{value:g} °C contradicts {found[moment]:g} °C at the same time")
        except (ValueError, IndexError) as exc:
            faults.append(f"{file.name} line {line}: {exc}")
    if faults:
        raise InputError(*faults[:20])
    if len(found) < 2:
        raise InputError(f"record {file} holds {len(found)} points; expected at least 2")
    return sorted(found.items())


def _point(at: str, warmth: str, *, zone: ZoneInfo, comma: bool) -> tuple[datetime, float]:
    value = float(warmth.replace(",", ".") if comma else warmth)
    if not -90.0 <= value <= 150.0:
        raise ValueError(f"{value:g} °C; expected -90 to 150 °C")
    return instant_of(at, zone), value


def _column(header: Sequence[str], names: Sequence[str]) -> int | None:
    return next((header.index(name) for name in names if name in header), None)


def _energies(forecast: BlendForecast) -> list[tuple[str, float]]:
    energy, error = (
        forecast.row["activation_energy_kj_mol"],
        forecast.row.get("activation_energy_se_kj_mol"),
    )
    if energy is None or error is None:
        return [
            ("energy of the mean kinetic temperature: the blend's own is not known", DEFAULT_ENERGY_KJ_MOL)
        ]
    return [
        ("the blend's own energy", energy),
        ("its lower end (95 %)", max(energy - Z_95 * error, 1.0)),
        ("its upper end (95 %)", energy + Z_95 * error),
    ]
