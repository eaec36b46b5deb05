"""Finding what a person named: a sample or a store by its code, or the nearest ones offered."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import sqlalchemy as sa

from stability.errors import InputError
from stability.records.readings import SampleAtBench, sample_at_bench, sample_codes

__all__ = ["known_sample", "nearest"]


def known_sample(connection: sa.Connection, code: str, *, at: datetime) -> SampleAtBench:
    """Return a sample by its code, in the store it stood in at an instant.

    Raises
    ------
    InputError
        If there is none of that code; the nearest codes are offered.
    """
    found = sample_at_bench(connection, code.strip(), at=at)
    if found is None:
        hint = nearest(code, sample_codes(connection)) or "stability due lists the samples; import adds them"
        raise InputError(f"sample {code!r} is not on record", hint=hint)
    return found


def nearest(typed: str, names: Sequence[str], *, most: int = 3) -> str | None:
    """Return "did you mean …?" with the nearest names, or None where nothing is near."""
    import difflib

    by_fold: dict[str, str] = {}
    for name in names:
        by_fold.setdefault(name.casefold(), name)
    near = difflib.get_close_matches(typed.strip().casefold(), by_fold, n=most)
    return f"did you mean {', '.join(by_fold[name] for name in near)}?" if near else None
