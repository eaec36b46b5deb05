"""One tin: its curve in braille, every reading with what was corrected, and what happened to it."""

from __future__ import annotations

import math

from rich.console import Group
from rich.text import Text

from stability.board.braille import Canvas
from stability.board.gauge import life_gauge
from stability.board.page import BOLD, FAINT, Cell, Page
from stability.board.text import wrap
from stability.board.view import ReadingLine, SampleView
from stability.board.words import date_words, instant_words, number_words, percent_words, viscosity_words

__all__ = ["sample_board"]

NARROWEST = 72
AXIS = 10
HEIGHT = 12
MOST_READINGS, MOST_EVENTS = 40, 20
READING_COLUMNS = ("taken", "day", "mPa·s", "first written", "°C", "grade", "expected", "")
READING_WIDTHS = (17, 5, 10, 13, 5, 5, 17)


def sample_board(view: SampleView, *, width: int, ascii_only: bool = False) -> Group:
    """Return everything about one tin, so many columns wide."""
    page = Page(max(width, NARROWEST), ascii_only)
    lines = [*_head(view, page), *_curve(view, page), *_readings(view, page), *_events(view, page)]
    if view.cautions:
        lines += [Text(""), page.rule()]
    for caution in view.cautions:
        lines += page.paragraph(caution, indent=0)
    return Group(*lines)


def _head(view: SampleView, page: Page) -> list[Text]:
    mark = "invented data" if view.invented else ""
    title = [Cell(text=view.sample, width=page.width - len(mark) - 2, style=BOLD)]
    lines = [page.row([*title, Cell(text=mark, width=len(mark), style=FAINT)], indent=0)]
    lines += page.paragraph(view.blend_words, indent=0, style=BOLD)
    lots = ", ".join(lot for lot in (view.product_lot, view.thinner_lot) if lot)
    words = [view.study, f"lots {lots}" if lots else "", f"{view.store} {view.temperature_c:.1f} °C"]
    words += [f"day {view.age_days:.0f}", view.state]
    lines += page.paragraph(page.glyphs.dot.join(part for part in words if part), indent=0, style=FAINT)
    lines.append(page.rule())
    gauge = life_gauge(view.life_used, None, cells=24, glyphs=page.glyphs)
    limit = f"limit {date_words(view.limit_date)}" if view.limit_date else "no date of the limit yet"
    used = (
        f"{percent_words(view.life_used)} of its life used"
        if view.life_used is not None
        else "no forecast yet"
    )
    cells = [Cell(text=gauge, width=24), Cell(text=f"{used}{page.glyphs.dot}{limit}", width=page.width - 28)]
    lines.append(page.row(cells))
    if view.next_check_at:
        expected = _band(view.expected_low_mpas, view.expected_high_mpas)
        next_words = f"next check {instant_words(view.next_check_at, view.zone_name)}"
        lines += page.paragraph(next_words + (f", expected {expected} mPa·s" if expected else ""), indent=2)
    return lines


def _band(low: float | None, high: float | None) -> str:
    return f"{number_words(low)}–{number_words(high)}" if low is not None and high is not None else ""


def _curve(view: SampleView, page: Page) -> list[Text]:
    measured = [(r.age_days, r.viscosity_mpas) for r in view.readings if r.viscosity_mpas and _sign(r) != "^"]
    fitted = [(p.age_days, p.viscosity_mpas) for p in view.curve if p.viscosity_mpas > 0]
    heights = [y for _, y in (*measured, *fitted)] + ([view.limit_mpas] if view.limit_mpas else [])
    if not measured:
        return page.heading("Curve", "no viscosity read yet")
    days = [x for x, _ in (*measured, *fitted)] + [view.age_days]
    low, high = min(heights), max(heights)
    logarithmic = high / low > 10
    scale = math.log if logarithmic else float
    reach = (scale(high) - scale(low)) or abs(scale(high)) * 0.1 or 1.0
    bounds = (scale(low) - 0.05 * reach, scale(high) + 0.05 * reach)
    canvas = Canvas(page.width - AXIS - 4, HEIGHT, (min(0.0, *days), max(*days, 1.0)), bounds)
    canvas.curve([(x, scale(y)) for x, y in fitted])
    for edge in ("lower_mpas", "upper_mpas"):
        line = [(p.age_days, getattr(p, edge)) for p in view.curve if getattr(p, edge)]
        canvas.curve([(x, scale(y)) for x, y in line], every=3)
    if view.limit_mpas:
        canvas.curve(
            [(canvas.x_range[0], scale(view.limit_mpas)), (canvas.x_range[1], scale(view.limit_mpas))],
            every=2,
        )
    for reading in view.readings:
        if reading.viscosity_mpas:
            # a lower end far above the curve stands at the upper edge: it must not flatten the rest
            height = min(scale(reading.viscosity_mpas), bounds[1])
            canvas.mark([(reading.age_days, height)], _sign(reading))
    return _framed(canvas, page, view, bounds=bounds, logarithmic=logarithmic)


