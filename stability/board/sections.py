"""The other parts of the board: work, alerts, samples, stores, statements, blind periods."""

from __future__ import annotations

from collections.abc import Sequence

from rich.cells import cell_len
from rich.text import Text

from stability.board.gauge import life_gauge
from stability.board.page import BOLD, FAINT, STYLE_OF, Cell, Page
from stability.board.text import joined
from stability.board.view import (
    AlertLine,
    BlindPeriod,
    SampleLine,
    Severity,
    StatementLine,
    StoreLine,
    WorkLine,
)
from stability.board.words import (
    date_words,
    duration_words,
    instant_words,
    percent_words,
    ratio_words,
    temperature_words,
    viscosity_words,
)

__all__ = [
    "alerts_section",
    "blind_section",
    "samples_section",
    "statements_section",
    "stores_section",
    "work_section",
]

URGENCY = ("late", "take out today", "due today", "put back today", "due tomorrow")
SEVERITY_WORD = {Severity.NOW: "now", Severity.SOON: "soon", Severity.NOTE: "note"}
MOST_JOBS, MOST_ALERTS, MOST_SAMPLES, MOST_STORES, MOST_STATEMENTS, MOST_BLIND = 15, 15, 30, 15, 10, 5


def urgency(line: WorkLine) -> tuple[int, float]:
    """Sort key, most pressing first."""
    place = next((i for i, state in enumerate(URGENCY) if line.state.startswith(state)), len(URGENCY))
    return (place, line.due_at.timestamp())


def work_section(work: Sequence[WorkLine], page: Page, zone_name: str) -> list[Text]:
    """Draw today's work, late jobs first, with the tins to fetch."""
    minutes = sum(line.minutes or 0 for line in work)
    summary = f"{len(work)} jobs, {sum(len(line.samples) for line in work)} tins" if work else "nothing due"
    if minutes:
        summary += f", about {minutes:.0f} min"
    lines = page.heading("Today's work", summary)
    jobs = sorted(work, key=urgency)[:MOST_JOBS]
    state = max([cell_len(page.say(job.state)) for job in jobs], default=4)
    state, store = min(state, 16), min(max([cell_len(page.say(job.store)) for job in jobs], default=4), 14)
    room, indent = page.width - state - store - 35, state + 4
    for job in jobs:
        cells = [
            Cell(text=job.state, width=state, style=STYLE_OF.get(job.state, "")),
            Cell(text=job.store, width=store, style=BOLD),
            Cell(text=", ".join(job.checks), width=room),
            Cell(text=instant_words(job.due_at, zone_name), width=17, right=True),
            Cell(text=_minutes(job.minutes), width=8, right=True),
        ]
        lines.append(page.row(cells))
        tins = joined(
            [page.say(name) for name in job.samples],
            page.width - indent,
            lines=2,
            ellipsis=page.glyphs.ellipsis,
        )
        lines += [
            page.row([Cell(text=row, width=page.width - indent, style=FAINT)], indent=indent) for row in tins
        ]
    return lines + page.more(len(work) - MOST_JOBS)


def _minutes(minutes: float | None) -> str:
    return "" if minutes is None else f"{minutes:.0f} min"


def alerts_section(alerts: Sequence[AlertLine], page: Page, zone_name: str) -> list[Text]:
    """Draw the open alerts, worst first, then oldest first."""
    unseen = sum(line.acknowledged_by is None for line in alerts)
    lines = page.heading(
        "Open alerts", f"{len(alerts)} open, {unseen} not acknowledged" if alerts else "none"
    )
    ranked = sorted(alerts, key=lambda line: (-line.severity, line.opened_at, line.id))
    number = max([len(str(line.id)) for line in ranked], default=1) + 1
    for alert in ranked[:MOST_ALERTS]:
        lines += alert_lines(alert, page, zone_name=zone_name, number=number)
    return lines + page.more(len(alerts) - MOST_ALERTS)


def alert_lines(alert: AlertLine, page: Page, *, zone_name: str, number: int) -> list[Text]:
    """Draw one alert: what and how urgent, about what, and why in at most three lines."""
    word = SEVERITY_WORD[alert.severity]
    opened = f"since {date_words_of(alert, zone_name)}"
    room = page.width - 2 - number - 4 - len(opened) - 6
    indent = 2 + number + 2 + 4 + 2
    cells = [
        Cell(text=f"#{alert.id}", width=number, style=FAINT, right=True),
        Cell(text=word, width=4, style=STYLE_OF.get(word, FAINT)),
        Cell(text=alert.words, width=room, style=BOLD),
        Cell(text=opened, width=len(opened), style=FAINT, right=True),
    ]
    rows = [page.row(cells)]
    rows += page.paragraph(alert.subject_words, indent=indent, lines=2)
    dot = page.glyphs.dot
    seen = f"seen by {alert.acknowledged_by}" if alert.acknowledged_by else "not acknowledged"
    date = f"limit {date_words(alert.limit_date)}" if alert.limit_date else ""
    rows += page.paragraph(
        dot.join(part for part in (date, seen) if part), indent=indent, style=FAINT, lines=1
    )
    if alert.says:
        rows += page.paragraph(alert.says, indent=indent, lines=3)
    return rows


def date_words_of(alert: AlertLine, zone_name: str) -> str:
    """Write the local date on which an alert was opened."""
    return instant_words(alert.opened_at, zone_name).rsplit(" ", 1)[0]


