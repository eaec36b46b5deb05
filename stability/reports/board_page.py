"""The board for a wall screen: one page that is read across a room and says itself how old it is.

It has no script, so it cannot count: every time in it is a time of day, and stays true when nobody writes
it any more. Sizes are pixels at 1 920 × 1 080.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from stability.board.view import AlertLine, BlendLine, BlendWord, BoardView, Severity, StoreLine, WorkLine
from stability.board.words import (
    date_range_words,
    date_words,
    days_words,
    instant_words,
    percent_words,
    temperature_words,
)
from stability.reports.pages import page

__all__ = ["board_page", "old_after"]

MOST_ALERTS, MOST_BLENDS, MOST_JOBS, MOST_STORES = 5, 6, 4, 5
SEVERITY = {Severity.NOW: "now", Severity.SOON: "soon", Severity.NOTE: "note"}
LOOKS_MISSED = 3
LEAST_PATIENCE = timedelta(minutes=2)
SLOWEST_REFRESH_S, QUICKEST_REFRESH_S = 300, 10


def old_after(as_of: datetime, every_s: float) -> datetime:
    """Return from when on a board that has not been written anew is old, to the whole minute."""
    until = as_of + max(timedelta(seconds=LOOKS_MISSED * every_s), LEAST_PATIENCE)
    return until.replace(second=0, microsecond=0) + timedelta(minutes=1)


def board_page(view: BoardView, *, every_s: float | None = None) -> str:
    """Return the board as a page; `every_s` is how often it is written anew, None: once."""
    refresh_s = None if every_s is None else min(max(round(every_s), QUICKEST_REFRESH_S), SLOWEST_REFRESH_S)
    return page(
        "board.html",
        title=view.title,
        at=instant_words(view.as_of, view.zone_name),
        zone=view.zone_name,
        refresh_s=refresh_s,
        old_from=None if every_s is None else instant_words(old_after(view.as_of, every_s), view.zone_name),
        figures=_figures(view),
        alerts=[_alert(line) for line in _worst_alerts(view.alerts)[:MOST_ALERTS]],
        more_alerts=max(len(view.alerts) - MOST_ALERTS, 0),
        blends=[_blend(line) for line in view.blends[:MOST_BLENDS]],
        more_blends=max(len(view.blends) - MOST_BLENDS, 0),
        jobs=[_job(line, view.zone_name) for line in view.work[:MOST_JOBS]],
        more_jobs=max(len(view.work) - MOST_JOBS, 0),
        stores=[_store(line) for line in _worst_stores(view.stores)[:MOST_STORES]],
        more_stores=max(len(view.stores) - MOST_STORES, 0),
        blind=[_blind(gap.from_at, gap.to_at, view.zone_name) for gap in view.blind_periods[:1]],
        statements=[f"{line.number}: {line.words}, {line.state}" for line in view.statements[:2]],
        cautions=list(view.cautions),
        invented=view.invented,
    )


def _figures(view: BoardView) -> list[dict[str, str]]:
    """Return the numbers that are read from the door."""
    tins = sum(len(line.samples) for line in view.work)
    urgent = sum(line.severity is Severity.NOW for line in view.alerts)
    words = [line.word for line in view.blends]
    lost, creeping = words.count(BlendWord.LOST), words.count(BlendWord.CREEPING)
    out = sum(not line.word.startswith(("in range", "no log")) for line in view.stores)
    late = sum(line.state == "late" for line in view.work)
    return [
        _figure(len(view.alerts), "open alerts", f"{urgent} of them now", "now" if urgent else "steady"),
        _figure(len(view.work), "jobs today", f"{tins} tins, {late} jobs late", "now" if late else "steady"),
        _figure(lost, "blends lost", f"{creeping} creeping of {len(words)}", "lost" if lost else "steady"),
        _figure(out, "stores out of range", f"of {len(view.stores)}", "now" if out else "steady"),
    ]


def _figure(number: int, name: str, words: str, state: str) -> dict[str, str]:
    return {"number": str(number), "name": name, "words": words, "state": state}


def _worst_alerts(alerts: Sequence[AlertLine]) -> list[AlertLine]:
    return sorted(alerts, key=lambda line: (-line.severity, line.opened_at, line.id))


def _alert(line: AlertLine) -> dict[str, str]:
    limit = f"limit {date_words(line.limit_date)}" if line.limit_date else ""
    who = f"seen by {line.acknowledged_by}" if line.acknowledged_by else "not acknowledged"
    return {
        "severity": SEVERITY[line.severity],
        "words": line.words,
        "subject": line.subject_words,
        "rest": ", ".join(words for words in (limit, who) if words),
    }


def _blend(line: BlendLine) -> dict[str, Any]:
    used = 0.0 if line.life_used is None or not math.isfinite(line.life_used) else line.life_used
    return {
        "word": line.word.value,
        "words": ", ".join(words for words in (line.blend_words, *line.product_lots, line.pack) if words),
        "used": percent_words(line.life_used),
        "bar": f"{100 * min(max(used, 0.0), 1.0):.0f}",
        "rest": "; ".join(words for words in (_limit(line), *line.notes) if words),
    }


def _limit(line: BlendLine) -> str:
    if line.limit_date is not None:
        spread = date_range_words(line.limit_date_early, line.limit_date_late)
        return f"limit {date_words(line.limit_date)}" + (f" ({spread})" if spread else "")
    if line.lower95_days is not None:
        return f"at least {days_words(math.floor(line.lower95_days))}"
    return line.says or ""


def _job(line: WorkLine, zone_name: str) -> dict[str, str]:
    return {
        "state": line.state,
        "pressing": "now" if line.state == "late" else "soon",
        "words": f"{line.store}: {', '.join(line.checks)}",
        "rest": f"{len(line.samples)} tins, due {instant_words(line.due_at, zone_name)}",
    }


def _worst_stores(stores: Sequence[StoreLine]) -> list[StoreLine]:
    return sorted(stores, key=lambda line: (line.word.startswith("in range"), line.samples == 0))


def _store(line: StoreLine) -> dict[str, str]:
    spread = f" ± {line.tolerance_c:g}" if line.tolerance_c is not None else ""
    state = (
        "steady" if line.word.startswith("in range") else "open" if line.word.startswith("no log") else "now"
    )
    return {
        "store": line.store,
        "last": temperature_words(line.last_c),
        "word": line.word,
        "state": state,
        "rest": f"set {line.temperature_c:g}{spread} °C, {line.samples} tins",
    }


def _blind(since: datetime, until: datetime, zone_name: str) -> str:
    return f"Nobody looked from {instant_words(since, zone_name)} to {instant_words(until, zone_name)}."
