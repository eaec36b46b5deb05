"""A small curve in braille dots, two by four to the cell, with marks for readings laid over it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

__all__ = ["Canvas"]

FIRST = 0x2800
DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
ASCII_DOT = "."


@dataclass(slots=True)
class Canvas:
    """A field of `width` × `height` cells over a range of x and y (both in the caller's units)."""

    width: int
    height: int
    x_range: tuple[float, float]
    y_range: tuple[float, float]
    cells: list[list[int]] = field(init=False)
    marks: dict[tuple[int, int], str] = field(init=False)

    def __post_init__(self) -> None:
        self.cells = [[0] * self.width for _ in range(self.height)]
        self.marks = {}

    def _dot(self, x: float, y: float) -> tuple[int, int] | None:
        if not (math.isfinite(x) and math.isfinite(y)):
            return None
        (x0, x1), (y0, y1) = self.x_range, self.y_range
        column = round((x - x0) / ((x1 - x0) or 1.0) * (2 * self.width - 1))
        row = round((1 - (y - y0) / ((y1 - y0) or 1.0)) * (4 * self.height - 1))
        inside = 0 <= column < 2 * self.width and 0 <= row < 4 * self.height
        return (column, row) if inside else None

    def curve(self, points: Sequence[tuple[float, float]], *, every: int = 1) -> None:
        """Draw a line through points in order of x; `every` leaves gaps, for bands and limits."""
        last = 2 * self.width - 1
        x0, x1 = self.x_range
        for column in range(0, last + 1, every):
            x = x0 + (x1 - x0) * column / last
            y = interpolate(points, x)
            place = None if y is None else self._dot(x, y)
            if place:
                self.cells[place[1] // 4][place[0] // 2] |= DOTS[place[1] % 4][place[0] % 2]

    def mark(self, points: Iterable[tuple[float, float]], sign: str) -> None:
        """Lay a sign over the cells in which points fall; the first sign in a cell stays."""
        for x, y in points:
            place = self._dot(x, y)
            if place:
                self.marks.setdefault((place[0] // 2, place[1] // 4), sign)

    def rows(self, *, ascii_only: bool = False) -> list[str]:
        """Return the picture, top row first."""
        return [
            "".join(
                self.marks.get((column, row)) or _shown(bits, ascii_only) for column, bits in enumerate(line)
            )
            for row, line in enumerate(self.cells)
        ]


def _shown(bits: int, ascii_only: bool) -> str:
    if not bits:
        return " "
    return ASCII_DOT if ascii_only else chr(FIRST + bits)


def interpolate(points: Sequence[tuple[float, float]], x: float) -> float | None:
    """Return y at x on the straight pieces between points, or None outside them.

    >>> interpolate([(0.0, 1.0), (2.0, 3.0)], 1.0)
    2.0
    """
    for (xa, ya), (xb, yb) in pairwise(points):
        if xa <= x <= xb:
            return ya if xb == xa else ya + (yb - ya) * (x - xa) / (xb - xa)
    return None
