"""The life of an alert: findings and what was open in, events out. Same input twice opens nothing.

One open alert per cause. A finding that is gone closes its alert, unless the caller could not judge it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime

from stability.alerts.findings import Finding, Kind, Subject, same_cause
from stability.units import significant

__all__ = ["Close", "Event", "Keep", "Open", "OpenAlert", "Worsen", "decide"]

MATERIAL_RISE = 0.05
"""A rise of the probability that is worth a second message."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenAlert:
    """An alert that is open in the records, as it was last told."""

    id: int
    cause_key: str
    kind: Kind
    subject: Subject
    severity: int
    probability: float | None
    opened_at: datetime


@dataclass(frozen=True, slots=True)
class Open:
    """Open a new alert."""

    finding: Finding
    at: datetime


@dataclass(frozen=True, slots=True)
class Worsen:
    """An open alert has become worse; `reason` says how."""

    alert: OpenAlert
    finding: Finding
    reason: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Keep:
    """An open alert stays as it was told; `finding` is None where it could not be judged."""

    alert: OpenAlert
    finding: Finding | None
    at: datetime


@dataclass(frozen=True, slots=True)
class Close:
    """An open alert is over; `reason` says why."""

    alert: OpenAlert
    reason: str
    at: datetime


Event = Open | Worsen | Keep | Close

_GONE = {
    Kind.HEADING_FOR_LIMIT: "the chance fell below one in two",
    Kind.LIMIT_REACHED: "the readings on record no longer show it, or the tin went on to gel",
    Kind.GELLED: "the readings on record no longer show a gel",
    Kind.OUT_OF_TREND: "no reading of the last two weeks is outside its band",
    Kind.CHECK_DUE: "the round was read, became late or was cancelled",
    Kind.CHECK_OVERDUE: "the round was read, or its next check has come due: missed",
    Kind.STORE_EXCURSION: "the store is back within its tolerance",
    Kind.PROBE_SILENT: "the logger speaks again",
    Kind.CALIBRATION_LAPSED: "a certificate is on record",
    Kind.CHANNEL_DEAD: "the channel delivers again",
    Kind.BLIND_PERIOD: "the sweeps have run since",
}


def decide(
    findings: Iterable[Finding],
    open_alerts: Iterable[OpenAlert],
    *,
    now: datetime,
    unjudged: Collection[int] = (),
) -> tuple[Event, ...]:
    """Return one event per finding and open alert, worst first.

    `unjudged` are the ids of open alerts whose rule could not look this time (a fit that failed): they stay.
    Lots that were pooled or parted between two looks leave the cause the same.
    """
    left = _worst_per_cause(findings)
    alerts = sorted(open_alerts, key=lambda each: (each.opened_at, each.id))
    going_on: dict[int, Finding] = {}
    # the same key first: else an alert whose finding is gone would take the finding of a regrouped neighbour
    for continues in (_same_key, _regrouped):
        for alert in (each for each in alerts if each.id not in going_on):
            finding = next((each for each in left if continues(each, alert)), None)
            if finding is not None:
                left.remove(finding)
                going_on[alert.id] = finding
    events = [
        _judged(alert, going_on.get(alert.id), now=now, known=alert.id not in unjudged) for alert in alerts
    ]
    return (*(Open(finding, now) for finding in left if finding.opens), *events)


def _judged(alert: OpenAlert, finding: Finding | None, *, now: datetime, known: bool) -> Event:
    if finding is not None:
        reason = _worse(alert, finding)
        return Worsen(alert, finding, reason, now) if reason else Keep(alert, finding, now)
    if not known:
        return Keep(alert, None, now)
    return Close(alert, _GONE.get(alert.kind, "the finding no longer stands"), now)


def _worse(alert: OpenAlert, finding: Finding) -> str | None:
    if finding.severity > alert.severity:
        return f"severity rose from {alert.severity} to {finding.severity}"
    before, after = alert.probability, finding.probability
    if before is None or after is None or after - before < MATERIAL_RISE:
        return None
    return f"the chance rose from {significant(100 * before, 2)} to {significant(100 * after, 2)} %"


def _same_key(finding: Finding, alert: OpenAlert) -> bool:
    return finding.cause_key == alert.cause_key


def _regrouped(finding: Finding, alert: OpenAlert) -> bool:
    return finding.kind is alert.kind and same_cause(alert.kind, finding.subject, alert.subject)


def _worst_per_cause(findings: Iterable[Finding]) -> list[Finding]:
    worst: dict[str, Finding] = {}
    for finding in findings:
        known = worst.get(finding.cause_key)
        if known is None or finding.severity > known.severity:
            worst[finding.cause_key] = finding
    return sorted(worst.values(), key=lambda finding: (-finding.severity, finding.cause_key))
