"""Figures as SVG text: the master curve and the Arrhenius plot.

Stores differ by marker as well as by colour (Okabe and Ito), lines by their dashes: black-and-white
paper is enough. This module is the only door to matplotlib; import it where a figure is drawn.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from stability.board.words import days_words, number_words
from stability.reports.drawing import Flag, Sheet, label_numbers, plain_style, printable, svg_text
from stability.reports.marks import (
    BAND,
    DASHED,
    DOTTED,
    GREY,
    INK,
    LIFE,
    LONG,
    LOWER,
    MIXED,
    MOST_STORES,
    NAME,
    TARGET,
    TODAY,
    Dashes,
    Entries,
    dots,
    look,
)
from stability.reports.rate_plot import arrhenius, arrhenius_words
from stability.reports.view import MasterCurveView, MasterPoint

__all__ = ["arrhenius", "arrhenius_words", "master_curve", "master_curve_words"]

MOST_POINTS = 2000
LOGARITHMIC_FROM = 10.0


def master_curve(view: MasterCurveView) -> str:
    """Return the master curve: every tin at its own heat dose, the law, the limit, and today."""
    with plain_style(f"master {view.study} {view.blend_words}"):
        stores = _stores([(point.store, point.temperature_c) for point in view.points])
        entries = _master_legend(view, stores)
        sheet = Sheet(
            f"{view.blend_words} ({view.study})",
            flags=_flags(view),
            x_range=_dose_range(view),
            legend=[words for _, words in entries],
        )
        _draw_master(view, sheet, stores)
        sheet.draw_flags()
        sheet.draw_legend(entries)
        return svg_text(sheet.figure, master_curve_words(view))


def _flags(view: MasterCurveView) -> list[Flag]:
    found: tuple[tuple[float | None, str, str, Dashes], ...] = (
        (view.today_days, "today, day", TODAY, DOTTED),
        (view.lower95_days, "at least", LOWER, DASHED),
        (view.life_days, "life", LIFE, "solid"),
        (view.target_life_days, "target", TARGET, MIXED),
    )
    flags = []
    for days, words, colour, dashes in found:
        if days is not None and math.isfinite(days) and days >= 0:
            shown = f"{days:.0f}" if words.endswith("day") else days_words(days)
            flags.append(Flag(x=days, words=f"{words} {shown}", colour=colour, dashes=dashes))
    return flags


def _dose_range(view: MasterCurveView) -> tuple[float, float]:
    """Return 0 to what is measured and asked; a life far beyond that only gets an arrow."""
    seen = max([point.dose_days for point in view.points], default=0.0)
    asked = max(seen, view.today_days or 0.0, view.target_life_days or 0.0, 1.0)
    far = [days for days in (view.life_days, view.lower95_days) if days is not None and days <= 2 * asked]
    return 0.0, 1.04 * max(asked, *far, 1.0)


def _stores(found: Sequence[tuple[str, float]]) -> list[str]:
    """Return the stores, coldest first: the order gives marker and colour."""
    temperatures = dict(found)
    return sorted(temperatures, key=lambda store: (temperatures[store], store))


def _master_legend(view: MasterCurveView, stores: Sequence[str]) -> Entries:
    temperatures = {point.store: point.temperature_c for point in view.points}
    entries: Entries = []
    for place, store in enumerate(stores[:MOST_STORES]):
        words = f"{printable(store, NAME)}, {temperatures[store]:g} °C"
        entries.append((dots(*look(place)), words))
    if len(stores) > MOST_STORES:
        entries.append((dots(".", GREY), f"{len(stores) - MOST_STORES} more stores"))
    if any(point.at_least for point in view.points):
        entries.append((dots("^", INK, hollow=True), "gelled or over range: at least this"))
    if any(point.set_aside for point in view.points):
        entries.append((dots("x", GREY), "set aside"))
    if view.curve:
        entries.append((Line2D([], [], color=INK, linewidth=1.4), "law fitted to all tins"))
    if any(point.lower_mpas is not None for point in view.curve):
        entries.append((Patch(color=BAND), "95 % band"))
    if view.limit_mpas is not None:
        words = f"{printable(view.limit_words, NAME)}: {number_words(view.limit_mpas)} mPa·s"
        entries.append((Line2D([], [], color=LIFE, linewidth=1.2, linestyle=LONG), words))
    return entries


def _thinned(points: Sequence[MasterPoint]) -> Sequence[MasterPoint]:
    """Return at most so many points, evenly taken in the order given."""
    step = math.ceil(len(points) / MOST_POINTS)
    return points[::step] if step > 1 else points


def _draw_master(view: MasterCurveView, sheet: Sheet, stores: Sequence[str]) -> None:
    axes = sheet.axes
    axes.set_xlabel(f"age at {view.storage_c:g} °C, days (heat dose)")
    axes.set_ylabel("viscosity, mPa·s")
    shown = [point for point in _thinned(view.points) if point.viscosity_mpas > 0]
    heights = [point.viscosity_mpas for point in shown]
    heights += [view.limit_mpas] if view.limit_mpas else []
    heights += [
        p.viscosity_mpas for p in view.curve if 0 < p.viscosity_mpas < 1.3 * max(heights, default=math.inf)
    ]
    if heights:
        low, high = min(heights), max(heights)
        logarithmic = high / low > LOGARITHMIC_FROM
        edge = (high / low) ** 0.06 if logarithmic else 1.0
        room = 0.0 if logarithmic else 0.08 * (high - low) or 0.1 * high
        label_numbers(axes, (low / edge - room, high * edge + room), logarithmic=logarithmic)
    else:
        axes.set_yticks([])
        sheet.say("no readings yet")
    band = [p for p in view.curve if p.lower_mpas and p.upper_mpas]
    axes.fill_between(
        [p.dose_days for p in band],
        [p.lower_mpas or 0.0 for p in band],
        [p.upper_mpas or 0.0 for p in band],
        color=BAND,
        linewidth=0,
        zorder=1,
    )
    axes.plot([p.dose_days for p in view.curve], [p.viscosity_mpas for p in view.curve], color=INK, zorder=3)
    if view.limit_mpas is not None:
        axes.axhline(view.limit_mpas, color=LIFE, linewidth=1.2, linestyle=LONG, zorder=2)
    _draw_points(shown, sheet, stores)
    sheet.notes(invented=view.invented, drawn=len(shown), of=len(view.points))


def _draw_points(points: Sequence[MasterPoint], sheet: Sheet, stores: Sequence[str]) -> None:
    looks = {store: look(place) for place, store in enumerate(stores[:MOST_STORES])}
    groups: dict[tuple[str, str, str], list[MasterPoint]] = {}
    for point in points:
        marker, colour = looks.get(point.store, (".", GREY))
        if point.set_aside:
            key = ("x", GREY, GREY)
        elif point.at_least:
            key = ("^", colour, "white")
        else:
            key = (marker, colour, colour)
        groups.setdefault(key, []).append(point)
    for (marker, colour, face), group in groups.items():
        sheet.axes.plot(
            [point.dose_days for point in group],
            [point.viscosity_mpas for point in group],
            linestyle="",
            marker=marker,
            markersize=5.0,
            color=colour,
            markerfacecolor=face,
            markeredgewidth=1.0 if marker in "^x" else 0.4,
            markeredgecolor=colour if marker in "^x." else "white",
            zorder=4,
        )


def master_curve_words(view: MasterCurveView) -> str:
    """Return the master curve in words, for who cannot see it."""
    stores = len({point.store for point in view.points})
    words = [f"Master curve of {view.blend_words}: {len(view.points)} readings from {stores} stores"]
    words.append(f"viscosity against age at {view.storage_c:g} °C")
    if view.life_days is not None:
        words.append(f"life {days_words(view.life_days)}")
    if view.lower95_days is not None:
        words.append(f"at least {days_words(view.lower95_days)}")
    if view.today_days is not None:
        words.append(f"today is day {view.today_days:.0f}")
    return ", ".join(words)
