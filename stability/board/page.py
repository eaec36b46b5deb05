"""The sheet the board is drawn on: its width, its signs, and rows of cells with a style each.

Colours are those of Okabe and Ito, which colour-blind people tell apart; a word always says the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rich.cells import cell_len
from rich.text import Text

from stability.board.gauge import ASCII, UNICODE, Glyphs
from stability.board.text import clean, pad, plain_ascii, shorten, wrap

__all__ = ["BAR_OF", "BOLD", "FAINT", "STYLE_OF", "Cell", "Page"]

BOLD = "bold"
FAINT = "dim"
VERMILION = "#D55E00"
ORANGE = "#E69F00"
GREEN = "#009E73"
SKY = "#56B4E9"
# words only in colours that are readable on black and on white; bars may have the lighter ones too
STYLE_OF = {
    "lost": f"bold {VERMILION}",
    "creeping": BOLD,
    "steady": GREEN,
    "now": f"bold {VERMILION}",
    "soon": BOLD,
    "late": f"bold {VERMILION}",
    "due today": BOLD,
    "take out today": BOLD,
    "not carried": f"bold {VERMILION}",
    "withdrawn": f"bold {VERMILION}",
    "issued": GREEN,
    "silent": f"bold {VERMILION}",
    "too warm": f"bold {VERMILION}",
    "too cold": f"bold {VERMILION}",
}
BAR_OF = {"lost": VERMILION, "creeping": ORANGE, "too early": SKY, "steady": GREEN}


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """Some text in so many cells of a row; text that is too long is shortened."""

    text: str
    width: int
    style: str = ""
    right: bool = False


@dataclass(frozen=True, slots=True)
class Page:
    """Width in cells and whether only ASCII may be used; makes the lines."""

    width: int
    ascii_only: bool = False

    @property
    def glyphs(self) -> Glyphs:
        """The signs to draw with."""
        return ASCII if self.ascii_only else UNICODE

    def say(self, text: str) -> str:
        """Return text as it may be shown on this page."""
        shown = clean(text)
        return plain_ascii(shown) if self.ascii_only else shown

    def cut(self, text: str, width: int) -> str:
        """Return text as it may be shown, shortened to so many cells."""
        return shorten(self.say(text), width, ellipsis=self.glyphs.ellipsis)

    def line(self, text: str = "", style: str = "") -> Text:
        """Return one line of text in one style."""
        return Text(self.cut(text, self.width), style=style, no_wrap=True, overflow="crop", end="\n")

    def row(self, cells: Sequence[Cell], *, indent: int = 2, gap: int = 2) -> Text:
        """Return one line made of cells."""
        row = Text(" " * indent, no_wrap=True, overflow="crop", end="\n")
        for place, cell in enumerate(cells):
            if place:
                row.append(" " * gap)
            row.append(pad(self.cut(cell.text, cell.width), cell.width, right=cell.right), style=cell.style)
        row.rstrip()
        return row

    def paragraph(self, text: str, *, indent: int, style: str = "", lines: int | None = None) -> list[Text]:
        """Return text broken into indented lines."""
        room = max(self.width - indent, 8)
        rows = wrap(self.say(text), room, lines=lines, ellipsis=self.glyphs.ellipsis)
        return [self.row([Cell(text=row, width=room, style=style)], indent=indent) for row in rows]

    def heading(self, title: str, summary: str = "") -> list[Text]:
        """Return an empty line and a heading with a few words beside it."""
        room = self.width - cell_len(title) - 3
        cells = [Cell(text=title, width=cell_len(title), style=BOLD)]
        if summary and room > 8:
            cells.append(Cell(text=summary, width=room, style=FAINT))
        return [Text(""), self.row(cells, indent=0, gap=3)]

    def rule(self) -> Text:
        """Return a line across the page."""
        return Text(self.glyphs.rule * self.width, style=FAINT, no_wrap=True, overflow="crop")

    def more(self, number: int) -> list[Text]:
        """Return the line that counts what is not shown, or nothing."""
        return [self.row([Cell(text=f"… and {number} more", width=24, style=FAINT)])] if number > 0 else []

    def beside(self, left: Sequence[Text], right: Sequence[Text], *, gutter: int) -> list[Text]:
        """Return two columns of lines side by side; the left one is as wide as this page."""
        rows = []
        for place in range(max(len(left), len(right))):
            row = left[place].copy() if place < len(left) else Text("")
            row.no_wrap, row.overflow = True, "crop"
            if place < len(right) and right[place].plain:
                row.append(" " * (self.width + gutter - row.cell_len))
                row.append_text(right[place])
            rows.append(row)
        return rows
