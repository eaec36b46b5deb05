"""The board as a page in the folder of reports, for a wall screen that only opens a file."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from stability.records.engine import Records
from stability.services.board import board_view
from stability.services.whole_file import write_whole
from stability.settings import Settings

__all__ = ["NAME", "write_wall_board"]

NAME = "board.html"
"""The file's name in the folder of reports."""


def write_wall_board(
    records: Records,
    *,
    now: datetime,
    settings: Settings,
    every_s: float | None = None,
    file: Path | None = None,
) -> Path:
    """Write the board as known now, whole or not at all; `every_s` is how often that is done.

    Raises
    ------
    InputError
        If the file cannot be written.
    """
    from stability.reports.board_page import board_page

    written = file or settings.output / NAME
    view = board_view(records, as_of=now, settings=settings)
    write_whole(written, board_page(view, every_s=every_s).encode("utf-8"))
    return written