def _sign(reading: ReadingLine) -> str:
    if not reading.counts:
        return "x"
    return "^" if reading.over_range or (reading.gel_grade or 0) >= 4 else "o"


def _framed(
    canvas: Canvas, page: Page, view: SampleView, *, bounds: tuple[float, float], logarithmic: bool
) -> list[Text]:
    limit = f", limit {viscosity_words(view.limit_mpas)}" if view.limit_mpas else ""
    kind = ", logarithmic" if logarithmic else ""
    lines = page.heading("Curve", f"mPa·s against days{kind}{limit}")
    unscale = math.exp if logarithmic else float
    for place, row in enumerate(canvas.rows(ascii_only=page.ascii_only)):
        share = 1 - place / (canvas.height - 1)
        value = unscale(bounds[0] + share * (bounds[1] - bounds[0]))
        label = number_words(value) if place in {0, canvas.height // 2, canvas.height - 1} else ""
        side = "|" if page.ascii_only else "│"
        lines.append(
            page.row(
                [Cell(text=label, width=AXIS, right=True), Cell(text=side + row, width=canvas.width + 1)],
                gap=1,
            )
        )
    first, last = (f"{value:.0f}" for value in canvas.x_range)
    foot = first + " " * (canvas.width - len(first) - len(last)) + last
    lines.append(page.row([Cell(text="", width=AXIS), Cell(text=" " + foot, width=canvas.width + 1)], gap=1))
    signs = "o reading   x set aside   ^ gelled or over range: at least this"
    lines.append(page.row([Cell(text=signs, width=page.width - AXIS - 4, style=FAINT)], indent=AXIS + 4))
    return lines


def _readings(view: SampleView, page: Page) -> list[Text]:
    lines = page.heading("Readings", "" if view.readings else "none yet")
    if not view.readings:
        return lines
    lines.append(_reading_row(READING_COLUMNS[:-1], page, FAINT))
    ranked = sorted(view.readings, key=lambda item: item.taken_at)[-MOST_READINGS:]
    lines += page.more(len(view.readings) - len(ranked))
    for reading in ranked:
        changed = reading.original_mpas is not None and reading.original_mpas != reading.viscosity_mpas
        values = (
            instant_words(reading.taken_at, view.zone_name),
            f"{reading.age_days:.0f}",
            (">" if reading.over_range else "") + viscosity_words(reading.viscosity_mpas),
            viscosity_words(reading.original_mpas) if changed else "",
            "" if reading.temperature_c is None else f"{reading.temperature_c:.1f}",
            "" if reading.gel_grade is None else str(reading.gel_grade),
            _band(reading.expected_low_mpas, reading.expected_high_mpas),
        )
        lines.append(_reading_row(values, page, "" if reading.counts else FAINT))
        remark = _remark(reading, view.zone_name)
        if remark:
            lines += page.paragraph(remark, indent=21, lines=2, style=FAINT)
    return lines


def _reading_row(values: tuple[str, ...], page: Page, style: str) -> Text:
    cells = [
        Cell(text=value, width=width, right=place > 0, style=style)
        for place, (value, width) in enumerate(zip(values, READING_WIDTHS, strict=True))
    ]
    return page.row(cells, gap=1)


def _remark(reading: ReadingLine, zone_name: str) -> str:
    words = [reading.word] if reading.word else []
    if reading.reason:
        words.append(reading.reason)
    late = reading.entered_at and (reading.entered_at - reading.taken_at).total_seconds() > 86_400
    if late and reading.entered_at:
        words.append(f"entered {instant_words(reading.entered_at, zone_name)}")
    return ": ".join(words[:2]) + ("; " + words[2] if len(words) > 2 else "")


def _events(view: SampleView, page: Page) -> list[Text]:
    if not view.events:
        return []
    lines = page.heading("Events")
    for event in sorted(view.events, key=lambda item: item.at)[-MOST_EVENTS:]:
        words = event.words + (f" ({event.person})" if event.person else "")
        rows = wrap(page.say(words), page.width - 21, lines=2, ellipsis=page.glyphs.ellipsis)
        for place, row in enumerate(rows):
            at = instant_words(event.at, view.zone_name) if place == 0 else ""
            lines.append(
                page.row([Cell(text=at, width=17, style=FAINT), Cell(text=row, width=page.width - 21)])
            )
    return lines
