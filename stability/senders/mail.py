"""Mail over SMTP: the certificate verified, refused receivers told apart, one message per receiver."""

from __future__ import annotations

import hashlib
import smtplib
import ssl
from dataclasses import dataclass, field
from email.message import EmailMessage
from email.utils import formatdate, parseaddr
from typing import Literal

from stability.errors import DeliveryError
from stability.senders.base import Message

__all__ = ["MailSender"]


@dataclass(frozen=True, slots=True, kw_only=True)
class MailSender:
    """Sends through one server; `security` none is for a server on this machine."""

    host: str
    port: int
    security: Literal["starttls", "tls", "none"]
    sender: str
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    timeout_s: float = 20.0

    def send(self, message: Message) -> None:
        """Hand the message to the server, which then answers for it."""
        mail = self._mail(message)
        try:
            with self._connected() as server:
                refused = server.send_message(mail, from_addr=self.sender, to_addrs=[message.receiver])
        except smtplib.SMTPRecipientsRefused as exc:
            raise _refused(exc.recipients) from exc
        except (smtplib.SMTPSenderRefused, smtplib.SMTPDataError) as exc:
            raise DeliveryError(_said(exc.smtp_code, exc.smtp_error), permanent=exc.smtp_code >= 500) from exc
        except smtplib.SMTPAuthenticationError as exc:
            # the account is at fault, not the message: it goes out once somebody has mended the settings
            said = _said(exc.smtp_code, exc.smtp_error)
            raise DeliveryError(
                f"log-in refused: {said}", permanent=False, hint="check mail.user and the password"
            ) from exc
        except (smtplib.SMTPException, OSError) as exc:
            raise DeliveryError(f"{self.host}:{self.port}: {_words(exc)}", permanent=False) from exc
        except ValueError as exc:  # an address that no mail can carry
            raise DeliveryError(_words(exc), permanent=True) from exc
        if refused:
            raise _refused(refused)

    def _connected(self) -> smtplib.SMTP:
        context = ssl.create_default_context()
        if self.security == "tls":
            server: smtplib.SMTP = smtplib.SMTP_SSL(
                self.host, self.port, timeout=self.timeout_s, context=context
            )
        else:
            server = smtplib.SMTP(self.host, self.port, timeout=self.timeout_s)
        try:
            if self.security == "starttls":
                server.starttls(context=context)  # without a context nothing would be verified
            if self.user is not None:
                server.login(self.user, self.password or "")
        except BaseException:
            server.close()
            raise
        return server

    def _mail(self, message: Message) -> EmailMessage:
        mail = EmailMessage()
        try:
            mail["From"] = self.sender
            mail["To"] = message.receiver
            mail["Subject"] = message.subject
        except ValueError as exc:  # a line break in a header would open another one
            raise DeliveryError(f"{exc}", permanent=True) from exc
        mail["Date"] = formatdate()
        mail["Message-ID"] = _message_id(message.key, self.sender)
        mail["Auto-Submitted"] = "auto-generated"
        mail.set_content(message.body)
        return mail


def _message_id(key: str, sender: str) -> str:
    """Return the same identifier for the same key, so that a mail sent twice is seen as one."""
    domain = parseaddr(sender)[1].rpartition("@")[2] or "localhost"
    return f"<{hashlib.sha256(key.encode()).hexdigest()[:32]}@{domain}>"


def _refused(answers: dict[str, tuple[int, bytes]]) -> DeliveryError:
    words = "; ".join(f"{receiver}: {_said(code, text)}" for receiver, (code, text) in answers.items())
    return DeliveryError(words, permanent=all(code >= 500 for code, _ in answers.values()))


def _said(code: int, text: bytes | str) -> str:
    words = text.decode("utf-8", "replace") if isinstance(text, bytes) else text
    return f"{code} {' '.join(words.split())}"


def _words(exc: Exception) -> str:
    return " ".join(str(exc).split()) or type(exc).__name__
