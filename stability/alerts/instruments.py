"""Rules on instruments: a certificate that ran out, a session that is held; instants are aware UTC."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from stability.alerts.facts import CalibrationFacts, HoldFacts
from stability.alerts.findings import Finding, Kind, Severity, Subject
from stability.alerts.wording import day_words

__all__ = ["calibration_lapsed", "session_held"]


def calibration_lapsed(instruments: Iterable[CalibrationFacts], *, now: datetime) -> tuple[Finding, ...]:
    """Find instruments whose certificate has run out, with the readings taken since."""
    return tuple(
        Finding(
            kind=Kind.CALIBRATION_LAPSED,
            subject=Subject(matter=each.instrument),
            severity=Severity.WARNING,
            says=(
                f"calibration of {each.instrument} lapsed on {day_words(each.due_at)}; "
                f"{each.readings_since} readings since then are conditional"
            ),
            do_next="have it certified; release or repeat the conditional readings by a named person",
            evidence=(f"due {day_words(each.due_at)}",),
        )
        for each in instruments
        if each.due_at < now
    )


def session_held(holds: Iterable[HoldFacts]) -> tuple[Finding, ...]:
    """Find instruments whose check is off: readings wait, those since the last good check are in doubt."""
    return tuple(
        Finding(
            kind=Kind.SESSION_HELD,
            subject=Subject(matter=each.instrument),
            severity=Severity.WARNING,
            says=(
                f"the session with {each.instrument} is held: {each.says}; "
                f"{each.readings_in_doubt} readings since the last good check are conditional"
            ),
            do_next=each.do_next,
            evidence=(f"checked {day_words(each.since)}",),
        )
        for each in holds
    )
