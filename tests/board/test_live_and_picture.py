"""The wall screen and the picture of the board."""

from __future__ import annotations

import io
import re
import xml.etree.ElementTree as ET

import pytest
from rich.console import Console

from stability.board.live import FittedBoard, watch
from stability.board.picture import board_svg


def screen(height: int = 40, width: int = 100) -> Console:
    return Console(
        file=io.StringIO(),
        width=width,
        height=height,
        force_terminal=True,
        legacy_windows=False,
        color_system=None,
    )


@pytest.mark.parametrize("height", [8, 12, 24, 40, 200])
def test_the_cautions_stay_whatever_the_height_of_the_window(height, example):
    console = screen(height)
    with console.capture() as captured:
        console.print(FittedBoard(example.board_view(samples=example.samples(30))), height=height)
    lines = captured.get().rstrip("\n").splitlines()
    assert lines[-1] == "store as above it."
    assert len(lines) <= height
    assert "Thinners for" in lines[0]


def test_the_live_board_asks_for_a_new_view_every_round(example):
    asked, waits = [], []

    def view_of():
        asked.append(1)
        return example.board_view()

    watch(view_of, console=screen(), every_s=5.0, rounds=3, wait=waits.append)
    assert len(asked) == 4
    assert sum(waits) == pytest.approx(15.0)


def test_ctrl_c_ends_the_live_board_and_gives_the_screen_back(example):
    def wait(_seconds: float) -> None:
        raise KeyboardInterrupt

    console = screen()
    watch(example.board_view, console=console, wait=wait)
    assert console.file.getvalue().rstrip().endswith("\x1b[?25h") or "\x1b[?1049l" in console.file.getvalue()


@pytest.mark.parametrize("width", [80, 120, 200])
def test_the_picture_is_the_same_bytes_and_asks_nobody_for_anything(width, example):
    view = example.board_view(samples=example.samples(3), title=example.HOSTILE)
    svg = board_svg(view, width)
    assert svg == board_svg(view, width)
    addresses = re.findall(r"https?://[^\"'\s)]+", svg)
    assert addresses == ["http://www.w3.org/2000/svg"]
    assert "<script" not in svg
    root = ET.fromstring(svg)  # noqa: S314 - our own text
    assert root.get("role") == "img"
    assert root.get("aria-label")


def test_nothing_reaches_over_the_edge_of_the_picture(example):
    root = ET.fromstring(board_svg(example.board_view(), 100))  # noqa: S314
    right = float(root.get("viewBox").split()[2])
    for text in root.iter("{http://www.w3.org/2000/svg}text"):
        if text.text.strip():
            assert float(text.get("x")) + float(text.get("textLength")) + 9 <= right
