"""The life gauges: one entry per blend, worst first, with the date of its limit and the range of it."""

from __future__ import annotations

from collections.abc import Sequence

from rich.cells import cell_len
from rich.text import Text

from stability.board.gauge import life_gauge
from stability.board.page import BAR_OF, BOLD, FAINT, STYLE_OF, Cell, Page
from stability.board.text import fit, wrap
from stability.board.view import BlendLine, BlendWord
from stability.board.words import (
    at_least_words,
    date_range_words,
    date_words,
    days_words,
    number_words,
    percent_words,
)

__all__ = ["blend_label", "blend_order", "blends_section", "limit_words"]

ORDER = {word: place for place, word in enumerate(BlendWord)}
MOST_BLENDS = 40
WORD = 9  # "too early"
PERCENT = 6
ONE_ROW = 104
NARROW_BAR, WIDE_BAR = 12, 24


def blend_order(line: BlendLine) -> tuple[float, ...]:
    """Sort key, worst first: the word, then the chance to fail, then the share of life used."""
    chance = line.probability_before_target or 0.0
    return (ORDER[line.word], -len(line.notes), -round(chance, 3), -(line.life_used or 0.0))


def blend_label(line: BlendLine, page: Page, width: int) -> str:
    """Say in so many cells what was mixed and packed; names give way, the level never does."""
    parts = [(page.say(line.thinner), True) if line.thinner else ("neat", False)]
    if line.thinner and line.level_pct is not None:
        parts.append((f" {line.level_pct:.3g} %", False))
    if line.additive:
        parts += [(" + ", False), (page.say(line.additive), True)]
    for name in (line.product, line.pack):
        if name:
            parts += [(", ", False), (page.say(name), True)]
    return fit(parts, width, ellipsis=page.glyphs.ellipsis)


def limit_words(line: BlendLine) -> str:
    """Say when the limit comes, with the range, or why there is no date."""
    if line.outcome == "limit_reached":
        return "limit reached at the storage temperature"
    span = date_range_words(line.limit_date_early, line.limit_date_late)
    if line.limit_date and line.limit_date_early and line.limit_date_late:
        return f"limit {date_words(line.limit_date)} ({span})"
    if line.limit_date:
        return f"limit {date_words(line.limit_date)}" + (f", {span}" if span else "")
    return f"limit {span}, no later end yet" if line.limit_date_early else "no date yet"


def life_words(line: BlendLine) -> str:
    """Say the life and its lower bound in days."""
    if line.life_days is None:
        return f"life at least {at_least_words(line.lower95_days)}" if line.lower95_days else ""
    bound = f", at least {at_least_words(line.lower95_days)}" if line.lower95_days else ""
    return f"life {days_words(line.life_days)}{bound}"


def chance_words(line: BlendLine) -> str:
    """Say how likely the limit comes before the target; 0 and 1 are never claimed."""
    if line.probability_before_target is None:
        return ""
    chance = line.probability_before_target
    shown = "<0.01" if chance < 0.01 else ">0.99" if chance > 0.99 else f"{chance:.2f}"
    target = f"by day {number_words(line.target_life_days)}" if line.target_life_days else "before the target"
    return f"chance {shown} {target}"


def perhaps_used(line: BlendLine) -> float | None:
    """Return the share of life used if the lower bound is the true life."""
    if line.life_used is None or not line.life_days or not line.lower95_days:
        return None
    return line.life_used * line.life_days / line.lower95_days


def lots_words(line: BlendLine) -> str:
    """Name the lot of product and that of thinner; where there are several of a kind, count them."""
    kinds = (line.product_lots, line.thinner_lots)
    return " / ".join(lots[0] if len(lots) == 1 else f"{len(lots)} lots" for lots in kinds if lots)


