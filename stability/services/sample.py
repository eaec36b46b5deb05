"""Everything about one tin: its readings as they count and as first written, its curve, what happened to it.

Ages are days since the tin was placed, viscosities mPa·s, temperatures °C.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import Any

import sqlalchemy as sa

from stability.bench.plausible import Band, Knot, interpolate_band
from stability.board.detail import CurvePoint, EventLine, ReadingLine, SampleView
from stability.errors import InputError
from stability.planning.windows import CheckState
from stability.records import climate
from stability.records.engine import Records
from stability.records.events import events_of
from stability.records.forecasts import band_before
from stability.records.history import SampleFacts
from stability.records.readings import SampleAtBench, StoredReading, readings_of
from stability.services.blends import Blend, blends_of
from stability.services.checks import planned
from stability.services.conditional import Doubts, doubts_known
from stability.services.facts import limit_mpas
from stability.services.forecast import BlendForecast, forecasts, limit_date
from stability.services.lookup import known_sample
from stability.services.lots import row_for
from stability.services.opinion import cautions_at
from stability.services.state import sample_lines
from stability.settings import Settings
from stability.units import SECONDS_PER_DAY

__all__ = ["sample_view"]

LATE_ENTRY = timedelta(days=1)
CURVE_STEPS = 40
Z_95 = 1.96
OPEN_CHECKS = (CheckState.PLANNED, CheckState.DUE, CheckState.LATE)
TOLD_OTHERWISE = frozenset({"moved", "ended", "logged a reading"})
"""Acts that stand in the view already, as a move, an ending or a reading."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Case:
    """One tin with what the view of it is made from."""

    bench: SampleAtBench
    facts: SampleFacts
    blend: Blend
    as_of: datetime
    readings: tuple[StoredReading, ...]
    knots: tuple[Knot, ...]

    def age_days(self, at: datetime) -> float:
        return (at - self.facts.placed_at).total_seconds() / SECONDS_PER_DAY


def sample_view(records: Records, sample: str, *, as_of: datetime, settings: Settings) -> SampleView:
    """Return everything about one tin as known at an instant.

    Raises
    ------
    InputError
        If no sample of that code was on record then; the nearest codes are offered.
    """
    with records.reading() as connection:
        case = _case(connection, sample, as_of)
        doubts = doubts_known(connection, as_of=as_of)
        lines = tuple(_reading_line(connection, case, r, doubts) for r in case.readings)
        events = _events(connection, case)
        next_at = _next_check_at(connection, case, settings)
    found = forecasts(records, as_of=as_of, settings=settings, study=case.facts.study)
    by_key = {f.blend_key: f for f in found}
    forecast = row_for(case.blend.key, by_key)
    own = next(
        line for line in sample_lines([case.blend], by_key, as_of=as_of) if line.sample == case.facts.sample
    )
    initial = forecast.row["initial_viscosity_mpas"] if forecast else case.blend.initial_mpas()
    band = None if next_at is None else interpolate_band(case.knots, case.age_days(next_at))
    return SampleView(
        as_of=as_of,
        zone_name=settings.time_zone,
        sample=case.facts.sample,
        study=case.facts.study,
        blend_words=case.blend.key.words + (f", {case.facts.pack}" if case.facts.pack else ""),
        product_lot=case.facts.product_lot,
        thinner_lot=case.facts.thinner_lot,
        store=case.facts.store,
        temperature_c=case.facts.store_temperature_c,
        placed_at=case.facts.placed_at,
        age_days=case.age_days(as_of),
        life_used=own.life_used,
        state=own.state,
        limit_mpas=limit_mpas(case.blend.study.limits, initial),
        limit_date=_limit_date(case, forecast),
        next_check_at=next_at,
        expected_low_mpas=band.low_mpas if band else None,
        expected_high_mpas=band.high_mpas if band else None,
        readings=lines,
        curve=_curve(case, forecast),
        events=events,
        cautions=cautions_at(case.bench, own.gel_grade),
        invented="invented" in case.blend.study.title.lower(),
    )


def _case(connection: sa.Connection, code: str, as_of: datetime) -> _Case:
    bench = known_sample(connection, code, at=as_of)
    for blend in blends_of(connection, as_of=as_of):
        for facts in blend.samples:
            if facts.id == bench.id:
                band = band_before(connection, bench.id, before=as_of + timedelta(microseconds=1))
                return _Case(
                    bench=bench,
                    facts=facts,
                    blend=blend,
                    as_of=as_of,
                    readings=_known_then(readings_of(connection, bench.id), as_of),
                    knots=tuple(Knot(*knot) for knot in band),
                )
    raise InputError(f"sample {code!r} was not on record at that time", hint="give a later --as-of")


def _known_then(stored: Sequence[StoredReading], as_of: datetime) -> tuple[StoredReading, ...]:
    """Return the readings with only those rows that were entered by an instant."""
    found = []
    for reading in stored:
        rows = tuple(row for row in reading.rows if row["entered_at"] <= as_of)
        # a correction can be known before its original where a history was brought in
        if any(row["corrects_id"] is None for row in rows) and rows[-1]["taken_at"] <= as_of:
            found.append(StoredReading(id=reading.id, rows=rows))
    return tuple(found)


