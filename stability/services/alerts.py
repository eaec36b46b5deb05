"""Alerts between the rules and the records, and what people do with them: list, acknowledge."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import date, datetime, timedelta
from typing import Any

from stability.alerts.findings import Finding, Kind, Subject
from stability.alerts.lifecycle import OpenAlert
from stability.board.view import AlertLine, Severity
from stability.errors import InputError
from stability.records import alerts as kept
from stability.records.alerts import AlertRow
from stability.records.engine import Records
from stability.records.events import note

__all__ = [
    "JSON_KEYS",
    "acknowledge",
    "alert_line",
    "as_finding",
    "as_json",
    "as_open_alert",
    "list_alerts",
    "values_of",
    "worth_keeping",
]

JSON_KEYS = (
    "id", "kind", "study", "product", "thinner", "level_pct", "additive", "pack", "sample", "opened_at",
    "closed_at", "acknowledged_by", "probability", "priors_used", "limit_date", "says",
)  # fmt: skip
"""What others may rely on of an alert, in this order."""

_COLUMNS = ("study", "product", "thinner", "level_pct", "additive", "pack", "sample", "store")
_MOST_EVIDENCE = 200
_MOST_LOOKS = 400
_WORDS_KEPT_FOR = timedelta(hours=1)
_LONGEST_REASON = 500


def list_alerts(records: Records, *, as_of: datetime, closed_too: bool = False) -> tuple[AlertRow, ...]:
    """Return the alerts open at an instant, with `closed_too` also those closed by then."""
    with records.reading() as connection:
        return kept.alert_rows(connection, as_of=as_of, closed_too=closed_too)


def acknowledge(records: Records, number: int, *, reason: str, person: str, now: datetime) -> AlertRow:
    """Note that somebody has seen an alert and what he says of it; it stays open until its cause is gone.

    Raises
    ------
    InputError
        If there is no alert of that number, or no reason is given.
    """
    words = " ".join(reason.split())
    if not words or len(words) > _LONGEST_REASON:
        raise InputError(
            f"a reason of 1 to {_LONGEST_REASON} characters is needed, got {len(words)}",
            hint="say what you saw and what you do about it",
        )
    with records.writing() as connection:
        if kept.find_alert(connection, number) is None:
            raise InputError(f"alert {number} is not on record", hint="stability alerts --all lists them")
        kept.acknowledge(connection, number, at=now, person=person, reason=words)
        note(
            connection,
            at=now,
            person=person,
            verb="acknowledge",
            subject=f"alert {number}",
            details={"reason": words},
        )
        found = kept.find_alert(connection, number)
    if found is None:
        raise InputError(f"alert {number} is not on record")
    return found


def as_json(row: AlertRow) -> dict[str, Any]:
    """Return an alert with exactly the keys that others may rely on."""
    return {key: getattr(row, key) for key in JSON_KEYS}


def alert_line(row: AlertRow) -> AlertLine:
    """Return an alert as the board shows it."""
    about = _subject(row)
    return AlertLine(
        id=row.id,
        kind=row.kind,
        words=row.kind.replace("_", " "),
        subject_words=": ".join(part for part in (row.study, about.words) if part),
        opened_at=row.opened_at,
        acknowledged_by=row.acknowledged_by,
        severity=Severity(min(max(row.severity, Severity.NOTE), Severity.NOW)),
        limit_date=None if row.limit_date is None else date.fromisoformat(row.limit_date),
        says=row.says,
    )


def values_of(
    finding: Finding, *, at: datetime, before: AlertRow | None = None, told: bool = True
) -> dict[str, Any]:
    """Return the columns of an alert that says what a finding says; the looks so far are kept.

    `told` says that people hear of it: later looks are measured against what they were told last.
    """
    subject = asdict(finding.subject)
    limit_date = None if finding.limit_date is None else finding.limit_date.isoformat()
    look = {
        "at": at.isoformat(),
        "probability": finding.probability,
        "limit_date": limit_date,
        "says": finding.says[:2000],
    }
    looks: Sequence[Mapping[str, Any]] = () if before is None else before.detail.get("looks", ())
    return {
        **{name: subject[name] for name in _COLUMNS},
        "cause": finding.cause_key,
        "kind": finding.kind.value,
        "severity": int(finding.severity),
        "probability": finding.probability,
        "priors_used": finding.priors_used if finding.probability is not None else None,
        "limit_date": limit_date,
        "says": look["says"],
        "detail": {
            "subject": subject,
            "do_next": finding.do_next,
            "evidence": finding.evidence[:_MOST_EVIDENCE],
            "cautions": finding.cautions[:_MOST_EVIDENCE],
            "limit_date_range": finding.limit_date_range,
            "told_probability": finding.probability if told or before is None else _told_probability(before),
            "looks": [*looks, look][-_MOST_LOOKS:],
        },
    }


def worth_keeping(row: AlertRow, finding: Finding, *, now: datetime) -> bool:
    """Say whether an open alert should say what this look found: numbers always, words once an hour."""
    values = values_of(finding, at=now)
    same = ("cause", "probability", "limit_date", "severity", "sample")
    if any(values[name] != getattr(row, name) for name in same):
        return True
    looks = row.detail.get("looks", ())
    last_at = datetime.fromisoformat(looks[-1]["at"]) if looks else row.opened_at
    return values["says"] != row.says and now - last_at >= _WORDS_KEPT_FOR


def as_open_alert(row: AlertRow) -> OpenAlert:
    """Return a kept alert as the decisions see it."""
    return OpenAlert(
        id=row.id,
        cause_key=row.cause,
        kind=Kind(row.kind),
        subject=_subject(row),
        severity=row.severity,
        probability=_told_probability(row),
        opened_at=row.opened_at,
    )


def as_finding(row: AlertRow) -> Finding:
    """Return what an alert was last told with, for the words of its closing."""
    span = row.detail.get("limit_date_range")
    return Finding(
        kind=Kind(row.kind),
        subject=_subject(row),
        severity=row.severity,
        says=row.says,
        do_next=str(row.detail.get("do_next", "")),
        probability=row.probability,
        priors_used=bool(row.priors_used),
        limit_date=_date(row.limit_date),
        limit_date_range=None if span is None else (_date(span[0]), _date(span[1])),
        cautions=tuple(row.detail.get("cautions", ())),
        evidence=tuple(row.detail.get("evidence", ())),
    )


def _told_probability(row: AlertRow) -> float | None:
    told = row.detail.get("told_probability", row.probability)
    return None if told is None else float(told)


def _subject(row: AlertRow) -> Subject:
    told = row.detail.get("subject", {})
    return Subject(
        **{name: getattr(row, name) for name in _COLUMNS},
        product_lots=tuple(told.get("product_lots", ())),
        thinner_lots=tuple(told.get("thinner_lots", ())),
        matter=told.get("matter"),
    )


def _date(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)