def blends_section(blends: Sequence[BlendLine], page: Page) -> list[Text]:
    """Draw the gauges; three lines a blend."""
    glyphs = page.glyphs
    legend = (
        f"{glyphs.used} used  {glyphs.perhaps} perhaps used (lower bound)  {glyphs.left} left; worst first"
    )
    lines = page.heading("Life gauges", legend if blends else "no blends yet")
    for blend in sorted(blends, key=blend_order)[:MOST_BLENDS]:
        lines += _beside(blend, page) if page.width >= ONE_ROW else _below(blend, page)
    return lines + page.more(len(blends) - MOST_BLENDS)


def _beside(blend: BlendLine, page: Page) -> list[Text]:
    """Wide pages: the label beside the gauge."""
    lead = WIDE_BAR + PERCENT + WORD + 4
    room = page.width - lead - 4
    label = Cell(text=blend_label(blend, page, room), width=room, style=BOLD)
    first = page.row([*_gauge(blend, page, WIDE_BAR), _word(blend), label])
    return [first, *_facts(blend, page, lead=lead, sign=True)]


def _below(blend: BlendLine, page: Page) -> list[Text]:
    """Narrow pages: the label above, so that it need not be cut, the gauge beside the facts."""
    lead = NARROW_BAR + PERCENT + 2
    room = page.width - WORD - 4
    label = Cell(text=blend_label(blend, page, room), width=room, style=BOLD)
    rows = _facts(blend, page, lead=lead, sign=False)
    gauge = page.row(_gauge(blend, page, NARROW_BAR))
    gauge.append(" " * (lead + 4 - gauge.cell_len))
    gauge.append_text(rows[0])
    return [page.row([_word(blend), label]), gauge, *rows[1:]]


def _gauge(blend: BlendLine, page: Page, bar: int) -> list[Cell]:
    drawn = life_gauge(blend.life_used, perhaps_used(blend), cells=bar, glyphs=page.glyphs)
    return [
        Cell(text=drawn, width=bar, style=BAR_OF[blend.word]),
        Cell(text=percent_words(blend.life_used), width=PERCENT, right=True),
    ]


def _word(blend: BlendLine) -> Cell:
    return Cell(text=blend.word, width=WORD, style=STYLE_OF.get(blend.word, ""))


def _facts(blend: BlendLine, page: Page, *, lead: int, sign: bool) -> list[Text]:
    """Return the lines of words; study and lots stand left of the second (`sign`: of the first)."""
    room = page.width - lead - 4
    rows = [Text(row, style=style) for row, style in _packed(blend, page, room)]
    where = " ".join(part for part in (blend.study, lots_words(blend)) if part)
    signed = 0 if sign else 1
    if len(rows) == signed:
        rows.append(Text(""))
    lines = []
    for place, row in enumerate(rows):
        beside = where if place == signed else ""
        line = page.row([Cell(text=beside, width=lead, style=FAINT)]) if sign or place else Text("")
        if sign or place:
            line.append(" " * (lead + 4 - line.cell_len))
        lines.append(line.append_text(row))
    for line in lines:
        line.no_wrap, line.overflow = True, "crop"
    return lines


def _packed(blend: BlendLine, page: Page, room: int) -> list[tuple[str, str]]:
    """Pack the words into as few rows as hold them whole: the date first, then life and chance."""
    firm, faint = [*blend.notes, limit_words(blend)], [life_words(blend), chance_words(blend)]
    says = blend.says if blend.outcome in {"too_early", "lower_bound_only"} else None
    if blend.outcome == "too_early":
        firm, faint, says = [*blend.notes], [], blend.says or "too early to say"
    rows: list[tuple[str, str]] = []
    for facts, style in ((firm, ""), (faint, FAINT)):
        row = ""
        for fact in (page.say(fact) for fact in facts if fact):
            longer = f"{row}{page.glyphs.dot}{fact}" if row else fact
            if row and cell_len(longer) > room:
                rows.append((row, style))
                longer = fact
            row = longer
        rows += [(part, style) for part in wrap(row, room)]
    return rows + [
        (part, "") for part in wrap(page.say(says or ""), room, lines=3, ellipsis=page.glyphs.ellipsis)
    ]
