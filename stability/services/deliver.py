"""Delivery: take messages from the outbox, send them outside any transaction, mark what became of them."""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from stability.errors import DeliveryError, InputError
from stability.records import outbox
from stability.records.engine import Records
from stability.senders.base import Message, Sender

if TYPE_CHECKING:
    from stability.settings import MailSettings, Settings

__all__ = ["FILE", "MAIL", "Delivered", "delay_after", "deliver", "senders_of"]

MAIL, FILE = "mail", "file"
"""The channels, as the outbox names them."""

_FIRST_DELAY_S = 10.0
_GROWTH = 5.0
_LEAST_LEASE = timedelta(seconds=60)


@dataclass(frozen=True, slots=True)
class Delivered:
    """What became of the messages of one pass."""

    sent: int = 0
    failed: int = 0
    dead: int = 0


def senders_of(settings: Settings) -> Mapping[str, Sender]:
    """Return the ways out that the settings open.

    Raises
    ------
    InputError
        If the password file cannot be read.
    """
    found: dict[str, Sender] = {}
    if settings.mail.host is not None:
        from stability.senders.mail import MailSender

        mail = settings.mail
        found[MAIL] = MailSender(
            host=settings.mail.host,
            port=mail.port,
            security=mail.security,
            sender=mail.sender,
            user=mail.user,
            password=_password(mail),
            timeout_s=mail.timeout_s,
        )
    if settings.file.path is not None:
        from stability.senders.file import FileSender

        found[FILE] = FileSender(settings.file.path)
    return found


def deliver(
    records: Records, senders: Mapping[str, Sender], *, now: datetime, settings: Settings
) -> Delivered:
    """Send everything that may go out now.

    A message that was refused for good holds no other one; a channel that fails is left alone until the next
    pass, so that a slow server costs one time-out and not one per message.
    """
    lease = max(3 * timedelta(seconds=settings.mail.timeout_s), _LEAST_LEASE)
    working, proven = set(senders), set[str]()
    sent = failed = dead = 0
    while working:
        with records.writing() as connection:
            claimed = outbox.claim(connection, channels=sorted(working), now=now, lease=lease)
        if claimed is None:
            break
        try:
            senders[claimed.channel].send(_message(claimed))
        except DeliveryError as exc:
            given_up = exc.permanent or claimed.attempts >= settings.mail.attempts
            _mark_failed(records, claimed, exc, now=now, given_up=given_up)
            dead, failed = dead + given_up, failed + (not given_up)
            if not exc.permanent:
                working.discard(claimed.channel)
        else:
            _mark_sent(records, claimed, now=now, first=claimed.channel not in proven)
            proven.add(claimed.channel)
            sent += 1
    return Delivered(sent, failed, dead)


def delay_after(attempts: int, key: str) -> timedelta:
    """Return how long a message waits after so many failures: five times longer each, ± a quarter by its key.

    The same key gives the same delays; different ones do not come back all at once.
    """
    longest = outbox.LONGEST_DELAY / timedelta(seconds=1)
    plain = min(_FIRST_DELAY_S * _GROWTH ** min(attempts - 1, 20), longest / 1.25)
    jitter = zlib.crc32(f"{key}/{attempts}".encode()) / 2**32
    return timedelta(seconds=plain * (0.75 + 0.5 * jitter))


def _message(claimed: outbox.Claimed) -> Message:
    words = claimed.payload
    return Message(
        key=claimed.key,
        receiver=claimed.receiver,
        subject=words["subject"],
        body=words["body"],
        line=words["line"],
    )


def _mark_sent(records: Records, claimed: outbox.Claimed, *, now: datetime, first: bool) -> None:
    with records.writing() as connection:
        outbox.mark_sent(connection, claimed, at=now)
        if first:
            outbox.hasten(connection, channel=claimed.channel, now=now)


def _mark_failed(
    records: Records, claimed: outbox.Claimed, exc: DeliveryError, *, now: datetime, given_up: bool
) -> None:
    with records.writing() as connection:
        if given_up:
            outbox.mark_dead(connection, claimed, at=now, error=str(exc))
        else:
            until = now + delay_after(claimed.attempts, claimed.key)
            outbox.put_off(connection, claimed, until=until, error=str(exc))


def _password(mail: MailSettings) -> str | None:
    if mail.password is not None:
        return mail.password.get_secret_value()
    if mail.password_file is None:
        return None
    try:
        return mail.password_file.read_text("utf-8").strip()
    except (OSError, UnicodeDecodeError) as exc:
        raise InputError(
            f"mail.password_file {mail.password_file}: {getattr(exc, 'strerror', None) or 'not UTF-8 text'}",
            hint="the file holds the password and nothing else",
        ) from exc
