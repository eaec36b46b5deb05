"""The board: today's work, open alerts, life gauges, stores, statements, blind periods, cautions.

A view goes in, a rich renderable of plain lines comes out. From 160 columns on the work stands left
and the gauges right of it; below that everything is one column.
"""

from __future__ import annotations

from rich.console import Group
from rich.text import Text

from stability.board.blends import blends_section
from stability.board.page import BOLD, FAINT, Cell, Page
from stability.board.sections import (
    alerts_section,
    blind_section,
    samples_section,
    statements_section,
    stores_section,
    work_section,
)
from stability.board.view import BoardView
from stability.board.words import duration_words, instant_words

__all__ = ["board", "board_lines"]

NARROWEST = 72
TWO_COLUMNS = 160
GUTTER = 4


def board(view: BoardView, *, width: int, ascii_only: bool = False) -> Group:
    """Return the whole board, so many columns wide."""
    head, body, foot = board_lines(view, width=width, ascii_only=ascii_only)
    return Group(*head, *body, *foot)


def board_lines(
    view: BoardView, *, width: int, ascii_only: bool = False
) -> tuple[list[Text], list[Text], list[Text]]:
    """Return the lines of the head, the body and the foot; the foot must never be cut off."""
    page = Page(max(width, NARROWEST), ascii_only)
    return _head(view, page), _body(view, page), _foot(view, page)


def _head(view: BoardView, page: Page) -> list[Text]:
    mark = "invented data" if view.invented else ""
    room = page.width - len(mark) - 2
    title = [Cell(text=view.title, width=room, style=BOLD)]
    if mark:
        title.append(Cell(text=mark, width=len(mark), style=FAINT, right=True))
    shown = f"as of {instant_words(view.as_of, view.zone_name)} {view.zone_name}"
    lines = [page.row(title, indent=0), page.line(shown + page.glyphs.dot + _sweep(view), FAINT)]
    return [*lines, page.rule()]


def _sweep(view: BoardView) -> str:
    if view.last_sweep_at is None:
        return "never swept"
    hours = (view.as_of - view.last_sweep_at).total_seconds() / 3600
    return f"last sweep {duration_words(max(hours, 0.0))} before"


def _body(view: BoardView, page: Page) -> list[Text]:
    if page.width < TWO_COLUMNS:
        return [*_doing(view, page), *_standing(view, page), *_keeping(view, page)]
    left = Page((page.width - GUTTER) // 2, page.ascii_only)
    right = Page(page.width - GUTTER - left.width, page.ascii_only)
    return left.beside([*_doing(view, left), *_keeping(view, left)], _standing(view, right), gutter=GUTTER)


def _doing(view: BoardView, page: Page) -> list[Text]:
    return [
        *work_section(view.work, page, view.zone_name),
        *alerts_section(view.alerts, page, view.zone_name),
    ]


def _standing(view: BoardView, page: Page) -> list[Text]:
    return [
        *blends_section(view.blends, page),
        *samples_section(view.samples, page, view.samples_total),
    ]


def _keeping(view: BoardView, page: Page) -> list[Text]:
    return [
        *stores_section(view.stores, page, view.zone_name),
        *statements_section(view.statements, page),
        *blind_section(view.blind_periods, page, view.zone_name),
    ]


def _foot(view: BoardView, page: Page) -> list[Text]:
    if not view.cautions:
        return []
    lines = [Text(""), page.rule()]
    for caution in view.cautions:
        lines += page.paragraph(caution, indent=0)
    return lines
