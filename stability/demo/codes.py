"""Label codes of the demo's tins: four characters and a check character, no two alike at a glance."""

from __future__ import annotations

from functools import cache

import numpy as np

from stability.demo.stage import SEED

__all__ = ["label"]

_CHECKED = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"
_WRITTEN = "23456789ACDEFHJKMNPRTVWXY"
"""Letters and digits that nobody mistakes for one another on a wet label."""


def _check_character(body: str) -> str:
    """Return the ISO 7064 MOD 37-2 check character."""
    total = 0
    for character in body:
        total = (total + _CHECKED.index(character)) * 2 % 37
    return _CHECKED[(38 - total) % 37]


def _differ(one: str, other: str) -> int:
    return sum(a != b for a, b in zip(one, other, strict=True))


@cache
def _bodies(count: int) -> tuple[str, ...]:
    draw = np.random.default_rng([SEED, 0])
    kept: list[str] = []
    while len(kept) < count:
        body = "".join(draw.choice(list(_WRITTEN), 4))
        mixed = not body.isalpha() and not body.isdigit()
        if mixed and _check_character(body) in _WRITTEN and all(_differ(body, old) >= 3 for old in kept):
            kept.append(body)
    return tuple(kept)


def label(number: int) -> str:
    """Return the code of the tin with this running number (below 200), such as `4K7M-R`."""
    body = _bodies(200)[number]
    return f"{body}-{_check_character(body)}"
