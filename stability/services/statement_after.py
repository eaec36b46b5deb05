"""What becomes of a statement after its issue: who received it, its withdrawal, and the notices of that.

Rows are never changed: a withdrawal is a further step. Notices are signed like statements.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from stability.board.text import clean
from stability.board.words import date_words
from stability.errors import InputError
from stability.records import outbox
from stability.records.engine import Records
from stability.records.events import note
from stability.records.statements import (
    StatementRow,
    add_recipients,
    add_step,
    statement_rows,
    statement_steps,
)
from stability.services.deliver import MAIL
from stability.services.faults import typed
from stability.services.instants import iso
from stability.services.release import named_person, told_reason
from stability.services.statement_paper import on_record
from stability.settings import Settings
from stability.statements.notices import Notice, written_notices
from stability.statements.signature import SigningKey

__all__ = ["letters_to", "named_receivers", "notices_signed", "receive", "told_by_mail", "withdraw"]


def receive(
    records: Records, number: str, receivers: Sequence[str], *, person: str, now: datetime
) -> tuple[StatementRow, tuple[str, ...]]:
    """Record who received a statement; return its row, and who is new.

    Raises
    ------
    InputError
        If it is not on record or not in force, or a name cannot be kept.
    """
    with records.writing() as connection:
        named_person(connection, person, "this act")
        row = on_record(connection, number, None, now=now)
        if not row.live:
            raise InputError(f"{row.name} is {row.step}; nobody should receive it any more")
        new = add_recipients(connection, row.id, named_receivers(receivers), at=now)
        details = {"receivers": list(new)}
        note(connection, at=now, person=person, verb="sent statement", subject=row.number, details=details)
        return on_record(connection, number, row.version, now=now), new


def withdraw(records: Records, number: str, *, reason: str, person: str, now: datetime) -> StatementRow:
    """Withdraw the latest version of a statement.

    Raises
    ------
    InputError
        If it is not on record or not in force any more, or nobody in particular acts.
    """
    words = told_reason(reason, "a withdrawal")
    with records.writing() as connection:
        named_person(connection, person, "a withdrawal")
        row = on_record(connection, number, None, now=now)
        if not row.live:
            raise InputError(f"{row.name} is {row.step} already")
        add_step(connection, row.id, at=now, step="withdrawn", person=person, says=words)
        details = {"version": row.version, "reason": words, "recipients": list(row.recipients)}
        note(
            connection, at=now, person=person, verb="withdrew statement", subject=row.number, details=details
        )
        return on_record(connection, number, row.version, now=now)


def named_receivers(names: Sequence[str]) -> list[str]:
    """Return names of recipients as they are kept.

    Raises
    ------
    InputError
        If one cannot be kept.
    """
    found = [" ".join(name.split()) for name in names]
    if wrong := [name for name in found if not 0 < len(name) <= 200 or not name.isprintable()]:
        raise InputError(f"recipient {typed(wrong[0])} cannot be kept; expected 1 to 200 characters")
    return found


def letters_to(row: StatementRow, *, reason: str, at: datetime, zone_name: str) -> dict[str, str]:
    """Return the notice for each recipient of a version that is out of force, by recipient."""
    day = date_words(at.astimezone(ZoneInfo(zone_name)).date())
    what = "withdrawn" if row.step == "withdrawn" else "replaced"
    lines = (
        f"Storage stability statement {row.number} version {row.version} is {what} since {day}.",
        f"Reason: {clean(reason)}",
        f"It said: {row.months} {'month' if row.months == 1 else 'months'}.",
        "Do not use or pass on copies of it. Tins that were sold by it: ask us what holds for them.",
        f"Digest of its data: {row.digest}",
    )
    return {name: "\n".join((f"To: {clean(name)}", "", *lines, "")) for name in row.recipients}


def told_by_mail(
    records: Records, row: StatementRow, letters: Mapping[str, str], *, at: datetime, settings: Settings
) -> int:
    """Put the notices of recipients with a mail address into the outbox; return how many."""
    if settings.mail.host is None:
        return 0
    found = {name: text for name, text in letters.items() if "@" in name[1:-1] and " " not in name}
    with records.writing() as connection:
        for name, text in found.items():
            subject = f"Storage stability statement {row.name}: {row.step}"
            payload = {"subject": subject, "body": text, "line": subject}
            key = f"statement-{row.id}-{row.step}-{name}"[:200]
            outbox.put(connection, key=key, channel=MAIL, receiver=name, payload=payload, at=at)
    return len(found)


def notices_signed(records: Records, key: SigningKey, *, now: datetime) -> tuple[bytes, int]:
    """Return the signed list of all versions out of force, and how many there are."""
    notices = []
    with records.reading() as connection:
        for row in statement_rows(connection, as_of=now):
            if row.live:
                continue
            last = statement_steps(connection, row.id)[-1]
            notices.append(
                Notice(
                    number=row.number,
                    version=row.version,
                    data=row.digest,
                    step=last.step,
                    at=iso(last.at),
                    reason=last.says,
                )
            )
    return written_notices(notices, made_at=iso(now.replace(microsecond=0)), key=key), len(notices)
