"""What the board promises whatever it is given."""

from __future__ import annotations

import dataclasses
import json
import math
import re
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len
from rich.console import Console

from stability.board.blends import blend_label, blend_order, limit_words
from stability.board.braille import Canvas, interpolate
from stability.board.gauge import ASCII, UNICODE, life_gauge
from stability.board.page import Page
from stability.board.plain import render_text
from stability.board.sample import sample_board
from stability.board.screen import board
from stability.board.tables import alerts_table, compare_table, forecast_table, round_sheet
from stability.board.text import clean, fit, joined, plain_ascii, shorten, wrap
from stability.board.view import BlendWord, BoardView, to_json
from stability.board.words import at_least_words, days_words, percent_words

WIDTHS = (72, 80, 100, 120, 159, 160, 200, 320)
HIDDEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def hostile(view: object, name: str) -> object:
    """Return the view with every text in it replaced by one that means harm."""
    if dataclasses.is_dataclass(view) and not isinstance(view, type):
        kept = {"zone_name", "word", "outcome", "kind"}
        changes = {
            field.name: hostile(getattr(view, field.name), name)
            for field in dataclasses.fields(view)
            if field.name not in kept
        }
        return dataclasses.replace(view, **changes)
    if isinstance(view, tuple):
        return tuple(hostile(item, name) for item in view)
    return name if isinstance(view, str) else view


def assert_harmless(text: str, width: int) -> None:
    for line in text.split("\n"):
        assert cell_len(line) <= width
        assert not [c for c in line if unicodedata.category(c) in HIDDEN]


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("ascii_only", [False, True])
def test_hostile_names_are_shown_and_never_acted_on(width, ascii_only, example):
    view = hostile(example.board_view(samples=example.samples(5)), example.HOSTILE)
    text = render_text(board(view, width=width, ascii_only=ascii_only), width)
    assert_harmless(text, width)
    assert "[bold red]" in text
    assert text.isascii() or not ascii_only
    sample = hostile(example.sample_view(), example.HOSTILE)
    assert_harmless(render_text(sample_board(sample, width=width), width), width)


@pytest.mark.parametrize("width", WIDTHS)
def test_hostile_names_are_harmless_in_every_table(width, example, rows):
    view = hostile(example.board_view(), example.HOSTILE)
    row = rows.forecast_row(study=example.HOSTILE, thinner=example.HOSTILE, pack="桶" * 90, says="\x1b[31m")
    parts = [
        alerts_table(view.alerts, zone_name="UTC", width=width),
        round_sheet(view.work, zone_name="UTC", width=width),
        forecast_table([row], width=width),
        compare_table(hostile(rows.comparison(), example.HOSTILE), width=width),
    ]
    for part in parts:
        assert_harmless(render_text(part, width), width)


@pytest.mark.parametrize("width", WIDTHS)
def test_long_names_give_way_and_numbers_never(width, example):
    line = example.blend("n" * 200, BlendWord.CREEPING, pack="lined tin 250 mL")
    text = render_text(board(example.board_view(blends=(line,)), width=width), width)
    for number in ("48 %", "20 %", "365 d", "301 d", "4 Mar 2026", "30 Dec 2025", "20 May 2026", "0.50"):
        assert number in text


def test_an_empty_board_says_so(example):
    view = BoardView(as_of=example.AS_OF, zone_name="UTC", title="Nothing yet")
    text = render_text(board(view, width=80), 80)
    for words in ("nothing due", "none", "no blends yet", "never swept"):
        assert words in text


def test_blends_stand_worst_first(example):
    ranked = sorted(example.blends(), key=blend_order)
    words = [line.word for line in ranked]
    assert words == sorted(words, key=list(BlendWord).index)
    assert ranked[0].outcome == "limit_reached"
    assert next(line.notes for line in ranked if line.word == BlendWord.STEADY) == ("not curing",)


