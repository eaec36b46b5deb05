"""Judging what ages: the facts of each blend at an instant, put before the rules.

A history brought in raises only what is true now: bands, twins and bench work look at fresh readings.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from stability.alerts import rules
from stability.alerts.findings import Finding, Kind, same_cause
from stability.alerts.lifecycle import OpenAlert
from stability.chemistry.cautions import Act, cautions
from stability.records.forecasts import looks
from stability.records.materials import ThinnerFacts, thinners
from stability.services.blends import Blend
from stability.services.facts import subject_of, tin_facts
from stability.services.forecast import BlendForecast
from stability.services.judge_tins import BenchLook, bench_findings
from stability.services.lots import row_for

if TYPE_CHECKING:
    from stability.settings import Settings

__all__ = ["Case", "material_findings", "store_cautions", "thresholds_of", "unjudged"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """All that one look has before it; `blends` are those of open studies."""

    now: datetime
    settings: Settings
    blends: Sequence[Blend]
    forecasts: Mapping[str, BlendForecast]
    open_alerts: Sequence[OpenAlert]

    @property
    def zone(self) -> ZoneInfo:
        """The site's zone."""
        return ZoneInfo(self.settings.time_zone)


def thresholds_of(settings: Settings) -> rules.Thresholds:
    """Return where the rules draw their lines, as set."""
    alerts = settings.alerts
    return rules.Thresholds(
        open_at=alerts.open_above, open_at_twice=alerts.open_twice_above, close_below=alerts.close_below
    )


def unjudged(case: Case) -> frozenset[int]:
    """Return the open alerts that no rule could look at: the blend is there, its forecast says nothing."""
    blind = [
        subject_of(blend.key)
        for blend in case.blends
        if _chance(row_for(blend.key, case.forecasts)) is None and blend.readings
    ]
    return frozenset(
        alert.id
        for alert in case.open_alerts
        if alert.kind is Kind.HEADING_FOR_LIMIT
        and any(same_cause(alert.kind, alert.subject, subject) for subject in blind)
    )


def material_findings(connection: sa.Connection, case: Case) -> tuple[Finding, ...]:
    """Return everything the rules find in the blends at this look."""
    lines = thresholds_of(case.settings)
    known = thinners(connection)
    found: list[Finding] = []
    looked: set[str] = set()
    for blend in case.blends:
        forecast = row_for(blend.key, case.forecasts)
        if forecast is not None and forecast.blend_key not in looked:
            # lots that stand together have one forecast, and head for its limit once
            looked.add(forecast.blend_key)
            heading = _heading(connection, case, blend, forecast)
            found += [] if heading is None else [heading]
        tins = tin_facts(blend, initial_mpas=_initial(blend, forecast), cautions=_by_store(blend, known))
        grade = blend.study.limits.get("gel_grade")
        found += rules.limit_reached(
            tins, gel_grade_limit=None if grade is None else math.ceil(grade), thresholds=lines
        )
        found += rules.gelled(tins, thresholds=lines)
        look = BenchLook(
            blend=blend,
            tins=tins,
            noise_pct=None if forecast is None else forecast.row["noise_pct"],
            now=case.now,
            zone=case.zone,
            thresholds=lines,
        )
        found += bench_findings(connection, look)
    return tuple(found)


def store_cautions(store_temperature_c: float, thinner: ThinnerFacts | None) -> tuple[str, ...]:
    """Return what to heed with a tin of a store; without a flash point a heated store counts as above it."""
    return cautions(
        act=Act.TAKE_OUT,
        store_temperature_c=store_temperature_c,
        flash_c=thinner.flash_c if thinner else None,
        thinner_class=thinner.thinner_class if thinner else None,
    )


def _by_store(blend: Blend, known: Mapping[str, ThinnerFacts]) -> dict[str, tuple[str, ...]]:
    thinner = known.get(blend.key.thinner or "")
    return {s.store: store_cautions(s.store_temperature_c, thinner) for s in blend.samples}


def _chance(forecast: BlendForecast | None) -> float | None:
    if forecast is None:
        return None
    found = forecast.alert_probability
    told = forecast.row["probability_before_target"] if found is None else found
    return None if told is None else float(told)


def _initial(blend: Blend, forecast: BlendForecast | None) -> float | None:
    own = forecast is not None and forecast.key == blend.key
    fitted = forecast.row["initial_viscosity_mpas"] if forecast is not None and own else None
    return blend.initial_mpas() if fitted is None else float(fitted)


def _heading(connection: sa.Connection, case: Case, blend: Blend, forecast: BlendForecast) -> Finding | None:
    subject = replace(
        subject_of(blend.key), product_lots=forecast.product_lots, thinner_lots=forecast.thinner_lots
    )
    chance, row = _chance(forecast), forecast.row
    early, late = forecast.alert_limit_early, forecast.alert_limit_late
    look = rules.Look(
        subject=subject,
        probability=chance,
        target_date=(forecast.placed_at + timedelta(days=forecast.target_life_days)).date(),
        priors_used=forecast.alert_probability is not None,
        life_days=row["life_days"],
        life_days_lower95=row["life_days_lower95"],
        target_life_days=forecast.target_life_days,
        limit_date=forecast.alert_limit_date,
        limit_date_range=None if early is None and late is None else (early, late),
        readings=row["readings"],
        tins=row["tins"],
        reached=forecast.outcome == "limit_reached",
        evidence=tuple(str(test["says"]) for test in row["evidence"] if not test["passed"]),
    )
    open_now = any(
        alert.kind is Kind.HEADING_FOR_LIMIT and same_cause(alert.kind, alert.subject, subject)
        for alert in case.open_alerts
    )
    lines = thresholds_of(case.settings)
    before = None
    if chance is not None and lines.open_at_twice < chance <= lines.open_at and not open_now:
        before = _chance_before(connection, case, forecast, chance)
    return rules.heading_for_limit(look, before, open_now=open_now, thresholds=lines)


def _chance_before(
    connection: sa.Connection, case: Case, forecast: BlendForecast, chance: float
) -> float | None:
    """Return the chance at the look before: yesterday's if nothing changed, else the forecast's before."""
    today = case.now.astimezone(case.zone).date()
    for kept in looks(connection, forecast.blend_key, as_of=case.now, limit=20):
        if kept.digest != forecast.digest:
            return kept.alert_probability
        if kept.as_of.astimezone(case.zone).date() < today:
            return chance
    return None
