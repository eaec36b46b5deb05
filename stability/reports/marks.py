"""Colours, markers and dashes of the figures, and what a legend shows of them.

The colours are those of Okabe and Ito; markers and dashes differ too, for black-and-white paper.
"""

from __future__ import annotations

from typing import Literal

from matplotlib.artist import Artist
from matplotlib.lines import Line2D

__all__ = [
    "BAND",
    "COLOURS",
    "DASHED",
    "DOTTED",
    "GREY",
    "INK",
    "LIFE",
    "LONG",
    "LOWER",
    "MARKERS",
    "MIXED",
    "MOST_STORES",
    "NAME",
    "TARGET",
    "TODAY",
    "Dashes",
    "Entries",
    "dots",
    "look",
]

INK = "#22262A"
GREY = "#6B7076"
# Okabe and Ito, the yellow left out: it does not show on white paper
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#22262A")
MARKERS = ("o", "s", "D", "v", "P", "p", "h", "<", ">", "d", "8", "H")  # "^" is kept for "at least"
BAND = "#D5DADF"
LIFE, LOWER, TODAY, TARGET = "#D55E00", "#CC79A7", "#22262A", "#009E73"
Pattern = tuple[float, tuple[float, ...]]
Dashes = Literal["solid"] | Pattern
DASHED: Dashes = (0, (5.0, 2.0))
DOTTED: Dashes = (0, (1.0, 1.5))
LONG: Dashes = (0, (9.0, 3.0))
MIXED: Dashes = (0, (6.0, 2.0, 1.0, 2.0))
NAME = 40  # characters of a store's name in a legend
MOST_STORES = len(MARKERS)
Entries = list[tuple[Artist, str]]


def look(place: int) -> tuple[str, str]:
    """Return marker and colour of a store by its place."""
    return MARKERS[place % len(MARKERS)], COLOURS[place % len(COLOURS)]


def dots(marker: str, colour: str, *, hollow: bool = False) -> Line2D:
    """Return what stands in the legend for readings."""
    face = "white" if hollow else colour
    return Line2D([], [], linestyle="", marker=marker, markersize=5.5, color=colour, markerfacecolor=face)
