"""The Arrhenius plot: each store's own life against its temperature, and the line through them."""

from __future__ import annotations

import math
from collections.abc import Sequence

from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from stability.board.words import days_words, number_words
from stability.reports.drawing import Sheet, label_numbers, plain_style, printable, svg_text
from stability.reports.marks import BAND, DOTTED, GREY, INK, MOST_STORES, NAME, TODAY, Entries, dots, look
from stability.reports.view import ArrheniusView, StoreLife
from stability.units import kelvin

__all__ = ["arrhenius", "arrhenius_words"]


def arrhenius(view: ArrheniusView) -> str:
    """Return each store's own life against temperature, with the line that the fit draws through them."""
    with plain_style(f"arrhenius {view.study} {view.blend_words}"):
        stores = sorted(view.stores, key=lambda store: (store.temperature_c, store.store))
        entries = _arrhenius_legend(view, stores)
        energy = ""
        if view.energy_kj_mol is not None:
            spread = "" if view.energy_se_kj_mol is None else f" ± {view.energy_se_kj_mol:.1f}"
            energy = f", E {number_words(view.energy_kj_mol)}{spread} kJ/mol".replace(" ", "\u00a0").replace(
                ",\u00a0", ", "
            )
        sheet = Sheet(
            f"{view.blend_words} ({view.study}): life of each store{energy}",
            flags=[],
            x_range=_inverse_range(view),
            legend=[words for _, words in entries],
            top_axis=True,
        )
        _draw_arrhenius(view, sheet, stores)
        sheet.draw_legend(entries)
        return svg_text(sheet.figure, arrhenius_words(view))


def _inverse(temperature_c: float) -> float:
    """Return 1000/T, [1/K]."""
    return 1000.0 / kelvin(temperature_c)


def _temperatures(view: ArrheniusView) -> list[float]:
    return [
        view.storage_c,
        *(store.temperature_c for store in view.stores),
        *(p.temperature_c for p in view.line),
    ]


def _inverse_range(view: ArrheniusView) -> tuple[float, float]:
    found = [_inverse(temperature) for temperature in _temperatures(view)]
    edge = max(0.06 * (max(found) - min(found)), 0.03)
    return min(found) - edge, max(found) + edge


def _arrhenius_legend(view: ArrheniusView, stores: Sequence[StoreLife]) -> Entries:
    entries: Entries = []
    for place, store in enumerate(stores[:MOST_STORES]):
        words = f"{printable(store.store, NAME)}, {store.temperature_c:g} °C: {days_words(store.life_days)}"
        entries.append((dots(*look(place)), words))
    if len(stores) > MOST_STORES:
        entries.append((dots(".", GREY), f"{len(stores) - MOST_STORES} more stores"))
    if view.line:
        entries.append((Line2D([], [], color=INK, linewidth=1.4), "line through all stores"))
    if any(point.lower_days is not None for point in view.line):
        entries.append((Patch(color=BAND), "95 % band"))
    words = f"storage at {view.storage_c:g} °C"
    entries.append((Line2D([], [], color=TODAY, linewidth=1.2, linestyle=DOTTED), words))
    return entries


def _draw_arrhenius(view: ArrheniusView, sheet: Sheet, stores: Sequence[StoreLife]) -> None:
    axes = sheet.axes
    axes.set_xlabel("1000 / T, 1/K (colder to the right)")
    axes.set_ylabel(f"days to the limit ({printable(view.limit_words, NAME)})")
    sheet.draw_top_axis([(_inverse(t), f"{t:g}") for t in _round_temperatures(view)], "°C")
    lives = [store.life_days for store in stores if store.life_days > 0]
    lives += [point.life_days for point in view.line if point.life_days > 0]
    ends = [days for store in stores for days in (store.lower_days, store.upper_days) if days]
    lives += [days for days in ends if min(lives, default=1) / 30 < days < 30 * max(lives, default=1)]
    if lives:
        low, high = min(lives), max(lives)
        edge = max((high / low) ** 0.08, 1.15)
        label_numbers(axes, (low / edge, high * edge), logarithmic=True)
    else:
        axes.set_yticks([])
        sheet.say("no store has a life of its own yet")
    band = [p for p in view.line if p.lower_days and p.upper_days]
    axes.fill_between(
        [_inverse(p.temperature_c) for p in band],
        [p.lower_days or 0.0 for p in band],
        [p.upper_days or 0.0 for p in band],
        color=BAND,
        linewidth=0,
        zorder=1,
    )
    line = sorted(view.line, key=lambda p: p.temperature_c)
    axes.plot([_inverse(p.temperature_c) for p in line], [p.life_days for p in line], color=INK, zorder=3)
    axes.axvline(_inverse(view.storage_c), color=TODAY, linewidth=1.2, linestyle=DOTTED, zorder=2)
    for place, store in enumerate(stores):
        _draw_store(store, sheet, place)
    sheet.notes(invented=view.invented)


def _draw_store(store: StoreLife, sheet: Sheet, place: int) -> None:
    marker, colour = look(place) if place < MOST_STORES else (".", GREY)
    low, high = sheet.axes.get_ylim()
    x = _inverse(store.temperature_c)
    lower, upper = store.lower_days or low, store.upper_days or high
    sheet.axes.plot([x, x], [max(lower, low), min(upper, high)], color=colour, linewidth=1.3, zorder=3)
    for end, days, sign in (("lower", store.lower_days, "v"), ("upper", store.upper_days, "^")):
        is_open = days is None or not low <= days <= high
        at = days if days is not None and not is_open else low if end == "lower" else high
        sheet.axes.plot(
            [x], [at], marker=sign if is_open else "_", markersize=7, color=colour, clip_on=False, zorder=3
        )
    sheet.axes.plot(
        [x], [store.life_days], marker=marker, markersize=6.5, color=colour, markeredgecolor="white", zorder=4
    )


def _round_temperatures(view: ArrheniusView) -> list[float]:
    found = _temperatures(view)
    low, high = min(found), max(found)
    step = next((step for step in (1, 2, 5, 10, 20, 50) if (high - low) / step <= 8), 100)
    first = math.ceil((low - step) / step)
    inside = _inverse_range(view)
    steps = range(first, math.ceil(high / step) + 2)
    return [n * step for n in steps if n * step > -273 and inside[0] <= _inverse(n * step) <= inside[1]]


def arrhenius_words(view: ArrheniusView) -> str:
    """Return the plot in words, for who cannot see it."""
    lives = ", ".join(f"{store.store} {days_words(store.life_days)}" for store in view.stores[:MOST_STORES])
    energy = ""
    if view.energy_kj_mol is not None:
        energy = f"; activation energy {number_words(view.energy_kj_mol)} kJ/mol"
    return f"Arrhenius plot of {view.blend_words}: life by store: {lives or 'none yet'}{energy}"
