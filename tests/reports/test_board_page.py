"""The wall board: read across a room, fitting a screen, and true whether or not anybody still writes it."""

from __future__ import annotations

import importlib.util
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from stability.board.view import BoardView
from stability.reports.board_page import board_page, old_after
from tests.browser import faults_of, open_browser, opened

AT = datetime(2025, 8, 26, 8, 0, 40, tzinfo=UTC)
HOSTILE = "<script>alert(1)</script> {{ 7 * 7 }} [bold] \x1b[2J \u202eabc " + "W" * 200


@pytest.fixture(scope="module")
def views() -> ModuleType:
    place = Path(__file__).parent.parent / "board" / "example.py"
    spec = importlib.util.spec_from_file_location("board_example", place)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def hostile(view: BoardView) -> BoardView:
    return replace(
        view,
        title=HOSTILE,
        work=tuple(replace(line, store=HOSTILE, checks=(HOSTILE,)) for line in view.work),
        alerts=tuple(replace(line, words=HOSTILE, subject_words=HOSTILE) for line in view.alerts),
        blends=tuple(replace(line, blend_words=HOSTILE, notes=(HOSTILE,)) for line in view.blends),
        stores=tuple(replace(line, store=HOSTILE) for line in view.stores),
        cautions=(HOSTILE,),
    )


def test_it_says_when_it_was_so_and_from_when_on_it_is_old(views):
    html = board_page(replace(views.board_view(), as_of=AT), every_s=30)
    assert "26 Aug 2025 10:00" in html.replace("\xa0", " ")
    assert "If it is 26 Aug 2025 10:03 or later, this board is old" in html.replace("\xa0", " ")
    assert '<meta http-equiv="refresh" content="30">' in html


def test_a_board_that_is_written_once_says_so_and_is_not_fetched_again(views):
    html = board_page(views.board_view())
    assert "written once" in html
    assert "refresh" not in html


@pytest.mark.parametrize(("every_s", "minutes"), [(5, 3), (30, 3), (600, 31)])
def test_it_is_old_after_three_looks_that_did_not_come_and_never_at_once(every_s, minutes):
    # from 08:00:40 on: at least two minutes or three looks, then the next whole minute
    assert old_after(AT, every_s) == datetime(2025, 8, 26, 8, minutes, tzinfo=UTC)


def test_the_worst_alert_stands_first_and_what_is_left_out_is_counted(views):
    view = views.board_view()
    html = board_page(replace(view, alerts=view.alerts * 3))
    severities = [part.split("</span>")[0] for part in html.split('<span class="key ')[1:]]
    found = [words.split(">")[1] for words in severities if words.split('"')[0] in ("now", "soon", "note")]
    alerts = [word for word in found if word in ("now", "soon", "note")]
    assert alerts == sorted(alerts, key=("now", "soon", "note").index)
    assert f"… and {3 * len(view.alerts) - 5} more" in html


def test_names_are_shown_as_typed_and_never_acted_on(views):
    html = board_page(hostile(views.board_view()), every_s=30)
    assert "<script" not in html
    assert "{{ 7 * 7 }}" in html
    assert "\x1b" not in html
    assert "\u202e" not in html
    assert "sa" + "fe" not in html.lower()


def test_an_empty_house_has_a_board(views):
    html = board_page(BoardView(as_of=AT, zone_name="UTC", title="Storage stability"), every_s=30)
    for words in (
        "No alert is open.",
        "Nothing is due.",
        "No blend has a forecast yet.",
        "No store is on record.",
    ):
        assert words in html


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with open_browser() as found:
        yield found


@pytest.fixture(scope="module", params=["plain", "hostile", "empty"])
def file(request: pytest.FixtureRequest, views: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    view = {
        "plain": views.board_view(),
        "hostile": hostile(views.board_view()),
        "empty": BoardView(as_of=AT, zone_name="UTC", title="Storage stability"),
    }[request.param]
    found = tmp_path_factory.mktemp("board") / f"{request.param}.html"
    found.write_text(board_page(view, every_s=300), "utf-8")
    return found


@pytest.mark.parametrize(
    ("width", "scheme"), [(360, "light"), (1000, "dark"), (1920, "light"), (1920, "dark")]
)
def test_a_browser_finds_no_fault_with_it(browser, file, width, scheme):
    with opened(browser, file, width=width, scheme=scheme) as shown:
        assert faults_of(shown) == []


def test_on_a_wall_screen_the_figures_are_tall_and_all_of_it_is_on_one_screen(browser, file):
    with opened(browser, file, width=1920) as shown:
        size = "e => parseFloat(getComputedStyle(e).fontSize)"
        sizes = shown.evaluate(f"[...document.querySelectorAll('.big, .key, .time')].map({size})")
        assert min(sizes) >= 40
        assert shown.evaluate("document.documentElement.scrollHeight") <= 1080
