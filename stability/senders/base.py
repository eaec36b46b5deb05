"""What every sender takes and does: one message, one receiver, or a `DeliveryError`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

__all__ = ["Message", "Sender"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """One message for one receiver; `key` is the same whenever it is sent again, so that twins are known.

    `line` is the whole of it on one line, for senders that write lines.
    """

    key: str
    receiver: str
    subject: str
    body: str
    line: str


class Sender(Protocol):
    """A way out of the house."""

    def send(self, message: Message) -> None:
        """Hand the message over, or raise `DeliveryError`."""
