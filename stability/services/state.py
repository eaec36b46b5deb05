"""How things stand: blends with the share of life used, tins, stores; for board and report."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta

import sqlalchemy as sa

from stability.board.view import BlendLine, BlendWord, SampleLine, StoreLine
from stability.records import climate, history
from stability.records.engine import Records
from stability.services.blends import Blend
from stability.services.cure import CureVerdict
from stability.services.forecast import BlendForecast, limit_date
from stability.services.lots import row_for
from stability.units import GAS_CONSTANT_KJ, kelvin

__all__ = ["DEFAULT_ENERGY_KJ_MOL", "blend_lines", "blend_word", "sample_lines", "store_lines"]

LOST_ABOVE, CREEPING_ABOVE = 0.95, 0.05
"""P(limit before the target life) that makes a blend lost, or creeping."""
DEFAULT_ENERGY_KJ_MOL = 83.144
"""Energy that the heat dose of a store is told with, as for the mean kinetic temperature, [kJ/mol]."""


def blend_word(forecast: BlendForecast) -> BlendWord:
    """Return the one word a blend gets.

    Lost: the limit crossed at the storage temperature, or P(limit before the target life) > 0.95; creeping
    from 0.05 on; steady below; too early where nothing can be said.
    """
    chance = _chance(forecast)
    if forecast.outcome == "limit_reached":
        return BlendWord.LOST
    if forecast.outcome == "too_early" or chance is None:
        return BlendWord.TOO_EARLY
    if chance > LOST_ABOVE:
        return BlendWord.LOST
    return BlendWord.CREEPING if chance >= CREEPING_ABOVE else BlendWord.STEADY


def _chance(forecast: BlendForecast) -> float | None:
    # a nearly flat blend is judged with the weak priors that alerts use, so that board and alerts agree
    found = forecast.alert_probability
    return forecast.row["probability_before_target"] if found is None else found


def blend_lines(
    found: Sequence[BlendForecast], *, as_of: datetime, cures: Mapping[str, CureVerdict | None]
) -> tuple[BlendLine, ...]:
    """Return one line per forecast, worst first."""
    order = list(BlendWord)
    lines = [_blend_line(f, as_of, cures.get(f.blend_key)) for f in found]
    return tuple(sorted(lines, key=lambda b: (order.index(b.word), -(b.life_used or 0.0), b.blend_words)))


def _blend_line(forecast: BlendForecast, as_of: datetime, cure: CureVerdict | None) -> BlendLine:
    row = forecast.row
    age_days = (as_of - forecast.placed_at).total_seconds() / 86_400
    life_days = row["life_days"]
    lower, upper = row["life_days_lower95"], row["life_days_upper95"]
    notes = [*forecast.notes]
    if cure is not None and cure.lost:
        notes.append("not curing: " + cure.words.removeprefix("cure lost: "))
    return BlendLine(
        study=forecast.study,
        blend_words=forecast.key.words,
        product=forecast.product,
        product_lots=forecast.product_lots,
        thinner=forecast.thinner,
        thinner_lots=forecast.thinner_lots,
        level_pct=forecast.level_pct,
        additive=forecast.additive,
        pack=forecast.pack,
        word=blend_word(forecast),
        outcome=forecast.outcome,
        life_days=life_days,
        lower95_days=lower,
        upper95_days=upper,
        age_days=age_days,
        life_used=age_days / life_days if life_days else None,
        limit_date=date.fromisoformat(row["limit_date"]) if row["limit_date"] else None,
        limit_date_early=limit_date(forecast.placed_at, lower) if lower is not None else None,
        limit_date_late=limit_date(forecast.placed_at, upper) if upper is not None else None,
        probability_before_target=_chance(forecast),
        target_life_days=forecast.target_life_days,
        says=row["says"],
        notes=tuple(notes),
    )


def sample_lines(
    blends: Sequence[Blend], found: Mapping[str, BlendForecast], *, as_of: datetime, limit: int | None = None
) -> tuple[SampleLine, ...]:
    """Return one line per sample, most of its life used first."""
    lines = []
    for blend in blends:
        forecast = row_for(blend.key, found)
        shares = forecast.extra.get("shares", {}) if forecast else {}
        initial = forecast.row["initial_viscosity_mpas"] if forecast else blend.initial_mpas()
        for sample in blend.samples:
            share = shares.get(sample.sample)
            lines.append(_sample_line(sample, blend, share, initial, as_of=as_of))
    lines.sort(key=lambda s: (s.ended, -(s.life_used or 0.0), s.sample))
    return tuple(lines if limit is None else lines[:limit])


def _sample_line(
    sample: history.SampleFacts,
    blend: Blend,
    share: Mapping[str, float] | None,
    initial_mpas: float | None,
    *,
    as_of: datetime,
) -> SampleLine:
    own = blend.readings.get(sample.id, ())
    last = next((r for r in reversed(own) if r.viscosity_mpas is not None), None)
    graded = [r.gel_grade for r in own if r.gel_grade is not None]
    age_days = (as_of - sample.placed_at).total_seconds() / 86_400
    used = None
    if share and share["used"] is not None and sample.ended_at is None:
        used = share["used"] + share["per_day"] * max(age_days - share["age_days"], 0.0)
    elif share:
        used = share["used"]
    value = last.viscosity_mpas if last else None
    return SampleLine(
        sample=sample.sample,
        study=sample.study,
        blend_words=blend.key.words,
        store=sample.store,
        temperature_c=sample.store_temperature_c,
        age_days=age_days,
        last_viscosity_mpas=value,
        ratio=value / initial_mpas if value and initial_mpas else None,
        gel_grade=max(graded, default=None),
        life_used=used,
        state=sample.end_reason or ("sealed twin" if sample.twin == "sealed" else ""),
        ended=sample.ended_at is not None,
    )


def store_lines(
    records: Records, *, as_of: datetime, samples: Sequence[history.SampleFacts]
) -> tuple[StoreLine, ...]:
    """Return one line per store: nominal, last logged, and what the last week cost beyond the nominal."""
    with records.reading() as connection:
        return tuple(_store_line(connection, store, as_of, samples) for store in climate.stores(connection))


def _store_line(
    connection: sa.Connection,
    store: climate.StoreFacts,
    as_of: datetime,
    samples: Sequence[history.SampleFacts],
) -> StoreLine:
    day, logged = climate.store_log(connection, store.id, as_of=as_of, since=as_of - timedelta(days=7))
    standing = sum(s.store == store.store and s.ended_at is None for s in samples)
    if not day:
        return StoreLine(
            store=store.store,
            temperature_c=store.temperature_c,
            tolerance_c=store.tolerance_c,
            samples=standing,
            word="no log this week",
        )
    tolerance = store.tolerance_c or 2.0
    off = abs(logged[-1] - store.temperature_c)
    return StoreLine(
        store=store.store,
        temperature_c=store.temperature_c,
        last_c=logged[-1],
        last_at=datetime.fromtimestamp(day[-1] * 86_400, tz=as_of.tzinfo),
        tolerance_c=store.tolerance_c,
        samples=standing,
        week_dose_days=_beyond_nominal_days(day, logged, store.temperature_c),
        word="in range" if off <= tolerance else f"out by {off:.1f} °C",
    )


def _beyond_nominal_days(day: Sequence[float], logged: Sequence[float], nominal_c: float) -> float:
    """Days at the nominal temperature that the log counts more (or less) than the calendar did, [d]."""
    beyond = 0.0
    for left, right, a, b in zip(day, day[1:], logged, logged[1:], strict=False):
        mean_k = kelvin((a + b) / 2)
        rate = math.exp(-DEFAULT_ENERGY_KJ_MOL / GAS_CONSTANT_KJ * (1 / mean_k - 1 / kelvin(nominal_c)))
        beyond += (right - left) * (rate - 1.0)
    return beyond
