"""The signed list of statements that are no longer in force, for checks where there is no database."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass

from stability.errors import InputError
from stability.statements.record import canonical, parsed
from stability.statements.signature import SigningKey, signed_by

__all__ = ["Notice", "Notices", "read_notices", "written_notices"]

KIND = "stability statement notices"


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """One version out of force: `step` is withdrawn or superseded, `data` the digest of its data."""

    number: str
    version: int
    data: str
    step: str
    at: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Notices:
    """All versions out of force at an instant (ISO 8601), and the public key of who says so."""

    made_at: str
    public: str
    notices: tuple[Notice, ...]

    def of(self, number: str, version: int) -> Notice | None:
        """Return the notice of a version, or None."""
        found = [n for n in self.notices if (n.number, n.version) == (number, version)]
        return found[-1] if found else None


def written_notices(notices: Sequence[Notice], *, made_at: str, key: SigningKey) -> bytes:
    """Return the signed list as the content of a file."""
    data = {
        "kind": KIND,
        "made_at": made_at,
        "public": key.public,
        "notices": [asdict(notice) for notice in notices],
    }
    return canonical({**data, "signature": key.sign(canonical(data))})


def read_notices(content: bytes) -> Notices:
    """Return such a list.

    Raises
    ------
    InputError
        If it is none, or its signature does not match.
    """
    data = parsed(content, "the file of notices")
    if not isinstance(data, Mapping) or data.get("kind") != KIND:
        raise InputError("this is no file of notices", hint="stability statement notices FILE writes one")
    unsigned = {name: value for name, value in data.items() if name != "signature"}
    if not signed_by(str(data.get("public")), str(data.get("signature")), canonical(unsigned)):
        raise InputError("the file of notices was changed: its signature does not match")
    try:
        return Notices(
            made_at=str(data["made_at"]),
            public=str(data["public"]),
            notices=tuple(Notice(**row) for row in data["notices"]),
        )
    except (KeyError, TypeError):
        raise InputError("the file of notices is of another version of this program") from None
