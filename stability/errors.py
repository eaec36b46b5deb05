"""The error tree. Whatever a user can cause has its leaf here; the edge translates it once.

    StabilityError        1  an unexpected fault of ours
    ├── InputError        2  bad input or usage: one line per fault, nothing was written
    │   └── RecordsError  2  the database cannot be used: not ours, newer, read-only, damaged
    ├── RefusedError      3  the evidence does not carry what was asked, or a check failed
    └── DeliveryError     –  one message could not be handed to one receiver

The numbers are the exit codes of the command line.
"""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["DeliveryError", "InputError", "RecordsError", "RefusedError", "StabilityError"]


class StabilityError(Exception):
    """Root of the tree; `hint` is one line that says what to do next."""

    exit_code = 1

    def __init__(self, message: str, *, hint: str | None = None) -> None:
        super().__init__(message)
        self.hint = hint

    @property
    def lines(self) -> tuple[str, ...]:
        """One line per fault, as shown after `error:`."""
        return (str(self),)


class InputError(StabilityError):
    """Input that was refused whole; each fault says what, the value received and what is expected."""

    exit_code = 2

    def __init__(self, *faults: str, hint: str | None = None) -> None:
        super().__init__("; ".join(faults), hint=hint)
        self.faults = faults

    @property
    def lines(self) -> tuple[str, ...]:
        """One line per fault."""
        return self.faults


class RecordsError(InputError):
    """The database cannot be used as it is: not ours, newer than the program, read-only or damaged."""


class RefusedError(StabilityError):
    """The evidence does not carry what was asked for; `reasons` are shown one per line."""

    exit_code = 3

    def __init__(self, reasons: Sequence[str], *, hint: str | None = None) -> None:
        super().__init__("; ".join(reasons), hint=hint)
        self.reasons = tuple(reasons)

    @property
    def lines(self) -> tuple[str, ...]:
        """One line per reason."""
        return self.reasons


class DeliveryError(StabilityError):
    """One message could not be handed to one receiver; `permanent` says that a retry is useless."""

    def __init__(self, message: str, *, permanent: bool, hint: str | None = None) -> None:
        super().__init__(message, hint=hint)
        self.permanent = permanent
