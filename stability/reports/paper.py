"""Plain text on paper: headings, paragraphs, lists and tables at most 100 columns wide."""

from __future__ import annotations

from collections.abc import Sequence

from rich.cells import cell_len

from stability.board.text import clean, pad, wrap

__all__ = ["WIDTH", "bullet", "heading", "pairs", "paragraph", "table"]

WIDTH = 100


def heading(words: str, mark: str = "-") -> list[str]:
    """Return an empty line, a heading and a line under it."""
    rows = wrap(clean(words), WIDTH)
    return ["", *rows, mark * max((cell_len(row) for row in rows), default=0)]


def paragraph(words: str, *, indent: int = 0) -> list[str]:
    """Return text broken into lines."""
    return [" " * indent + row for row in wrap(clean(words), WIDTH - indent)]


def bullet(words: str, *, mark: str = "-", indent: int = 0) -> list[str]:
    """Return a point of a list."""
    lead = " " * indent + mark + " "
    rows = wrap(clean(words), WIDTH - cell_len(lead))
    return [(lead if place == 0 else " " * cell_len(lead)) + row for place, row in enumerate(rows)]


def pairs(items: Sequence[tuple[str, str]], *, indent: int = 0) -> list[str]:
    """Return names with their values, the values in line; a name without a value is left out."""
    shown = [(name, words) for name, words in items if words]
    room = max((cell_len(name) for name, _ in shown), default=0) + 2
    lines: list[str] = []
    for name, words in shown:
        rows = wrap(clean(words), WIDTH - room - indent)
        lines += [
            " " * indent + pad(name if place == 0 else "", room) + row for place, row in enumerate(rows)
        ]
    return lines


def table(titles: Sequence[str], rows: Sequence[Sequence[str]], *, indent: int = 2) -> list[str]:
    """Return a table; the first column is words and is broken where it must, the others stay whole."""
    cells = [[clean(cell) for cell in row] for row in (titles, *rows)]
    widths = [max(cell_len(row[column]) for row in cells) for column in range(len(titles))]
    rest = sum(widths[1:]) + 2 * (len(titles) - 1)
    widths[0] = max(min(widths[0], WIDTH - indent - rest), 12)
    lines: list[str] = []
    for row in cells:
        for place, part in enumerate(wrap(row[0], widths[0]) or [""]):
            others = [
                pad(cell if place == 0 else "", width, right=True)
                for cell, width in zip(row[1:], widths[1:], strict=True)
            ]
            lines.append((" " * indent + "  ".join([pad(part, widths[0]), *others])).rstrip())
    rule = " " * indent + "-" * min(sum(widths) + 2 * (len(titles) - 1), WIDTH - indent)
    head = len(wrap(cells[0][0], widths[0]) or [""])
    return [*lines[:head], rule, *lines[head:]]
