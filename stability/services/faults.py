"""Faults of an import: collected with file, line and column, so that one run tells them all."""

from __future__ import annotations

import difflib
import unicodedata
from collections.abc import Collection
from dataclasses import dataclass, field

from stability.errors import InputError

__all__ = ["MOST_KEPT", "Faults", "nearest_name", "typed"]

MOST_KEPT = 10_000


@dataclass(slots=True)
class Faults:
    """What was wrong, in the order found; beyond `MOST_KEPT` it is only counted."""

    kept: list[str] = field(default_factory=list)
    count: int = 0
    hint: str | None = None

    def add(self, fault: str, *, hint: str | None = None) -> None:
        """Note one fault; the first hint given is the one shown."""
        self.count += 1
        if len(self.kept) < MOST_KEPT:
            self.kept.append(fault)
        self.hint = self.hint or hint

    def __bool__(self) -> bool:
        return self.count > 0

    def raise_if_any(self) -> None:
        """Refuse the input whole, if there was a fault.

        Raises
        ------
        InputError
            With one line per fault.
        """
        if not self.count:
            return
        further = self.count - len(self.kept)
        tail = (f"{further} further faults are not listed",) if further else ()
        raise InputError(
            *self.kept, *tail, hint=self.hint or "nothing was written; correct the file and import again"
        )


def typed(text: str) -> str:
    """Return a cell as typed, in quotes, shortened, with every character that does not print spelt out."""
    shown = text if len(text) <= 60 else text[:57] + "…"
    clean = "".join(c if c.isprintable() else _spelt(c) for c in shown)
    return f"'{clean}'"


def _spelt(character: str) -> str:
    if ord(character) < 256:
        return repr(character)[1:-1]
    return f"<{unicodedata.name(character, f'U+{ord(character):04X}').lower()}>"


def nearest_name(name: str, known: Collection[str]) -> str | None:
    """Return the known name that was probably meant: one that begins so, else one spelt alike."""
    wanted = name.strip().casefold().replace(" ", "_")
    if len(wanted) >= 3:
        for one in known:
            if one.startswith(wanted) or wanted.startswith(one):
                return one
    near = difflib.get_close_matches(wanted, known, n=1, cutoff=0.5)
    return near[0] if near else None
