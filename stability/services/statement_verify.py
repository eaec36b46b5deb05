"""Checking a statement where there is no database: signature, bytes, data, the claim calculated anew.

What cannot be known here (whose key it is, whether it was withdrawn) is said, never passed over.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Any

from stability.board.words import at_least_words, instant_words
from stability.errors import InputError, StabilityError
from stability.services.blends import CALCULATION
from stability.services.claim_data import recalculated
from stability.services.pdf_attachment import attachment_of
from stability.statements.notices import read_notices
from stability.statements.record import digest_of, parsed
from stability.statements.sidecar import Sidecar, from_bytes, sound
from stability.statements.signature import fingerprint, same_fingerprint

__all__ = ["Check", "Verdict", "Verified", "claim_check", "verify"]

SAME_BOUND = 1e-6
"""How far the bound may be off when it is calculated anew, as a share of itself."""
_LARGEST_FILE = 50_000_000


class Verdict(StrEnum):
    """How a check ended."""

    OK = "ok"
    OPEN = "open"
    FAILED = "FAILED"


@dataclass(frozen=True, slots=True)
class Check:
    """One thing looked at."""

    name: str
    verdict: Verdict
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Verified:
    """What a statement says of itself, and how every check of it ended."""

    sidecar: Sidecar | None
    checks: tuple[Check, ...]

    @property
    def failed(self) -> tuple[Check, ...]:
        """The checks that something did not match in."""
        return tuple(check for check in self.checks if check.verdict is Verdict.FAILED)


def verify(
    file: Path, *, signature: Path | None = None, key: str | None = None, notices: Path | None = None
) -> Verified:
    """Check a statement: a PDF, or the data out of it, with the signature file beside it.

    Raises
    ------
    InputError
        If a file cannot be read.
    """
    content = _read(file, "statement")
    beside = _read(signature or file.with_name(f"{file.name}.sig"), "signature")
    told = None if notices is None else _read(notices, "notices")
    try:
        sidecar = from_bytes(beside)
    except InputError as exc:
        return Verified(sidecar=None, checks=(_failed("signature", str(exc)),))
    return Verified(sidecar=sidecar, checks=tuple(_checks(content, sidecar, key, told)))


def claim_check(data: Mapping[str, Any]) -> Check:
    """Calculate the claim of a statement anew from its data."""
    try:
        found, bound = recalculated(data["lots"], data["facts"])
        months, told = data["months"], data["bound_days"]
        if found.months != months:
            return _failed("claim", f"the data carry {found.months or 'no'} months, stated are {months}")
        if not abs(bound - told) <= SAME_BOUND * abs(told):
            return _failed(
                "claim", f"the data give a bound of {bound:.9g} d, stated are {told:.9g} d{_by(data)}"
            )
    except (KeyError, TypeError, ValueError, AttributeError, IndexError, StabilityError) as exc:
        return _failed(
            "claim", f"the claim cannot be calculated from the data: {type(exc).__name__}{_by(data)}"
        )
    return Check("claim", Verdict.OK, f"calculated anew: {months} months, bound {at_least_words(bound)}")


def _checks(content: bytes, sidecar: Sidecar, key: str | None, told: bytes | None) -> Iterator[Check]:
    whole = sound(sidecar)
    says = f"signed {_said(sidecar.issued_at)} as {sidecar.number} v{sidecar.version} by {sidecar.approver}"
    if not whole:
        says = "the signature is not that of the key it names: the signature file was changed"
    yield Check("signature", Verdict.OK if whole else Verdict.FAILED, says)
    data = content
    if content.startswith(b"%PDF"):
        same = digest_of(content) == sidecar.pdf
        yield (
            Check("PDF", Verdict.OK, "every byte is the one that was signed")
            if same
            else _failed("PDF", "its bytes are not those that were signed")
        )
        try:
            data = attachment_of(content)
        except InputError as exc:
            yield _failed("data", str(exc))
            data = b""
    else:
        yield Check("PDF", Verdict.OPEN, "not looked at: this file is not the PDF")
    if data:
        yield from _of_the_data(data, sidecar)
    yield _of_the_key(sidecar, key)
    yield _of_the_notices(sidecar, told)


def _of_the_data(content: bytes, sidecar: Sidecar) -> Iterator[Check]:
    if digest_of(content) != sidecar.data:
        yield _failed("data", "their digest is not the one that was signed")
    try:
        data = parsed(content, "the file of data")
    except InputError as exc:
        yield _failed("data", str(exc))
        return
    named = ("number", "version", "months", "issued_at")
    if not isinstance(data, dict) or any(data.get(n) != getattr(sidecar, n) for n in named):
        yield _failed("data", "they speak of another statement than the signature does")
        return
    if digest_of(content) == sidecar.data:
        yield Check("data", Verdict.OK, f"digest {sidecar.data}")
    yield claim_check(data)


def _of_the_key(sidecar: Sidecar, key: str | None) -> Check:
    try:
        own = fingerprint(sidecar.public)
    except ValueError:
        return _failed("key", "the signature file names no key: it was changed")
    if key is None:
        return Check(
            "key",
            Verdict.OPEN,
            f"signed by {sidecar.approver}, key not checked: {own}; ask for it by another way, then --key",
        )
    if same_fingerprint(sidecar.public, key):
        return Check("key", Verdict.OK, f"{own} is the key that was expected")
    return _failed("key", f"signed with {own}, which is not the key that was expected")


def _of_the_notices(sidecar: Sidecar, told: bytes | None) -> Check:
    name = "withdrawal"
    if told is None:
        return Check(name, Verdict.OPEN, "withdrawal not known here: --notices takes the latest list")
    try:
        found = read_notices(told)
    except InputError as exc:
        return _failed(name, str(exc))
    notice = found.of(sidecar.number, sidecar.version)
    if notice is not None:
        return _failed(name, f"{notice.step} on {_said(notice.at)}: {notice.reason}")
    if found.public != sidecar.public:
        says = f"not among those of {_said(found.made_at)}, but that list is signed with another key"
        return Check(name, Verdict.OPEN, f"{says}: {fingerprint(found.public)}")
    return Check(name, Verdict.OK, f"in force as of {_said(found.made_at)}")


def _said(told: str) -> str:
    """Return an instant of a file as people read it; what is none stays as it was found."""
    try:
        return f"{instant_words(datetime.fromisoformat(told), 'UTC')} UTC"
    except (ValueError, OverflowError):
        return told


def _failed(name: str, says: str) -> Check:
    return Check(name, Verdict.FAILED, says)


def _by(data: Mapping[str, Any]) -> str:
    made_by = data.get("calculation")
    return "" if made_by == CALCULATION else f" (stated by {made_by}, calculated by {CALCULATION})"


def _read(path: Path, what: str) -> bytes:
    try:
        with path.open("rb") as file:
            content = file.read(_LARGEST_FILE + 1)
    except (OSError, ValueError) as exc:
        why = exc.strerror if isinstance(exc, OSError) and exc.strerror else str(exc)
        raise InputError(
            f"{what} file {path}: {why.lower()}", hint="the PDF and its .sig lie together"
        ) from exc
    if len(content) > _LARGEST_FILE:
        raise InputError(f"{what} file {path} is larger than {_LARGEST_FILE // 1_000_000} MB")
    return content
