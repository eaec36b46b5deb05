"""The one form in which a statement's data are written, and their digest. Pure.

Canonical JSON: keys in order, no blanks, UTF-8, numbers as Python writes them, no NaN. Equal data, equal
bytes, whatever they were made on.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

from stability.errors import InputError

__all__ = ["canonical", "digest_of", "parsed"]


def canonical(data: Any) -> bytes:
    """Return data as canonical JSON.

    >>> canonical({"b": 1, "a": [0.1, None, "é"]}).decode()
    '{"a":[0.1,null,"é"],"b":1}'
    """
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":"))
    return text.encode("utf-8")


def digest_of(content: bytes) -> str:
    """Return the SHA-256 digest, as 64 hexadecimal digits."""
    return hashlib.sha256(content).hexdigest()


def parsed(content: bytes, what: str) -> Any:
    """Return what canonical JSON holds.

    Raises
    ------
    InputError
        If it is no JSON, or not in the one form: a changed blank is a change.
    """
    try:
        data = json.loads(content.decode("utf-8"))
        same = canonical(data) == content
    except (ValueError, RecursionError):
        raise InputError(f"{what} is no JSON: it was changed or cut off") from None
    if not same:
        raise InputError(f"{what} is not in its canonical form: it was changed after it was written")
    return data
