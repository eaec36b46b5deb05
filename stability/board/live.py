"""The board on a wall screen: drawn again at every new view and at every change of size."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

from rich.console import Console, ConsoleOptions, RenderResult
from rich.live import Live
from rich.text import Text

from stability.board.page import FAINT
from stability.board.screen import board_lines
from stability.board.view import BoardView

__all__ = ["FittedBoard", "watch"]

LOOK_S = 1.0  # how often the size of the window is looked at, [s]


@dataclass(frozen=True, slots=True)
class FittedBoard:
    """The board cut to the window: the head and the cautions always stay, the middle gives way."""

    view: BoardView
    ascii_only: bool = False

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield as many lines as the window has."""
        head, body, foot = board_lines(self.view, width=options.max_width, ascii_only=self.ascii_only)
        room = (options.height or console.height) - len(head) - len(foot) - 1
        if len(body) > room:
            kept = max(room - 1, 0)
            note = f"  {len(body) - kept} more lines; a larger window shows them"
            body = [*body[:kept], Text(note, style=FAINT)]
        yield from (*head, *body, *foot)


def watch(
    view_of: Callable[[], BoardView],
    *,
    console: Console,
    every_s: float = 15.0,
    ascii_only: bool = False,
    rounds: int | None = None,
    wait: Callable[[float], None] = time.sleep,
) -> None:
    """Show what `view_of` returns, asked again every so many seconds, until Ctrl-C or `rounds` views."""
    looks = max(round(every_s / LOOK_S), 1)
    shown = 0
    first = FittedBoard(view_of(), ascii_only)
    with Live(first, console=console, screen=True, auto_refresh=False, vertical_overflow="crop") as live:
        live.refresh()
        try:
            while rounds is None or shown < rounds:
                _stay(live, looks, every_s / looks, wait)
                live.update(FittedBoard(view_of(), ascii_only), refresh=True)
                shown += 1
        except KeyboardInterrupt:
            return


def _stay(live: Live, looks: int, pause_s: float, wait: Callable[[float], None]) -> None:
    """Draw the same view again now and then, so that a resized window is filled anew."""
    for _ in range(looks):
        wait(pause_s)
        live.refresh()