def samples_section(samples: Sequence[SampleLine], page: Page, total: int | None = None) -> list[Text]:
    """Draw one line per tin, the most used first; ended ones last."""
    count = max(total or 0, len(samples))
    if not count:
        return []
    lines = page.heading("Samples", f"{count} tins, most used first")
    ranked = sorted(samples, key=lambda line: (line.ended, -(line.life_used or 0.0), line.sample))
    shown = ranked[:MOST_SAMPLES]
    bar = 8 if page.width < 100 else 14
    code = min(max([cell_len(page.say(line.sample)) for line in shown], default=6), 16)
    store = min(max([cell_len(page.say(line.store)) for line in shown], default=5), 12)
    state = page.width - 2 - bar - code - store - 6 - 5 - 5 - 9 - 7 - 5 - 9
    widths = (bar, 6, code, store, 5, 5, 9, 7, 5, max(state, 4))
    titles = ("life", "used", "sample", "store", "°C", "day", "mPa·s", "ratio", "grade", "state")
    lines.append(_sample_row(titles, widths, page, FAINT))
    for sample in shown:
        values = (
            life_gauge(sample.life_used, None, cells=bar, glyphs=page.glyphs),
            percent_words(sample.life_used),
            sample.sample,
            sample.store,
            f"{sample.temperature_c:.1f}",
            f"{sample.age_days:.0f}",
            viscosity_words(sample.last_viscosity_mpas),
            ratio_words(sample.ratio),
            "" if sample.gel_grade is None else str(sample.gel_grade),
            sample.state,
        )
        lines.append(_sample_row(values, widths, page, FAINT if sample.ended else ""))
    return lines + page.more(count - len(shown))


def _sample_row(values: Sequence[str], widths: Sequence[int], page: Page, style: str) -> Text:
    numbers = {1, 4, 5, 6, 7, 8}
    cells = [
        Cell(text=value, width=width, style=style, right=place in numbers)
        for place, (value, width) in enumerate(zip(values, widths, strict=True))
    ]
    return page.row(cells, gap=1)


def stores_section(stores: Sequence[StoreLine], page: Page, zone_name: str) -> list[Text]:
    """Draw each store: set point, what it reads now, and what the week cost in days of life."""
    lines = page.heading("Stores", "" if stores else "none")
    room = page.width - 2 - 9 - 9 - 17 - 9 - 12
    name = min(max([len(line.store) for line in stores], default=8), room - 12)
    for store in sorted(stores, key=lambda line: line.temperature_c)[:MOST_STORES]:
        tolerance = "" if store.tolerance_c is None else f" ± {store.tolerance_c:g}"
        seen = instant_words(store.last_at, zone_name) if store.last_at else "no record"
        word, style = page.say(store.word), STYLE_OF.get(store.word, "")
        beside = max(page.width - name - 60, 6)
        fits = cell_len(word) <= beside
        cells = [
            Cell(text=store.store, width=name, style=BOLD),
            Cell(text=f"{store.temperature_c:.1f}{tolerance} °C", width=14, right=True),
            Cell(text=temperature_words(store.last_c), width=8, right=True),
            Cell(text=seen, width=17, style=FAINT),
            Cell(text=f"{store.samples} tins", width=9, right=True),
            Cell(text=word if fits else "", width=beside, style=style),
        ]
        lines.append(page.row(cells))
        if not fits:
            lines += page.paragraph(word, indent=name + 4, style=style, lines=1)
        if store.week_dose_days is not None and abs(store.week_dose_days) >= 0.05:
            cost = f"this week {store.week_dose_days:+.1f} d of life against the set point"
            lines.append(page.row([Cell(text=cost, width=page.width - name - 4)], indent=name + 4))
    return lines + page.more(len(stores) - MOST_STORES)


def statements_section(statements: Sequence[StatementLine], page: Page) -> list[Text]:
    """Draw the statements under watch; nothing when there are none."""
    if not statements:
        return []
    lines = page.heading("Statements", f"{len(statements)} under watch")
    for statement in statements[:MOST_STATEMENTS]:
        cells = [
            Cell(text=statement.number, width=12, style=BOLD),
            Cell(text=statement.state, width=12, style=STYLE_OF.get(statement.state, "")),
        ]
        rows = page.paragraph(statement.words, indent=30, lines=2) or [Text("")]
        head = page.row(cells)
        head.append(" " * (30 - head.cell_len)).append_text(rows[0][30:])
        lines += [head, *rows[1:]]
    return lines + page.more(len(statements) - MOST_STATEMENTS)


def blind_section(periods: Sequence[BlindPeriod], page: Page, zone_name: str) -> list[Text]:
    """Draw when nothing was watched, latest first; nothing when there was no such time."""
    if not periods:
        return []
    lines = page.heading("Blind periods", "nothing was watched")
    for period in sorted(periods, key=lambda item: item.from_at, reverse=True)[:MOST_BLIND]:
        span = f"{instant_words(period.from_at, zone_name)} – {instant_words(period.to_at, zone_name)}"
        hours = (period.to_at - period.from_at).total_seconds() / 3600
        cells = [Cell(text=span, width=40), Cell(text=duration_words(hours), width=10, right=True)]
        lines.append(page.row(cells))
    return lines + page.more(len(periods) - MOST_BLIND)