def _reading_line(
    connection: sa.Connection, case: _Case, reading: StoredReading, doubts: Doubts
) -> ReadingLine:
    first, counts = reading.original, reading.counts
    shown = first if reading.set_aside else counts
    band = _expected(connection, case, reading.taken_at)
    changed = not reading.set_aside and first["viscosity_mpas"] != counts["viscosity_mpas"]
    return ReadingLine(
        taken_at=reading.taken_at,
        entered_at=first["entered_at"],
        age_days=case.age_days(reading.taken_at),
        viscosity_mpas=shown["viscosity_mpas"],
        over_range=bool(shown["over_range"]),
        original_mpas=first["viscosity_mpas"] if changed else None,
        temperature_c=shown["temperature_c"],
        gel_grade=shown["gel_grade"],
        expected_low_mpas=band.low_mpas if band else None,
        expected_high_mpas=band.high_mpas if band else None,
        counts=not reading.set_aside,
        word=_word(reading, doubts),
        reason=counts["reason"],
        operator=shown["operator"],
        instrument=shown["instrument"],
    )


def _word(reading: StoredReading, doubts: Doubts) -> str:
    first, counts = reading.original, reading.counts
    if reading.set_aside:
        return "set aside"
    if doubts.of(reading.id, reading.taken_at, (counts["instrument"], counts["cup"])):
        return "conditional"
    if len(reading.rows) > 1:
        return "corrected"
    return "late entry" if first["entered_at"] - first["taken_at"] > LATE_ENTRY else ""


def _expected(connection: sa.Connection, case: _Case, taken_at: datetime) -> Band | None:
    """Return what the last forecast before a reading expected of it."""
    knots = band_before(connection, case.facts.id, before=taken_at)
    return interpolate_band([Knot(*knot) for knot in knots], case.age_days(taken_at))


def _share(case: _Case, forecast: BlendForecast | None) -> Any:
    share = forecast.extra.get("shares", {}).get(case.facts.sample) if forecast else None
    return share if share and share["used"] is not None and share["per_day"] is not None else None


def _limit_date(case: _Case, forecast: BlendForecast | None) -> date | None:
    """Return when this tin uses up its life, where it stays where it is; None once it has ended."""
    share = _share(case, forecast)
    if share is None or case.facts.ended_at is not None or share["used"] >= 1 or not share["per_day"] > 0:
        return None
    return limit_date(case.facts.placed_at, share["age_days"] + (1 - share["used"]) / share["per_day"])


def _curve(case: _Case, forecast: BlendForecast | None) -> tuple[CurvePoint, ...]:
    """Return the fitted curve up to the last reading, from there on the band that is expected."""
    share, past = _share(case, forecast), []
    if share is not None and forecast is not None and share["age_days"] > 0:
        rows = [(d, ln) for d, ln, *_ in forecast.extra.get("curve", ()) if d is not None and ln is not None]
        # the dose by the last reading is spread evenly over the tin's days: a trip shows in the dose alone
        reached = share["used"] * math.exp(forecast.extra["parameters"]["u"])
        ages = [share["age_days"] * step / CURVE_STEPS for step in range(CURVE_STEPS + 1)]
        heights = [(age, _between(rows, reached * age / share["age_days"])) for age in ages]
        past = [
            CurvePoint(age_days=age, viscosity_mpas=math.exp(ln)) for age, ln in heights if ln is not None
        ]
    until = max(2 * case.age_days(case.as_of), 28.0)
    coming = [k for k in case.knots if k.age_days <= until] if case.facts.ended_at is None else []
    return (
        *past,
        *(
            CurvePoint(
                age_days=k.age_days,
                viscosity_mpas=math.exp(k.ln_mean),
                lower_mpas=math.exp(k.ln_mean - Z_95 * k.sd),
                upper_mpas=math.exp(k.ln_mean + Z_95 * k.sd),
            )
            for k in coming
            if not past or k.age_days >= past[-1].age_days
        ),
    )


def _between(rows: Sequence[tuple[float, float]], at: float) -> float | None:
    """Return the height of a curve at a dose, by straight lines; None beyond its end."""
    for (left, low), (right, high) in pairwise(rows):
        if left <= at <= right:
            return low + (high - low) * (at - left) / (right - left)
    return None


def _next_check_at(connection: sa.Connection, case: _Case, settings: Settings) -> datetime | None:
    checks = planned(connection, [case.blend], as_of=case.as_of, settings=settings)
    return min(
        (c.due.due_at for c in checks if c.sample.id == case.facts.id and c.state in OPEN_CHECKS),
        default=None,
    )


def _events(connection: sa.Connection, case: _Case) -> tuple[EventLine, ...]:
    own, study = case.facts, case.facts.study
    found = [EventLine(at=own.placed_at, words=f"placed in {own.first_store}")]
    found += [
        EventLine(at=move.at, words=f"moved to {move.to_store}")
        for move in climate.moves(connection, as_of=case.as_of, study=study)
        if move.sample_id == own.id
    ]
    for out in climate.outings(connection, as_of=case.as_of, study=study):
        if out.sample_id == own.id:
            hours = (out.back_at - out.out_at).total_seconds() / 3600
            at = "" if out.temperature_c is None else f" at {out.temperature_c:g} °C"
            found.append(EventLine(at=out.out_at, words=f"out of its store for {hours:.3g} h{at}"))
    found += [
        EventLine(at=act.at, words=act.verb, person=act.person)
        for act in events_of(connection, subject=own.sample)
        if act.at <= case.as_of and act.verb not in TOLD_OTHERWISE
    ]
    if own.ended_at is not None:
        found.append(EventLine(at=own.ended_at, words=f"ended: {own.end_reason}"))
    return tuple(sorted(found, key=lambda event: event.at))
