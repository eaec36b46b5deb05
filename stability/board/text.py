"""Text for people: cleaned names, shortened, padded and broken into lines.

Widths are terminal cells, not characters. Nothing here is markup.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence

from rich.cells import cell_len

from stability.board.words import MONTHS

__all__ = [
    "clean",
    "fit",
    "joined",
    "pad",
    "plain_ascii",
    "shorten",
    "wrap",
]

UNSHOWABLE = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
NO_BREAK = "\u00a0"
TOGETHER = re.compile(
    rf"(?<=\d) (?=%|d\b|h\b|min\b|mPa|°C|kJ|mL|{'|'.join(MONTHS)})|(?<={'|'.join(MONTHS)}) (?=\d{{4}}\b)"
)
STACK = 2  # combining marks on one character; more would paint over the neighbouring lines
WITHOUT_ACCENT = {
    "°C": "deg C",
    "°": "deg",
    "·": ".",
    "…": "...",
    "–": "-",
    "—": "-",
    "−": "-",
    "±": "+-",
    "≥": ">=",
    "≤": "<=",
    "×": "x",
    "µ": "u",
    "²": "2",
    "³": "3",
    "→": "->",
    "‘": "'",
    "’": "'",
    "“": '"',
    "”": '"',
    "\ufffd": "?",
}


def clean(text: str) -> str:
    r"""Return text that cannot move the cursor, hide or turn round its neighbours.

    >>> clean("tin\x1b[2J 7")
    'tin�[2J 7'
    """
    shown: list[str] = []
    stacked = 0
    for character in re.sub(r"[\t\r\n]+", " ", text):
        category = unicodedata.category(character)
        stacked = stacked + 1 if category in {"Mn", "Me"} else 0
        if stacked > STACK:
            continue
        shown.append("\ufffd" if category in UNSHOWABLE else character)
    return "".join(shown)


def plain_ascii(text: str) -> str:
    """Return the nearest text in ASCII, for terminals and printers that know no more.

    >>> plain_ascii("23 °C – 398 mPa·s, Müller")
    '23 deg C - 398 mPa.s, Muller'
    """
    if text.isascii():
        return text
    for character, written in WITHOUT_ACCENT.items():
        text = text.replace(character, written)
    bare = (c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    return "".join(c if c.isascii() else "?" for c in bare)


def shorten(text: str, width: int, *, ellipsis: str = "…") -> str:
    """Cut text to so many cells, never inside a number.

    >>> shorten("1-methoxy-2-propyl acetate", 14), shorten("lined tin 250 mL", 13)
    ('1-methoxy-2-p…', 'lined tin…')
    """
    if cell_len(text) <= width:
        return text
    if width <= cell_len(ellipsis):
        return ellipsis[: max(width, 0)]
    kept, used = "", 0
    room = width - cell_len(ellipsis)
    for character in text:
        used += cell_len(character)
        if used > room:
            break
        kept += character
    rest = text[len(kept) :]
    if rest[:1].isdigit() or (rest[:1] in {".", ","} and rest[1:2].isdigit()):
        # a name that is nothing but digits may be cut: it is no quantity
        kept = re.sub(r"[\d.,]+$", "", kept) or kept
    return kept.rstrip(" ,;·") + ellipsis


def fit(parts: Sequence[tuple[str, bool]], width: int, *, ellipsis: str = "…") -> str:
    """Join parts, shortening the longest of those marked True until all fit; the others stay whole.

    >>> fit([("n-propyl acetate", True), (" 20 %", False), (", lined tin 250 mL", True)], 36)
    'n-propyl aceta… 20 %, lined… 250 mL'
    """
    fixed = sum(cell_len(text) for text, flexible in parts if not flexible)
    names = [cell_len(text) for text, flexible in parts if flexible]
    cap = max(names, default=0)
    while cap > 1 and fixed + sum(min(size, cap) for size in names) > width:
        cap -= 1
    return "".join(_name(text, cap, ellipsis) if flexible else text for text, flexible in parts)


def _name(text: str, width: int, ellipsis: str) -> str:
    """Shorten a name, in the middle where it ends in a quantity ("lined… 250 mL")."""
    tail = re.search(r" \d+(?:[.,]\d+)?(?: ?[^\W\d]{1,3}| ?%)?$", text)
    if not tail or cell_len(text) <= width or width < cell_len(tail.group()) + 5:
        return shorten(text, width, ellipsis=ellipsis)
    head = shorten(text[: tail.start()] + " ", width - cell_len(tail.group()), ellipsis=ellipsis)
    return head.rstrip() + tail.group()


def pad(text: str, width: int, *, right: bool = False) -> str:
    """Fill text with spaces to so many cells; `right` sets it against the right edge."""
    gap = " " * max(width - cell_len(text), 0)
    return gap + text if right else text + gap


def wrap(text: str, width: int, *, lines: int | None = None, ellipsis: str = "…") -> list[str]:
    """Break text at spaces into lines of so many cells; the last of `lines` is shortened.

    Dates, and numbers with their units, stay on one line where they can.
    """
    rows: list[str] = []
    row = ""
    for word in TOGETHER.sub(NO_BREAK, text).split(" "):
        joined_row = f"{row} {word}" if row else word
        if cell_len(joined_row) <= width:
            row = joined_row
            continue
        if row:
            rows.append(row)
        row = word
        while cell_len(row) > width:
            head = _head(row, width)
            rows.append(head)
            row = row[len(head) :]
    if row:
        rows.append(row)
    if lines is not None and len(rows) > lines:
        rest = " ".join(rows[lines - 1 :])
        rows = [*rows[: lines - 1], shorten(rest, width, ellipsis=ellipsis)]
    return [row.replace(NO_BREAK, " ") for row in rows]


def _head(text: str, width: int) -> str:
    used = 0
    for place, character in enumerate(text):
        used += cell_len(character)
        if used > width and place > 0:
            return text[:place]
    return text


def joined(items: Iterable[str], width: int, *, lines: int = 1, ellipsis: str = "…") -> list[str]:
    """List whole items over some lines; what does not fit is counted: "… and 3 more"."""
    names = list(items)
    shown = len(names)
    while True:
        rest = len(names) - shown
        tail = [f"{ellipsis} and {rest} more"] if rest else []
        rows: list[str] = [""]
        for name in [*names[:shown], *tail]:
            whole = rows[-1] + (", " if rows[-1] else "") + name
            if cell_len(whole) <= width:
                rows[-1] = whole
            else:
                rows.append(name)
        if (len(rows) <= lines and cell_len(rows[0]) <= width) or shown == 0:
            return [shorten(row, width, ellipsis=ellipsis) for row in rows if row][:lines]
        shown -= 1
