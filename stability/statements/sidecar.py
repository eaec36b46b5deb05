"""What is signed of a statement: the small file beside the PDF that names both digests.

One signature covers the bytes of the PDF and the digest of its data; every byte of the file counts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from stability.errors import InputError
from stability.statements.record import canonical, parsed
from stability.statements.signature import SigningKey, signed_by

__all__ = ["Sidecar", "from_bytes", "signed", "sound", "to_bytes"]

KIND = "stability statement signature"
_NAMES = ("number", "version", "months", "issued_at", "approver", "data", "pdf", "public", "signature")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sidecar:
    """Who signed what: digests of the data and of the PDF, public key, signature; `issued_at` is ISO 8601."""

    number: str
    version: int
    months: int
    issued_at: str
    approver: str
    data: str
    pdf: str
    public: str = ""
    signature: str = ""


def signed(unsigned: Sidecar, key: SigningKey) -> Sidecar:
    """Return the sidecar with the signature of a key."""
    named = replace(unsigned, public=key.public, signature="")
    return replace(named, signature=key.sign(_message(named)))


def sound(sidecar: Sidecar) -> bool:
    """Say whether the signature is that of the key it names, on all the rest."""
    return signed_by(sidecar.public, sidecar.signature, _message(sidecar))


def to_bytes(sidecar: Sidecar) -> bytes:
    """Return the file beside the PDF."""
    return canonical({"kind": KIND, **asdict(sidecar)})


def from_bytes(content: bytes) -> Sidecar:
    """Return what such a file holds.

    Raises
    ------
    InputError
        If it is none, or not in the form in which it was written.
    """
    data = parsed(content, "the signature file")
    if not isinstance(data, Mapping) or data.get("kind") != KIND or set(data) != {"kind", *_NAMES}:
        raise InputError("the signature file is none of this program, or was changed")
    values: dict[str, Any] = {name: data[name] for name in _NAMES}
    for name, value in values.items():
        if isinstance(value, bool) or not isinstance(value, int if name in ("version", "months") else str):
            raise InputError(f"the signature file holds no {name} as it should: it was changed")
    return Sidecar(**values)


def _message(sidecar: Sidecar) -> bytes:
    data = asdict(sidecar)
    data.pop("signature")
    return canonical({"kind": KIND, **data})
