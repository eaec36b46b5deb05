"""The steps in the life of an alert, one transaction each: alert, step, messages stand or fall together."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING

from stability.alerts.findings import Finding
from stability.alerts.lifecycle import Close, Event, Keep, Open, Worsen
from stability.records import alerts as kept
from stability.records import sweeps
from stability.records.alerts import AlertRow
from stability.records.engine import Records
from stability.services.alerts import as_finding, as_open_alert, values_of, worth_keeping
from stability.services.sweep_messages import Audience, Step, put_messages

if TYPE_CHECKING:
    from stability.settings import Settings

__all__ = ["Steps", "StepsTaken", "open_one", "take"]


@dataclass(slots=True)
class StepsTaken:
    """The steps taken so far in one look."""

    opened: list[int] = field(default_factory=list)
    worsened: list[int] = field(default_factory=list)
    closed: list[int] = field(default_factory=list)
    messages: int = 0

    @property
    def words(self) -> str:
        """The steps in a few words, empty where there were none."""
        counts = (("opened", self.opened), ("worse", self.worsened), ("closed", self.closed))
        return ", ".join(f"{len(numbers)} {word}" for word, numbers in counts if numbers)


@dataclass(frozen=True, slots=True, kw_only=True)
class Steps:
    """What all judgements of one look share."""

    records: Records
    settings: Settings
    now: datetime
    audience: Audience
    taken: StepsTaken = field(default_factory=StepsTaken)


def take(look: Steps, event: Event) -> None:
    """Take one step in one transaction; whoever was faster has taken it already."""
    if isinstance(event, Open):
        open_one(look, event.finding)
    elif isinstance(event, Worsen):
        _worsen(look, event)
    elif isinstance(event, Close):
        _close(look, event)
    else:
        _keep(look, event)


def open_one(look: Steps, finding: Finding, *, over: str | None = None) -> None:
    """Open an alert and write its messages; with `over` (the reason) it is closed in the same breath."""
    with look.records.writing() as connection:
        sweeps.alone(connection, "alerts")
        number = kept.open_alert(connection, values_of(finding, at=look.now), at=look.now)
        if number is None:
            return
        step = Step(alert_id=number, mark="opened", verb="", finding=finding, at=look.now)
        new = put_messages(connection, step, audience=look.audience, settings=look.settings)
        if over is not None:
            kept.close_alert(connection, number, at=look.now, says=over)
    look.taken.opened.append(number)
    look.taken.closed += [number] if over is not None else []
    look.taken.messages += new


def _worsen(look: Steps, event: Worsen) -> None:
    with look.records.writing() as connection:
        sweeps.alone(connection, "alerts")
        row = kept.find_alert(connection, event.alert.id)
        if row is None or row.closed_at is not None or _told_already(row, event):
            return
        values = values_of(event.finding, at=look.now, before=row)
        number = kept.update_alert(connection, row.id, values, at=look.now, worse=event.reason)
        step = Step(
            alert_id=row.id,
            mark=f"worse-{number}",
            verb="worse",
            finding=event.finding,
            at=look.now,
            reason=event.reason,
        )
        new = put_messages(connection, step, audience=look.audience, settings=look.settings)
    look.taken.worsened.append(row.id)
    look.taken.messages += new


def _told_already(row: AlertRow, event: Worsen) -> bool:
    """Say whether another sweep has told this since the decision was made."""
    known = as_open_alert(row)
    return (known.severity, known.probability) != (event.alert.severity, event.alert.probability)


def _close(look: Steps, event: Close) -> None:
    with look.records.writing() as connection:
        sweeps.alone(connection, "alerts")
        row = kept.find_alert(connection, event.alert.id)
        if row is None or not kept.close_alert(connection, row.id, at=look.now, says=event.reason):
            return
        step = Step(
            alert_id=row.id,
            mark="closed",
            verb="closed",
            finding=as_finding(row),
            at=look.now,
            reason=event.reason,
        )
        new = put_messages(connection, step, audience=look.audience, settings=look.settings)
    look.taken.closed.append(row.id)
    look.taken.messages += new


def _keep(look: Steps, event: Keep) -> None:
    if event.finding is None:
        return
    with look.records.reading() as connection:
        row = kept.find_alert(connection, event.alert.id)
    if row is None or not worth_keeping(row, event.finding, now=look.now):
        return
    with look.records.writing() as connection:
        values = values_of(event.finding, at=look.now, before=row, told=False)
        kept.update_alert(connection, row.id, values, at=look.now)
