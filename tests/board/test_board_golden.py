"""The screens as readable text files, at the widths people have."""

from __future__ import annotations

import io

import pytest
from rich.cells import cell_len
from rich.console import Console

from stability.board.plain import render_text
from stability.board.sample import sample_board
from stability.board.screen import board
from stability.board.tables import alerts_table, compare_table, forecast_table, round_sheet


@pytest.mark.parametrize("ascii_only", [False, True], ids=["unicode", "ascii"])
@pytest.mark.parametrize("width", [80, 120, 200])
def test_the_board_is_what_its_golden_text_shows(width, ascii_only, example, golden):
    view = example.board_view(samples=example.samples(40), samples_total=940)
    text = render_text(board(view, width=width, ascii_only=ascii_only), width)
    assert max(cell_len(line) for line in text.splitlines()) <= width
    assert not ascii_only or text.isascii()
    golden(f"board-{width}{'-ascii' if ascii_only else ''}.txt", text)


def test_the_board_in_colour_is_what_its_golden_text_shows(example, golden):
    console = Console(
        file=io.StringIO(), width=80, force_terminal=True, color_system="truecolor", legacy_windows=False
    )
    with console.capture() as captured:
        console.print(board(example.board_view(), width=80))
    golden("board-80-colour.txt", captured.get().replace("\x1b", "<ESC>"))


@pytest.mark.parametrize("ascii_only", [False, True], ids=["unicode", "ascii"])
@pytest.mark.parametrize("width", [80, 120])
def test_one_tin_is_what_its_golden_text_shows(width, ascii_only, example, golden):
    text = render_text(sample_board(example.sample_view(), width=width, ascii_only=ascii_only), width)
    assert not ascii_only or text.isascii()
    golden(f"sample-{width}{'-ascii' if ascii_only else ''}.txt", text)


@pytest.mark.parametrize("width", [80, 120])
def test_the_tables_are_what_their_golden_texts_show(width, example, rows, golden):
    view = example.board_view()
    zone = {"zone_name": "Europe/Berlin", "width": width}
    empty = rows.forecast_row(**rows.EMPTY_FORECAST, outcome="too_early", says="needs two temperatures")
    parts = [
        alerts_table(view.alerts, **zone),
        round_sheet(view.work, cautions=view.cautions, **zone),
        forecast_table([rows.forecast_row(), empty], width=width),
        compare_table(rows.comparison(), width=width),
    ]
    golden(f"tables-{width}.txt", "\n".join(render_text(part, width) for part in parts))
