"""The sheet a figure is drawn on: sizes in points, measured text, legends and flags that never overlap.

Everything outside the axes is placed by measured width, and the figure grows for it; nothing is
left to chance by the data. The same input gives the same bytes.
"""

from __future__ import annotations

import hashlib
import io
import math
import re
import textwrap
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from html import escape
from typing import Any

import matplotlib as mpl
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font

from stability.board.text import clean, shorten
from stability.board.words import number_words
from stability.reports.marks import GREY, INK, Dashes

__all__ = [
    "Flag",
    "Sheet",
    "label_numbers",
    "plain_style",
    "printable",
    "svg_text",
]

WIDTH, LEFT, RIGHT = 648.0, 84.0, 22.0  # [pt]
PLOT, FOOT, ROW, TITLE_ROW = 300.0, 44.0, 14.0, 17.0  # [pt]
FLAG_PT, LEGEND_PT, TITLE_PT = 8.5, 8.5, 11.0
STYLE: dict[str, Any] = {
    "svg.fonttype": "path",
    "font.family": ["DejaVu Sans"],
    "text.parse_math": False,
    "axes.unicode_minus": False,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": GREY,
    "axes.labelcolor": INK,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "font.size": 9.0,
    "axes.labelsize": 9.5,
    "savefig.facecolor": "white",
}


