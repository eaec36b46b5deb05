"""The board as a picture: SVG text without scripts, fonts or addresses from elsewhere."""

from __future__ import annotations

import io

from rich.console import Console
from rich.terminal_theme import TerminalTheme

from stability.board.screen import board
from stability.board.view import BoardView

__all__ = ["board_svg"]

LIGHT = TerminalTheme(
    (253, 253, 250),
    (34, 38, 42),
    [
        (34, 38, 42),
        (213, 94, 0),
        (0, 158, 115),
        (230, 159, 0),
        (0, 114, 178),
        (204, 121, 167),
        (86, 180, 233),
        (90, 96, 102),
    ],
)
CODE_FORMAT = """\
<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" \
role="img" aria-label="Board: work, alerts and life gauges">
<style>
.{unique_id}-matrix {{ font-family: "DejaVu Sans Mono", Menlo, Consolas, monospace; \
font-size: {char_height}px; line-height: {line_height}px; font-variant-east-asian: full-width; }}
{styles}
</style>
<defs>
{lines}
</defs>
<rect fill="#fdfdfa" width="{width}" height="{height}"/>
<g transform="translate(9, 6)">
{backgrounds}
<g class="{unique_id}-matrix">
{matrix}
</g>
</g>
</svg>
"""


def board_svg(view: BoardView, width: int) -> str:
    """Return the board as SVG, so many columns wide; the same view gives the same bytes."""
    console = Console(
        file=io.StringIO(),
        record=True,
        width=width,
        color_system="truecolor",
        force_terminal=True,
        legacy_windows=False,
        no_color=False,
    )
    console.print(board(view, width=width))
    return console.export_svg(title="", theme=LIGHT, code_format=CODE_FORMAT, unique_id="board")
