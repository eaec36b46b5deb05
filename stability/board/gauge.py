"""The life gauge: how much of its life a blend or a tin has used, as a bar that words can stand beside."""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["ASCII", "UNICODE", "Glyphs", "life_gauge"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Glyphs:
    """The signs the board draws with; one set for Unicode, one for plain ASCII."""

    used: str
    perhaps: str
    left: str
    over: str
    rule: str
    dot: str
    dash: str
    ellipsis: str


UNICODE = Glyphs(used="█", perhaps="▒", left="·", over="▶", rule="─", dot=" · ", dash="–", ellipsis="…")
ASCII = Glyphs(used="#", perhaps="=", left=".", over=">", rule="-", dot="; ", dash="-", ellipsis="...")


def life_gauge(used: float | None, perhaps: float | None, *, cells: int, glyphs: Glyphs = UNICODE) -> str:
    """Draw the share of life used, and after it what may be used if the lower bound is the truth.

    A life not yet used up leaves at least one cell open, one that is used up ends in an arrow.

    >>> life_gauge(0.5, 0.7, cells=10, glyphs=ASCII), life_gauge(1.4, None, cells=10, glyphs=ASCII)
    ('#####==...', '#########>')
    """
    if used is None or not math.isfinite(used):
        return " " * cells
    if used >= 1:
        return glyphs.used * (cells - 1) + glyphs.over
    full = _filled(used, cells)
    worst = used if perhaps is None or not math.isfinite(perhaps) else max(perhaps, used)
    shaded = (cells if worst >= 1 else _filled(worst, cells)) - full
    return glyphs.used * full + glyphs.perhaps * shaded + glyphs.left * (cells - full - shaded)


def _filled(share: float, cells: int) -> int:
    if share <= 0:
        return 0
    return min(max(round(share * cells), 1), cells - 1)
