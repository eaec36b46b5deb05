"""Who is told of a step in the life of an alert, how, in which words: one message each, to the outbox."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from stability.alerts import wording
from stability.alerts.findings import Finding, Kind
from stability.alerts.recipients import Person, recipients
from stability.records import outbox
from stability.records.people import persons
from stability.services.deliver import FILE, MAIL
from stability.services.judge_house import channel_words

if TYPE_CHECKING:
    from stability.settings import Settings

__all__ = ["Audience", "Step", "audience_of", "put_messages"]

_NOT_IN_FILE = frozenset({Kind.CHECK_DUE})
"""The round is on the board and the sheet; the file is for what went wrong."""
_CLOSING_MAILED = frozenset({Kind.HEADING_FOR_LIMIT})
"""A forecast that is taken back may already have been passed on."""


@dataclass(frozen=True, slots=True)
class Audience:
    """Everybody on record, and who owns which running study."""

    people: Sequence[Person]
    owners: dict[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step to tell: `mark` names it in the key, `verb` and `reason` are for people."""

    alert_id: int
    mark: str
    verb: str
    finding: Finding
    at: datetime
    reason: str = ""


def audience_of(connection: sa.Connection, owners: dict[str, str]) -> Audience:
    """Return who can be told; `owners` are those of the running studies by code."""
    people = [Person(row.person, row.role, row.mail, row.stand_in) for row in persons(connection)]
    return Audience(people, owners)


def put_messages(connection: sa.Connection, step: Step, *, audience: Audience, settings: Settings) -> int:
    """Write the messages of one step, in the transaction that takes it; return how many are new."""
    payload = _payload(step, ZoneInfo(settings.time_zone))
    new = 0
    for channel, receiver in _ways(step, audience, settings):
        whom = f"{channel}-{receiver}" if channel == MAIL else channel
        key = f"alert-{step.alert_id}-{step.mark}-{whom}"[:200]
        new += outbox.put(
            connection, key=key, channel=channel, receiver=receiver, payload=payload, at=step.at
        )
    return new


def _ways(step: Step, audience: Audience, settings: Settings) -> list[tuple[str, str]]:
    kind, about = step.finding.kind, step.finding.subject
    ways: list[tuple[str, str]] = []
    if settings.mail.host is not None and (step.verb != "closed" or kind in _CLOSING_MAILED):
        ways += [(MAIL, mail) for mail in _mails(kind, about.study, audience)]
    if settings.file.path is not None and kind not in _NOT_IN_FILE:
        ways.append((FILE, str(settings.file.path)))
    if kind is Kind.CHANNEL_DEAD:  # through the others
        ways = [way for way in ways if channel_words(*way) != about.matter]
    return ways


def _mails(kind: Kind, study: str | None, audience: Audience) -> tuple[str, ...]:
    owners: list[str | None] = [audience.owners.get(study)] if study else [*audience.owners.values()]
    found = (
        recipients(kind, owner=owner, people=audience.people) for owner in dict.fromkeys(owners or [None])
    )
    return tuple(dict.fromkeys(mail for mails in found for mail in mails))


def _payload(step: Step, zone: ZoneInfo) -> dict[str, str]:
    finding = step.finding
    subject = wording.subject_line(finding)
    body = wording.body(finding, opened_at=step.at, zone=zone)
    if step.verb:
        subject = f"{step.verb}: {subject}"
        body = f"{step.verb.capitalize()}: {wording.clean(step.reason)}\n\n{body}"
    if step.verb != "closed":
        body += f"\nWhen you have seen it: stability acknowledge {step.alert_id} --reason TEXT\n"
    said = wording.one_line(finding, opened_at=step.at, zone=zone, verb=step.verb)
    line = f"{said} – {wording.clean(step.reason)}" if step.reason else said
    return {"subject": subject, "body": body, "line": line}