def test_two_packs_of_one_blend_can_be_told_apart_at_80_columns(example):
    packs = [
        example.blend("1-methoxy-2-propyl acetate", BlendWord.LOST, pack=p) for p in ("lined tin", "HDPE")
    ]
    labels = {blend_label(line, Page(80), 67) for line in packs}
    assert len(labels) == 2


@pytest.mark.parametrize("width", [80, 100, 120])
def test_a_comparison_keeps_pack_and_lot_of_a_long_blend(width, rows):
    long = "Heron-A + n-propyl acetate 20 % + vinyltrimethoxysilane 1 %, lined tin 250 mL (H-0417, H-0442)"
    view = rows.comparison()
    view = dataclasses.replace(view, lines=(dataclasses.replace(view.lines[0], blend_words=long),))
    assert long in " ".join(render_text(compare_table(view, width=width), width=width).split())


def test_the_word_of_a_store_is_whole_at_80_columns(example):
    view = example.board_view()
    stores = tuple(dataclasses.replace(store, word="out by 13.3 °C too warm") for store in view.stores)
    text = render_text(board(dataclasses.replace(view, stores=stores), width=80), width=80)
    assert text.count("out by 13.3 °C too warm") == len(stores)


def test_more_than_a_page_of_samples_is_counted(example):
    text = render_text(
        board(example.board_view(samples=example.samples(30), samples_total=9_999), width=80), 80
    )
    assert "… and 9969 more" in text


def test_a_view_is_json(example):
    view = example.board_view(
        samples=example.samples(2), blends=(example.blend("x", BlendWord.LOST, life_days=math.nan),)
    )
    shown = json.loads(json.dumps(to_json(view), allow_nan=False))
    assert shown["as_of"] == "2025-08-26T08:00:00Z"
    assert shown["blends"][0]["life_days"] is None
    assert shown["blends"][0]["word"] == "lost"
    assert shown["blends"][0]["limit_date"] == "2026-03-04"
    assert dataclasses.asdict(view)["title"] == view.title


def test_times_are_the_sites_own(example):
    summer = render_text(board(example.board_view(zone_name="Asia/Kolkata"), width=80), 80)
    assert "26 Aug 2025 13:30 Asia/Kolkata" in summer


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        pytest.param({}, "limit 4 Mar 2026 (30 Dec 2025 – 20 May 2026)", id="both ends"),
        pytest.param({"limit_date_late": None}, "limit 4 Mar 2026, not before 30 Dec 2025", id="open end"),
        pytest.param(
            {"limit_date": None, "limit_date_early": None, "limit_date_late": None}, "no date yet", id="none"
        ),
        pytest.param({"outcome": "limit_reached"}, "limit reached at the storage temperature", id="reached"),
    ],
)
def test_the_date_of_the_limit_is_said_with_its_range(changes, words, example):
    assert limit_words(example.blend("x", BlendWord.CREEPING, **changes)) == words


@given(used=st.floats(0, 3), more=st.floats(0, 3), cells=st.integers(4, 40))
def test_a_gauge_is_full_only_when_the_life_is_used_up(used, more, cells):
    drawn = life_gauge(used, used + more, cells=cells)
    assert len(drawn) == cells
    assert (UNICODE.over in drawn) == (used >= 1)
    assert used >= 1 or drawn.count(UNICODE.used) < cells
    assert used == 0 or UNICODE.used in drawn


def test_a_gauge_without_a_number_is_empty():
    assert life_gauge(None, 0.5, cells=5) == life_gauge(math.nan, None, cells=5, glyphs=ASCII) == "     "


@given(st.text(max_size=300), st.integers(1, 60))
def test_shortened_text_fits(text, width):
    assert cell_len(shorten(clean(text), width)) <= width
    assert all(cell_len(row) <= max(width, 2) for row in wrap(clean(text), width))


@given(st.lists(st.text("abc1", min_size=1, max_size=9), max_size=30), st.integers(24, 60))
def test_a_list_shows_whole_names_and_counts_the_rest(names, width):
    rows = joined(names, width, lines=2)
    assert len(rows) <= 2
    shown = sum(len(row.split(", ")) for row in rows)
    more = [int(row.rsplit(" ", 2)[1]) for row in rows if row.endswith(" more")]
    assert shown - len(more) + sum(more) == len(names)