@contextmanager
def plain_style(salt: str) -> Iterator[None]:
    """Draw with our settings alone, whatever the user's own matplotlib settings are."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(STYLE)  # type: ignore[arg-type]
        # ids in the SVG come from the salt: two figures on one page must not share any
        mpl.rcParams["svg.hashsalt"] = hashlib.sha256(salt.encode()).hexdigest()[:16]
        yield


@lru_cache(maxsize=2)
def _known(weight: str) -> frozenset[int]:
    return frozenset(get_font(_font_file(weight)).get_charmap())


@lru_cache(maxsize=2)
def _font_file(weight: str) -> str:
    return str(findfont(FontProperties(family="DejaVu Sans", weight=weight), fallback_to_default=False))


def printable(text: str, width: int = 200) -> str:
    """Return text with what the font cannot draw replaced, shortened to so many characters."""
    known = _known("normal") & _known("bold")
    return shorten("".join(c if ord(c) in known else "\ufffd" for c in clean(text)), width)


def text_width(text: str, size_pt: float, weight: str = "normal") -> float:
    """Return how wide a line of text is drawn, [pt]."""
    font = get_font(_font_file(weight))
    font.set_size(size_pt, 72)
    font.set_text(text, 0.0)
    return float(font.get_width_height()[0]) / 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """A vertical line with its words above the axes; a place off the right edge gets an arrow."""

    x: float
    words: str
    colour: str
    dashes: Dashes


class Sheet:
    """One figure with one pair of axes; made once the flags and the legend are known."""

    def __init__(
        self,
        title: str,
        *,
        flags: Sequence[Flag],
        x_range: tuple[float, float],
        legend: Sequence[str],
        top_axis: bool = False,
    ) -> None:
        self.title = _title_rows(printable(title))
        self.x_range = x_range
        self.flags = [(flag, min(flag.x, x_range[1])) for flag in sorted(flags, key=lambda item: item.x)]
        self.rows = self._flag_rows()
        self.columns, self.legend_rows = _legend_shape(legend)
        above = (
            ROW * (max(self.rows, default=-1) + 1)
            + TITLE_ROW * len(self.title)
            + 16
            + (24 if top_axis else 0)
        )
        below = FOOT + self.legend_rows * ROW + (10 if legend else 0)
        self.height = PLOT + above + below
        self.figure = Figure(figsize=(WIDTH / 72, self.height / 72), dpi=72)
        box = (LEFT / WIDTH, below / self.height, (WIDTH - LEFT - RIGHT) / WIDTH, PLOT / self.height)
        self.axes: Axes = self.figure.add_axes(box)
        self.axes.set_xlim(*x_range)
        self._write_title()

    def _write_title(self) -> None:
        for place, row in enumerate(self.title):
            y = 1 - (6 + TITLE_ROW * place) / self.height
            self.figure.text(16 / WIDTH, y, row, fontsize=TITLE_PT, fontweight="bold", va="top")

    def _across(self, x: float) -> float:
        """Return where x stands, [pt] from the left edge of the axes."""
        x0, x1 = self.x_range
        return (x - x0) / (x1 - x0) * (WIDTH - LEFT - RIGHT)

    def _words(self, flag: Flag) -> str:
        return f"{flag.words} →" if flag.x > self.x_range[1] else flag.words

    def _flag_rows(self) -> list[int]:
        """Give every flag a row; they point left, so each must fly above those its words cover."""
        rows: list[int] = []
        for place, (flag, x) in enumerate(self.flags):
            start = self._across(x) - text_width(self._words(flag), FLAG_PT) - 8
            covered = [rows[i] for i in range(place) if self._across(self.flags[i][1]) > start - 2]
            rows.append(max(covered, default=-1) + 1)
        return rows

    def draw_flags(self) -> None:
        """Draw the vertical lines and their words."""
        for (flag, x), row in zip(self.flags, self.rows, strict=True):
            top = 1 + (ROW * row + 18) / PLOT
            if flag.x <= self.x_range[1]:
                self.axes.plot(
                    [x, x],
                    [0, top],
                    transform=self.axes.get_xaxis_transform(),
                    color=flag.colour,
                    linestyle=flag.dashes,
                    linewidth=1.3,
                    clip_on=False,
                    zorder=2,
                )
            self.axes.annotate(
                self._words(flag),
                (x, top),
                xycoords=self.axes.get_xaxis_transform(),
                xytext=(-4, -1),
                textcoords="offset points",
                ha="right",
                va="top",
                fontsize=FLAG_PT,
                annotation_clip=False,
            )

    def draw_legend(self, entries: Sequence[tuple[Artist, str]]) -> None:
        """Draw the legend below the axes, in as many columns as its longest entry allows."""
        if not entries:
            return
        self.axes.legend(
            [artist for artist, _ in entries],
            [words for _, words in entries],
            loc="upper left",
            bbox_to_anchor=(-(LEFT - 16) / (WIDTH - LEFT - RIGHT), -(FOOT - 2) / PLOT),
            ncols=self.columns,
            fontsize=LEGEND_PT,
            frameon=False,
            borderaxespad=0,
            handlelength=1.8,
            columnspacing=1.4,
            labelspacing=0.35,
        )

    def draw_top_axis(self, ticks: Sequence[tuple[float, str]], unit: str) -> None:
        """Draw a second scale along the top."""
        top = self.axes.secondary_xaxis("top")
        top.set_xticks([place for place, _ in ticks], [f"{words} {unit}" for _, words in ticks])
        top.spines["top"].set_visible(True)

    def say(self, words: str) -> None:
        """Write in the middle of empty axes."""
        self.axes.text(
            0.5,
            0.5,
            words,
            transform=self.axes.transAxes,
            ha="center",
            va="center",
            color=GREY,
            bbox={"facecolor": "white", "linewidth": 0},
        )

    def foot_note(self, words: str) -> None:
        """Write small in the lower right corner."""
        self.figure.text(
            1 - 8 / WIDTH, 5 / self.height, words, ha="right", va="bottom", fontsize=7.5, color=GREY
        )

    def notes(self, *, invented: bool, drawn: int = 0, of: int = 0) -> None:
        """Write small what the reader must know of the drawing."""
        words = [f"{drawn} of {of} readings drawn"] if drawn < of else []
        words += ["invented data"] if invented else []
        if words:
            self.foot_note("; ".join(words))


def _title_rows(title: str) -> list[str]:
    """Return the title in at most two rows that fit the width as drawn."""
    for characters in range(96, 20, -4):
        rows = textwrap.wrap(title, characters, max_lines=2, placeholder=" …")
        if all(text_width(row, TITLE_PT, "bold") <= WIDTH - 32 for row in rows):
            return rows or [""]
    return [""]


def _legend_shape(legend: Sequence[str]) -> tuple[int, int]:
    if not legend:
        return 1, 0
    widest = max(text_width(words, LEGEND_PT) for words in legend) + 42
    columns = max(min(int((WIDTH - 30) // widest), len(legend)), 1)
    return columns, math.ceil(len(legend) / columns)


def log_labels(low: float, high: float) -> list[float]:
    """Return where a logarithmic axis is labelled: 1, 2, 5 over short spans, decades over long ones.

    >>> log_labels(240.0, 4000.0)
    [500.0, 1000.0, 2000.0]
    """
    first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
    steps = (1, 2, 5) if last - first <= 3 else (1,)
    return [
        float(step * 10.0**power)
        for power in range(first, last + 1)
        for step in steps
        if low <= step * 10.0**power <= high
    ]


def label_numbers(axes: Axes, y_range: tuple[float, float], *, logarithmic: bool) -> None:
    """Set the y axis, its labels written as people write numbers."""
    if logarithmic:
        axes.set_yscale("log")
    axes.set_ylim(*y_range)
    places = (
        log_labels(*y_range)
        if logarithmic
        else [y for y in axes.get_yticks() if y_range[0] <= y <= y_range[1]]
    )
    axes.set_yticks(places, [_tick_words(place) for place in places])
    axes.set_yticks([], minor=True)
    axes.grid(axis="y", color="#DDDFE1", linewidth=0.6)
    axes.set_axisbelow(True)


def _tick_words(place: float) -> str:
    return f"{place:g}" if abs(place) < 10_000 else number_words(place)


def svg_text(figure: Figure, alt: str) -> str:
    """Return the figure as an SVG element with its alternative text, without prologue or date."""
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    svg = out.getvalue()
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"\s*<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    return svg.replace("<svg ", f'<svg role="img" aria-label="{escape(clean(alt))}" ', 1)
