"""A real SMTP server for tests: it keeps what it gets, and refuses what it is told to refuse."""

from __future__ import annotations

import contextlib
import email
import socket
import ssl
import subprocess
from collections.abc import Callable, Iterator
from email.message import Message
from pathlib import Path
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult

USER, PASSWORD = "sweeper", "correct horse"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Mailbox:
    """What a server received; `answers` maps a receiver to the refusal he gets."""

    def __init__(self) -> None:
        self.mails: list[Message] = []
        self.receivers: list[str] = []
        self.answers: dict[str, str] = {}
        self.data_answer = "250 OK"
        self.after_data: Callable[[], None] | None = None
        self.port = 0

    async def handle_RCPT(
        self, _server: Any, _session: Any, envelope: Any, address: str, _options: Any
    ) -> str:
        if address in self.answers:
            return self.answers[address]
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, _server: Any, _session: Any, envelope: Any) -> str:
        if self.data_answer.startswith("250"):
            self.mails.append(email.message_from_bytes(envelope.content))
            self.receivers += envelope.rcpt_tos
            if self.after_data is not None:
                self.after_data()
        return self.data_answer

    @property
    def ids(self) -> list[str]:
        return [str(mail["Message-ID"]) for mail in self.mails]


def _authenticate(_server: Any, _session: Any, _envelope: Any, _mechanism: str, data: Any) -> AuthResult:
    given = (data.login.decode(), data.password.decode())
    return AuthResult(success=given == (USER, PASSWORD), handled=False)


@contextlib.contextmanager
def serving(
    mailbox: Mailbox, *, port: int | None = None, certificate: Path | None = None
) -> Iterator[Mailbox]:
    """Serve until the end of the block; with a certificate only over STARTTLS and after a log-in."""
    mailbox.port = port or free_port()
    secure: dict[str, Any] = {}
    if certificate is not None:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(certificate, certificate.with_suffix(".key"))
        secure = {
            "tls_context": context, "require_starttls": True, "auth_required": True,
            "authenticator": _authenticate,
        }  # fmt: skip
    server = Controller(mailbox, hostname="127.0.0.1", port=mailbox.port, **secure)
    server.start()
    try:
        yield mailbox
    finally:
        server.stop()


def self_signed(folder: Path) -> Path:
    """Make a certificate for localhost; its key lies beside it."""
    path = folder / "server.pem"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=localhost",
         "-addext", "subjectAltName=DNS:localhost", "-keyout", path.with_suffix(".key"), "-out", path],
        check=True, capture_output=True,
    )  # fmt: skip
    return path
