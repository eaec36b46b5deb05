"""Figures: the same bytes, nothing outside the sheet, nothing over anything else, whatever the data."""

from __future__ import annotations

import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from itertools import combinations
from pathlib import Path

import matplotlib as mpl
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from stability.reports import drawing
from stability.reports.figures import arrhenius, master_curve

LONG_NAMES = tuple(((f"store $x_{i}$ " + c * 60)[:60], 5.0 + 10 * i) for i, c in enumerate("aWm你"))
MANY = tuple((f"OVN-{i}", 20.0 + 2 * i) for i in range(15))


@pytest.fixture
def figures(monkeypatch):
    """Every figure made, kept for a look at where its words stand."""
    kept = []
    written = drawing.svg_text

    def keep(figure, alt):
        kept.append(figure)
        return written(figure, alt)

    for module in ("figures", "rate_plot"):
        monkeypatch.setattr(f"stability.reports.{module}.svg_text", keep)
    return kept


def texts_of(figure):
    """Return the boxes of all words outside the axes and in the legend, as drawn."""
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    renderer = canvas.get_renderer()
    found = list(figure.texts)
    for axes in figure.axes:
        found += [t for t in axes.texts if t.get_text()]
        for axis, (low, high) in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
            found += [tick.label1 for tick in axis.get_major_ticks() if low <= tick.get_loc() <= high]
            found.append(axis.label)
        found += axes.get_legend().get_texts() if axes.get_legend() else []
        for child in axes.child_axes:
            found += child.get_xticklabels()
    shown = [t for t in found if t.get_visible() and t.get_text()]
    return [(t.get_text(), t.get_window_extent(renderer)) for t in shown]


CASES = {
    "no tins": lambda e: e.master(0, curve=()),
    "nothing at all": lambda e: e.master(0, limit_mpas=None, today_days=None, target_life_days=None),
    "one tin": lambda e: e.master(1),
    "three tins": lambda e: e.master(3),
    "200 tins that gel, 15 stores": lambda e: e.master(200, gel=381.0, names=MANY, life_days=265.0),
    "long names": lambda e: e.master(
        12, names=LONG_NAMES, blend_words="W" * 60 + " $m$ 你 " + "q" * 60, today_days=3.0, lower95_days=5.0
    ),
    "six decades": lambda e: e.master(8, start=1.0, gel=300.0, limit_mpas=1e6),
    "all at once": lambda e: e.master(
        10, today_days=300.0, life_days=301.0, lower95_days=299.0, target_life_days=300.0
    ),
    "a life far away": lambda e: e.master(10, life_days=3151.0, lower95_days=1364.0),
    "hostile": lambda e: e.master(5, blend_words='<script>"&\x1b[2J\u202e', limit_words="$\\frac{"),
}


@pytest.mark.parametrize("case", CASES)
def test_no_words_overlap_or_leave_the_sheet(case, example, figures):
    svg = master_curve(CASES[case](example))
    boxes = texts_of(figures[0])
    width, height = figures[0].get_size_inches() * figures[0].dpi
    for words, box in boxes:
        assert -0.5 <= box.x0 <= box.x1 <= width + 0.5, words
        assert -0.5 <= box.y0 <= box.y1 <= height + 0.5, words
    for (one, a), (other, b) in combinations(boxes, 2):
        over = min(a.x1, b.x1) - max(a.x0, b.x0) > 1.5 and min(a.y1, b.y1) - max(a.y0, b.y0) > 2.5
        assert not over, f"{one!r} over {other!r}"
    ET.fromstring(svg)  # noqa: S314 - our own text


@pytest.mark.parametrize("stores", [0, 1, 3, 5])
def test_the_arrhenius_plot_keeps_its_words_apart(stores, example, figures):
    svg = arrhenius(example.arrhenius_view(stores))
    width, height = figures[0].get_size_inches() * figures[0].dpi
    boxes = texts_of(figures[0])
    for words, box in boxes:
        assert -0.5 <= box.x0 <= box.x1 <= width + 0.5, words
        assert -0.5 <= box.y0 <= box.y1 <= height + 0.5, words
    for (one, a), (other, b) in combinations(boxes, 2):
        over = min(a.x1, b.x1) - max(a.x0, b.x0) > 1.5 and min(a.y1, b.y1) - max(a.y0, b.y0) > 2.5
        assert not over, f"{one!r} over {other!r}"
    ET.fromstring(svg)  # noqa: S314


def test_figures_are_the_same_bytes_in_another_process(example):
    code = (
        "import hashlib, sys; sys.path.insert(0, sys.argv[1]); import example as e;"
        "from stability.reports.figures import arrhenius, master_curve;"
        "both = master_curve(e.master()) + arrhenius(e.arrhenius_view());"
        "print(hashlib.sha256(both.encode()).hexdigest())"
    )
    folder = str(Path(example.__file__).parent)
    runs = {
        subprocess.run([sys.executable, "-c", code, folder], capture_output=True, check=True).stdout
        for _ in "12"
    }
    assert len(runs) == 1


def test_the_users_own_settings_change_nothing(example):
    plain = master_curve(example.master())
    with mpl.rc_context({"font.size": 30, "text.usetex": True, "lines.linewidth": 9}):
        assert master_curve(example.master()) == plain
    assert mpl.rcParams["svg.hashsalt"] is None


def test_a_figure_stands_alone_and_says_what_it_shows(example):
    svg = master_curve(example.master())
    assert svg.startswith("<svg ")
    assert 'role="img"' in svg
    assert "at least 301 d" in re.search(r'aria-label="([^"]*)"', svg).group(1)
    assert "<text" not in svg
    assert "<metadata" not in svg
    assert not set(re.findall(r"https?://[^\"']+", svg)) - {
        "http://www.w3.org/2000/svg",
        "http://www.w3.org/1999/xlink",
    }


def test_two_figures_on_one_page_share_no_ids(example):
    one = set(re.findall(r'<clipPath id="([^"]+)"', master_curve(example.master())))
    other = set(re.findall(r'<clipPath id="([^"]+)"', master_curve(example.master(study="S-08"))))
    assert one
    assert not one & other


def test_a_figure_of_many_points_stays_small(example):
    svg = master_curve(example.master(20_000))
    assert len(svg) < 600_000


def test_importing_the_reports_does_not_load_matplotlib():
    code = "import sys, stability.reports.text, stability.reports.view; print('matplotlib' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, text=True)
    assert done.stdout.strip() == "False"


def test_pyplot_is_never_loaded():
    code = "import sys, stability.reports.figures; print('matplotlib.pyplot' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, text=True)
    assert done.stdout.strip() == "False"
