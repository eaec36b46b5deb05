"""One look: due checks, what changed, what follows from it; alerts open, worsen and close.

Every judgement is one transaction of its own: the alert, its step and its messages stand or fall together.
Looking twice at the same instant opens nothing new. A look into the past (earlier than a look there has
been) takes note of what was never told, and changes nothing else.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import sqlalchemy as sa

from stability.alerts import rules
from stability.alerts.findings import Finding, Kind
from stability.alerts.lifecycle import Event, Open, decide
from stability.records import alerts as kept
from stability.records import sweeps
from stability.records.alerts import AlertRow
from stability.records.engine import Records
from stability.records.events import seal
from stability.services import forecast as forecasting
from stability.services.alerts import as_open_alert
from stability.services.checks import Planned, Plans, bring_up_to_date, open_blends, planned
from stability.services.claim_watch import claim_findings
from stability.services.forecast import BlendForecast
from stability.services.judge import Case, material_findings, thresholds_of, unjudged
from stability.services.judge_house import house_findings, stores_with_tins
from stability.services.sweep_messages import audience_of
from stability.services.sweep_steps import Steps, open_one, take

if TYPE_CHECKING:
    from stability.settings import Settings

__all__ = ["Refresh", "SweepOutcome", "sweep"]

Refresh = Callable[..., tuple[BlendForecast, ...]]
"""`(records, *, now, settings)` → the current forecasts of all running studies; refits what changed."""

_JUDGED = frozenset(
    {
        Kind.HEADING_FOR_LIMIT, Kind.LIMIT_REACHED, Kind.GELLED, Kind.OUT_OF_TREND, Kind.TINS_DISAGREE,
        Kind.CURE_LOST, Kind.CHECK_DUE, Kind.CHECK_OVERDUE, Kind.STORE_EXCURSION, Kind.PROBE_SILENT,
        Kind.CALIBRATION_LAPSED, Kind.CHANNEL_DEAD, Kind.SESSION_HELD, Kind.CLAIM_NOT_CARRIED,
    }
)  # fmt: skip
"""The kinds this sweep has a rule for; alerts of others are not its to close."""
_OF_THE_DAY = frozenset(
    {
        Kind.CHECK_DUE,
        Kind.CHECK_OVERDUE,
        Kind.PROBE_SILENT,
        Kind.CHANNEL_DEAD,
        Kind.CALIBRATION_LAPSED,
        Kind.SESSION_HELD,
    }
)
"""Kinds that ask for work to be done on the day: a look into the past does not ask for it any more."""
_CLOCK_RAN_AHEAD = timedelta(days=1)
_BEATS_KEPT = timedelta(days=60)


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepOutcome:
    """What one look opened, made worse and closed, and what it saw on the way."""

    as_of: datetime
    opened: tuple[AlertRow, ...] = ()
    worsened: tuple[AlertRow, ...] = ()
    closed: tuple[AlertRow, ...] = ()
    refitted: tuple[BlendForecast, ...] = ()
    checks: tuple[Planned, ...] = ()
    blind_from: datetime | None = None
    messages: int = 0


def sweep(
    records: Records,
    *,
    now: datetime,
    settings: Settings,
    refresh: Refresh = forecasting.refresh,
    began_at: datetime | None = None,
) -> SweepOutcome:
    """Look once as of `now`, and tell what came of it.

    `began_at` is when the look really takes place, if that is another time: such a look is none of the
    regular ones, whose absence is a blind period.
    """
    started, began = time.monotonic(), now if began_at is None else began_at
    with records.reading() as connection:
        latest, watched = sweeps.last_look(connection), sweeps.last_look(connection, watching=True)
    past = _into_the_past(latest, now, regular=began == now)
    forecasts = refresh(records, now=now, settings=settings)
    plans = _plans(records, now=now, settings=settings, past=past)
    claims = claim_findings(records, forecasts, now=now, settings=settings)
    with records.reading() as connection:
        owners = {blend.study.code: blend.study.owner for blend in plans.blends}
        look = Steps(records=records, settings=settings, now=now, audience=audience_of(connection, owners))
        events = _decided(connection, look, forecasts, plans, claims=claims, past=past)
    for event in events:
        take(look, event)
    blind_from = None
    if began == now and not past:
        blind_from = _blind(look, watched, tuple(sorted(stores_with_tins(plans.blends))))
    end = began + timedelta(seconds=round(time.monotonic() - started, 3))
    with records.writing() as connection:
        seal(connection, at=now)
        if not past:
            sweeps.forget_beats(connection, before=now - _BEATS_KEPT)
        sweeps.beat(connection, sweeps.Look(now, began, end), blind_from=blind_from, says=look.taken.words)
    return _outcome(look, forecasts, plans.checks, blind_from)


def _into_the_past(latest: sweeps.Look | None, now: datetime, *, regular: bool) -> bool:
    """Say whether there has been a later look; one far ahead of a regular look is a clock that ran ahead."""
    if latest is None or now >= latest.as_of:
        return False
    return not (regular and latest.as_of - now > _CLOCK_RAN_AHEAD)


def _plans(records: Records, *, now: datetime, settings: Settings, past: bool) -> Plans:
    if not past:
        return bring_up_to_date(records, now=now, settings=settings)
    with records.reading() as connection:  # the rows on record say how things stand at the latest look
        blends = open_blends(connection, as_of=now)
        return Plans(blends, planned(connection, blends, as_of=now, settings=settings))


def _decided(
    connection: sa.Connection,
    look: Steps,
    forecasts: Iterable[BlendForecast],
    plans: Plans,
    *,
    claims: tuple[Finding, ...],
    past: bool,
) -> tuple[Event, ...]:
    rows = kept.alert_rows(connection, closed_too=past)
    alerts = [as_open_alert(row) for row in rows if row.kind in _JUDGED]
    case = Case(
        now=look.now,
        settings=look.settings,
        blends=plans.blends,
        forecasts={found.blend_key: found for found in forecasts},
        open_alerts=alerts,
    )
    house = house_findings(connection, case, plans.checks)
    findings = (*material_findings(connection, case), *house, *claims)
    events = decide(findings, alerts, now=look.now, unjudged=unjudged(case))
    if not past:
        return events
    return tuple(e for e in events if isinstance(e, Open) and e.finding.kind not in _OF_THE_DAY)


def _blind(look: Steps, watched: sweeps.Look | None, stores: tuple[str, ...]) -> datetime | None:
    """Tell once of a time in which nobody looked; return since when, if it was one."""
    longest = timedelta(hours=look.settings.alerts.blind_after_hours)
    if watched is None or look.now - watched.as_of <= longest:
        return None
    gap = rules.BlindGap(began_at=watched.as_of, ended_at=look.now, stores=stores)
    with look.records.reading() as connection:
        told = kept.known_causes(connection, kind=Kind.BLIND_PERIOD.value)
    for finding in rules.blind_period([gap], now=look.now, thresholds=thresholds_of(look.settings)):
        if finding.cause_key not in told:
            open_one(look, finding, over="the sweeps run again")
    return watched.as_of


def _outcome(
    look: Steps,
    forecasts: Iterable[BlendForecast],
    checks: Sequence[Planned],
    blind_from: datetime | None,
) -> SweepOutcome:
    with look.records.reading() as connection:
        opened, worsened, closed = (
            tuple(row for row in (kept.find_alert(connection, number) for number in numbers) if row)
            for numbers in (look.taken.opened, look.taken.worsened, look.taken.closed)
        )
    return SweepOutcome(
        as_of=look.now,
        opened=opened,
        worsened=worsened,
        closed=closed,
        refitted=tuple(found for found in forecasts if found.changed),
        checks=tuple(check for check in checks if check.state in ("due", "late")),
        blind_from=blind_from,
        messages=look.taken.messages,
    )