def test_a_number_is_never_cut():
    assert shorten("life 12345 d", 9) == "life…"
    assert shorten("ratio 1.234", 9) == "ratio…"
    assert fit([("lined tin 250 mL", True)], 13) == "lined… 250 mL"


@pytest.mark.parametrize("ascii_only", [False, True])
def test_what_is_left_out_is_counted_in_full(ascii_only, example):
    text = render_text(board(example.board_view(), width=80, ascii_only=ascii_only), 80)
    assert re.search(r"(\.\.\.|…) and 1[34] more\n", text)


def test_dates_stay_on_one_line():
    rows = wrap("the limit comes about 18 Sep 2025 and the life is 198 d at 23 °C", 31)
    assert rows == ["the limit comes about", "18 Sep 2025 and the life is", "198 d at 23 °C"]


@given(st.text(max_size=200))
def test_cleaned_text_has_nothing_hidden_and_ascii_is_ascii(text):
    assert not [c for c in clean(text) if unicodedata.category(c) in HIDDEN]
    assert plain_ascii(clean(text)).isascii()


@given(st.floats(0, 1e9))
def test_a_lower_bound_is_never_rounded_up(days):
    words = at_least_words(days)
    if words.endswith(" d"):
        assert float(words[:-2].replace(" ", "")) <= days


def test_ends_that_are_not_reached_are_not_claimed():
    assert percent_words(0.9999) == "99 %"
    assert percent_words(1e-9) == "<1 %"
    assert days_words(1e9) == "over 1000 years"


@given(st.lists(st.tuples(st.floats(0, 60), st.floats(-5, 5)), max_size=20))
def test_a_curve_keeps_to_its_field(points):
    canvas = Canvas(30, 6, (0.0, 50.0), (-2.0, 2.0))
    canvas.curve(sorted(points))
    canvas.mark(points, "o")
    assert [len(row) for row in canvas.rows()] == [30] * 6
    assert all(row.isascii() for row in canvas.rows(ascii_only=True))


def test_a_straight_line_is_drawn_from_corner_to_corner():
    canvas = Canvas(4, 1, (0.0, 7.0), (0.0, 3.0))
    canvas.curve([(0.0, 0.0), (7.0, 3.0)])
    assert canvas.rows() == ["⣀⠤⠒⠉"]
    assert interpolate([(0.0, 0.0), (7.0, 3.0)], 8.0) is None


def test_a_corrected_reading_stands_beside_what_was_first_written(example):
    text = render_text(sample_board(example.sample_view(), width=80), 80)
    row = next(line for line in text.splitlines() if "18 Mar 2025" in line)
    assert "406" in row
    assert "344" in row
    assert "brought to 23 °C" in text


def test_a_tin_without_readings_says_so(example):
    text = render_text(
        sample_board(example.sample_view(readings=(), curve=(), limit_date=None), width=80), 80
    )
    assert "no viscosity read yet" in text


def test_no_colour_is_left_where_the_user_wants_none(example, monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")
    console = Console(width=80, force_terminal=True, legacy_windows=False)
    with console.capture() as captured:
        console.print(board(example.board_view(), width=80))
    assert "38;2" not in captured.get()
    assert "creeping" in captured.get()


def test_work_is_listed_late_first_and_alerts_worst_first(example):
    text = render_text(board(example.board_view(), width=80), 80)
    assert text.index("late ") < text.index("due today")
    assert text.index("#12") < text.index("#7")


def test_a_blind_period_is_said_with_its_length(example):
    text = render_text(board(example.board_view(), width=80), 80)
    assert "2 Jul 2025 12:00 – 5 Jul 2025 01:00" in text
    assert "61 h" in text


def test_the_word_nobody_may_print_is_printed_nowhere(example):
    text = render_text(board(example.board_view(), width=120), 120).lower()
    assert "safe" not in text
