"""What the other commands print: alerts, the round sheet, forecasts, the comparison of thinners.

All take a width in columns and return a renderable of plain lines, as the board does.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from rich.cells import cell_len
from rich.console import Group
from rich.text import Text

from stability.board.page import BOLD, FAINT, STYLE_OF, Cell, Page
from stability.board.sections import SEVERITY_WORD, alert_lines
from stability.board.text import fit
from stability.board.view import AlertLine, CompareLine, CompareView, WorkLine
from stability.board.words import at_least_words, date_words, days_words, instant_words, number_words

__all__ = ["alerts_table", "compare_table", "forecast_table", "round_sheet"]

NARROWEST = 72
LABEL_BESIDE = 112
COMPARED = (4, 11, 18, 12, 4)
BLANKS = {
    "viscosity": "mPa·s ________  °C _____",
    "gel": "grade ___",
    "appearance": "look __________",
    "cure": "dry through ______ h at ____ % RH",
    "mass": "g ________",
}


def alerts_table(
    lines: Sequence[AlertLine], *, zone_name: str, width: int, ascii_only: bool = False
) -> Group:
    """Return alerts worst first, all of them."""
    page = Page(max(width, NARROWEST), ascii_only)
    if not lines:
        return Group(page.line("No open alerts."))
    ranked = sorted(lines, key=lambda line: (-line.severity, line.opened_at, line.id))
    number = max(len(str(line.id)) for line in ranked) + 1
    counts = [sum(line.severity == level for line in lines) for level in SEVERITY_WORD]
    words = [f"{n} {word}" for n, word in zip(counts, SEVERITY_WORD.values(), strict=True) if n]
    rows = [page.line(f"{len(lines)} alerts: {', '.join(words)}", BOLD)]
    for alert in ranked:
        rows += [Text(""), *alert_lines(alert, page, zone_name=zone_name, number=number)]
    return Group(*rows)


def round_sheet(
    lines: Sequence[WorkLine],
    *,
    zone_name: str,
    width: int,
    ascii_only: bool = False,
    cautions: Sequence[str] = (),
    notes: Mapping[tuple[str, str], str] | None = None,
) -> Group:
    """Return the round as a sheet to print and write on, jobs and tins in the order given.

    `notes` say of a sample and a job's state how the tin is measured, and what to heed.
    """
    page = Page(max(width, NARROWEST), ascii_only)
    tins = sum(len(line.samples) for line in lines)
    minutes = sum(line.minutes or 0 for line in lines)
    rows = page.paragraph(
        f"Round: {tins} tins, about {minutes:.0f} min" if lines else "Nothing is due.", indent=0
    )
    for caution in cautions:
        rows += page.paragraph(caution, indent=0, style=FAINT)
    for line in lines:
        rows += [Text(""), *_job(line, page, zone_name, notes or {})]
    return Group(*rows)


def _job(line: WorkLine, page: Page, zone_name: str, notes: Mapping[tuple[str, str], str]) -> list[Text]:
    due = instant_words(line.due_at, zone_name)
    room = page.width - cell_len(line.state) - 21
    title = fit(
        [(page.say(line.store), True), (", ", False), (page.say(", ".join(line.checks)), True)],
        room,
        ellipsis=page.glyphs.ellipsis,
    )
    head = [
        Cell(text=title, width=room, style=BOLD),
        Cell(text=line.state, width=cell_len(line.state), style=STYLE_OF.get(line.state, "")),
        Cell(text=due, width=17, right=True),
    ]
    blanks = "  ".join(BLANKS.get(check, f"{check} ________") for check in line.checks)
    code = min(max([cell_len(page.say(name)) for name in line.samples], default=6), 30)
    rows = [page.row(head, indent=0)]
    for sample in line.samples:
        fields = page.paragraph(blanks, indent=code + 8)
        first = page.row([Cell(text="[ ]", width=3), Cell(text=sample, width=code)], gap=1)
        first.append(" " * (code + 8 - first.cell_len)).append_text(fields[0][code + 8 :])
        rows += [first, *fields[1:]]
        if note := notes.get((sample, line.state)):
            rows += page.paragraph(note, indent=code + 8, style=FAINT)
    return rows


def forecast_table(
    rows: Sequence[Mapping[str, Any]], *, width: int, ascii_only: bool = False, evidence: bool = True
) -> Group:
    """Return forecasts in words; `rows` have the keys of `forecast --json`, in the order given."""
    page = Page(max(width, NARROWEST), ascii_only)
    if not rows:
        return Group(page.line("No forecasts: no study has readings yet."))
    lines: list[Text] = []
    for place, row in enumerate(rows):
        lines += [Text("")] * bool(place) + _forecast(row, page)
        if evidence:
            lines += _evidence(row.get("evidence") or [], page)
    return Group(*lines)


def _forecast(row: Mapping[str, Any], page: Page) -> list[Text]:
    study = page.cut(str(row["study"]), 20)
    room = page.width - cell_len(study) - 2
    label = Cell(text=_blend(row, page, room), width=room, style=BOLD)
    lines = [page.row([label, Cell(text=study, width=cell_len(study), style=FAINT)], indent=0)]
    lots = ", ".join([*(row.get("product_lots") or []), *(row.get("thinner_lots") or [])])
    tins = f"{row['tins']} tins, {row['readings']} readings, {row['gelled_tins']} gelled"
    facts = [_life(row), _chance(row), _kinetics(row), tins + (f"; lots {lots}" if lots else "")]
    if row.get("says"):
        facts.insert(1, str(row["says"]))
    if row.get("priors_used"):
        facts.append("leans on prior knowledge of such blends: good for alerts, not for a statement")
    for fact in facts:
        lines += page.paragraph(fact, indent=2) if fact else []
    return lines


def _blend(row: Mapping[str, Any], page: Page, room: int) -> str:
    parts = [(page.say(str(row["product"])), True)]
    if row.get("thinner"):
        level = "" if row.get("level_pct") is None else f" {row['level_pct']:.3g} %"
        parts += [(" + ", False), (page.say(str(row["thinner"])), True), (level, False)]
    else:
        parts.append((", neat", False))
    if row.get("additive"):
        parts += [(" + ", False), (page.say(str(row["additive"])), True)]
    if row.get("pack"):
        parts += [(", ", False), (page.say(str(row["pack"])), True)]
    return fit(parts, room, ellipsis=page.glyphs.ellipsis)


def _life(row: Mapping[str, Any]) -> str:
    at = f"at {row['storage_c']:.1f} °C"
    ratio = row.get("limit_viscosity_ratio")
    gel = row.get("gel_life_days")
    # where only the gel is looked for, the gel is the end of the life
    to_gel = not ratio and not row.get("limit_viscosity_max_mpas")
    goal = f"to ×{ratio:.3g} {at}" if ratio else f"to {'gel' if to_gel else 'the limit'} {at}"
    if row["outcome"] == "too_early":
        return "too early to say"
    lower = row.get("life_days_lower95")
    if row["outcome"] == "limit_reached" and row.get("life_days") is None and lower is None:
        return f"limit reached in a tin {at}; too few readings for a life"
    if row.get("life_days") is None:
        return f"life {goal}: at least {at_least_words(lower)}, no upper end yet"
    reached = "; limit reached in a tin at this temperature" if row["outcome"] == "limit_reached" else ""
    bounds = [f"at least {at_least_words(lower)} (95 %)"] if lower is not None else []
    if row.get("life_days_lower95_next_tin") is not None:
        bounds.append(f"the next tin at least {at_least_words(row['life_days_lower95_next_tin'])}")
    if row.get("life_days_upper95") is not None:
        bounds.append(f"at most {days_words(row['life_days_upper95'])}")
    if gel is not None and not to_gel:
        bounds.append(f"gel at {days_words(gel)}")
    return f"life {goal}: {days_words(row['life_days'])}" + "".join(f", {b}" for b in bounds) + reached


def _chance(row: Mapping[str, Any]) -> str:
    words = []
    if row.get("limit_date"):
        words.append(f"limit about {date_words(date.fromisoformat(row['limit_date']))}")
    chance = row.get("probability_before_target")
    if chance is not None:
        shown = "<0.01" if chance < 0.01 else ">0.99" if chance > 0.99 else f"{chance:.2f}"
        words.append(
            f"chance {shown} that it comes before the target of {days_words(row['target_life_days'])}"
        )
    return "; ".join(words)


def _kinetics(row: Mapping[str, Any]) -> str:
    words = []
    energy, spread = row.get("activation_energy_kj_mol"), row.get("activation_energy_se_kj_mol")
    if energy is not None:
        words.append(
            f"E {number_words(energy)}" + (f" ± {spread:.1f}" if spread is not None else "") + " kJ/mol"
        )
    if row.get("order_m") is not None and row.get("self_acceleration_b") is not None:
        words.append(f"shape m {row['order_m']:.2f}, b {row['self_acceleration_b']:.2f}")
    if row.get("initial_viscosity_mpas") is not None:
        words.append(f"day 0 {number_words(row['initial_viscosity_mpas'])} mPa·s")
    for key, name in (("noise_pct", "noise"), ("tin_spread_pct", "tin to tin")):
        if row.get(key) is not None:
            words.append(f"{name} {row[key]:.1f} %")
    return "; ".join(words)


def _evidence(checks: Sequence[Mapping[str, Any]], page: Page) -> list[Text]:
    lines: list[Text] = []
    for check in checks:
        word = {True: "holds", False: "fails", None: "open"}[check["passed"]]
        name = str(check["name"]).replace("_", " ")
        p = "" if check.get("p") is None else f" (p {check['p']:.2g})"
        style = STYLE_OF["not carried"] if check["passed"] is False else FAINT
        said = page.paragraph(f"{name}{p}: {check.get('says') or ''}", indent=11)
        head = page.row([Cell(text=word, width=7, style=style)], indent=4)
        head.append(" " * (11 - head.cell_len)).append_text(said[0][11:])
        lines += [head, *said[1:]]
    return lines


def compare_table(view: CompareView, *, width: int, ascii_only: bool = False) -> Group:
    """Return the ranking by lower bound, then first choice, fallback and what not to do."""
    page = Page(max(width, NARROWEST), ascii_only)
    lines = page.paragraph(view.title, indent=0, style=BOLD)
    lines += page.paragraph(
        "ranked by the lower bound of the next tin; months as a statement would carry them, else the bound; "
        f"ratio of lives to {view.reference_words}",
        indent=0,
        style=FAINT,
    )
    titles = ("", "", "at least", "ratio (95 %)", "cure", "rung")
    lines += [Text(""), _compare_row(titles, page, style=FAINT)]
    for line in sorted(view.lines, key=lambda line: (line.rank is None, line.rank or 0)):
        lines += _compared(line, page)
    lines.append(Text(""))
    for title, words in (
        ("First choice", view.first_choice),
        ("Fallback", view.fallback),
        ("Do not", view.do_not),
    ):
        said = page.paragraph(words, indent=16) or [Text("")]
        head = page.row([Cell(text=title, width=12, style=BOLD)])
        head.append(" " * (16 - head.cell_len)).append_text(said[0][16:])
        lines += [head, *said[1:]]
    for caution in view.cautions:
        lines += [Text(""), *page.paragraph(caution, indent=0)]
    return Group(*lines)


def _compared(line: CompareLine, page: Page) -> list[Text]:
    rank = "–" if line.rank is None else f"{line.rank}."
    rung = "–" if line.rung is None else str(line.rung)
    values = (_months(line), _ratio(line), line.cure_word, rung)
    if page.width >= LABEL_BESIDE and cell_len(page.say(line.blend_words)) <= _label_room(page):
        rows = [_compare_row((rank, line.blend_words, *values), page, style="")]
    else:
        # on rows of its own: its end tells blends apart by pack and lot
        rows = page.paragraph(line.blend_words, indent=8, style=BOLD, lines=3) or [Text("")]
        head = page.row([Cell(text=rank, width=4, right=True)])
        head.append(" " * (8 - head.cell_len)).append_text(rows[0][8:])
        rows = [head, *rows[1:], _compare_row(("", "", *values), page, style="")]
    beside = "; ".join(part for part in (f"flash point {line.flash_words}", line.remark) if part)
    return rows + page.paragraph(beside, indent=8, style=FAINT)


def _label_room(page: Page) -> int:
    return page.width - 2 - sum(COMPARED) - len(COMPARED) * 2


def _compare_row(values: Sequence[str], page: Page, *, style: str) -> Text:
    widths = (COMPARED[0], _label_room(page), *COMPARED[1:])
    cells = [
        Cell(text=value, width=size, style=style, right=place in {0, 2, 3, 5})
        for place, (value, size) in enumerate(zip(values, widths, strict=True))
    ]
    return page.row(cells)


def _months(line: CompareLine) -> str:
    if line.months is not None:
        return f"{line.months} months" if line.months != 1 else "1 month"
    return at_least_words(line.lower95_days)


def _ratio(line: CompareLine) -> str:
    if line.ratio is None:
        return "–"
    if line.ratio_lower is None or line.ratio_upper is None:
        return f"×{line.ratio:.2f}"
    return f"×{line.ratio:.2f} ({line.ratio_lower:.2f}–{line.ratio_upper:.2f})"
