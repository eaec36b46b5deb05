"""The round sheet on paper: what its template is given, day by day and store by store."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Any

from stability.board.words import date_words, instant_words
from stability.reports.typeset import page_images, typeset, unprintable
from stability.services.round_sheet import RoundSheet, SheetLine

__all__ = ["round_images", "round_pdf", "round_unprintable"]

TEMPLATE = "round_sheet.typ"
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def round_pdf(sheet: RoundSheet) -> bytes:
    """Return the sheet as PDF; the same round gives the same bytes."""
    return typeset(TEMPLATE, _data(sheet), at=sheet.round.as_of)


def round_images(sheet: RoundSheet, *, dots_per_inch: float = 100.0) -> tuple[bytes, ...]:
    """Return its pages as PNG images."""
    return page_images(TEMPLATE, _data(sheet), at=sheet.round.as_of, dots_per_inch=dots_per_inch)


def round_unprintable(sheet: RoundSheet) -> str:
    """Return the characters that the font does not hold and that are printed as one mark."""
    return unprintable(_data(sheet))


def _data(sheet: RoundSheet) -> dict[str, Any]:
    *numbered, standing = sheet.round.cautions
    tins = len({one.line.sample for one in sheet.lines})
    return {
        "title": f"Round sheet, {_day(sheet, 0)}",
        "author": sheet.person,
        "facts": [
            ["for", _span(sheet)],
            ["printed", f"{instant_words(sheet.round.as_of, sheet.zone.key)} {sheet.zone.key}"],
            ["by", sheet.person],
            ["tins", str(tins)],
            ["time", f"about {sheet.round.minutes:.0f} min"],
        ],
        "cautions": numbered,
        "standing": standing,
        "parts": [
            part
            for days in sorted({_days_ahead(sheet, one) for one in sheet.lines})
            for part in _parts(sheet, days)
        ],
        "short": _short(sheet.lines),
    }


def _parts(sheet: RoundSheet, days: int) -> list[dict[str, Any]]:
    """Return the readings of a day, then what is taken out on it for a later one."""
    parts = []
    for take_out in (False, True):
        lines = [
            one for one in sheet.lines if one.line.take_out is take_out and _days_ahead(sheet, one) == days
        ]
        if not lines:
            continue
        minutes = sum(one.line.minutes for one in lines)
        when = {0: "today, ", 1: "tomorrow, "}.get(days, "") + _day(sheet, days)
        stands = " Each stands closed at 23 °C for 24 h before it is read." if take_out else ""
        parts.append(
            {
                "title": f"{'Take out' if take_out else 'Measure'} {when}",
                "says": f"{_tins(len(lines))}, about {minutes:.0f} min.{stands}",
                "act": "take out" if take_out else "measure",
                "stores": [
                    {"title": f"{name}, {temperature_c:g} °C", "rows": [_row(one) for one in same]}
                    for (name, temperature_c), same in groupby(
                        lines, key=lambda one: (one.line.store, one.line.store_temperature_c)
                    )
                ],
            }
        )
    return parts


def _row(one: SheetLine) -> dict[str, Any]:
    line = one.line
    state = "late" if line.state.value == "late" and not line.take_out else ""
    moved = "moved from a closed day" if line.moved else ""
    what = [one.study, f"day {line.age_days:g}", ", ".join(line.checks), state, moved, *one.notes]
    return {
        "code": line.sample,
        "words": line.words,
        "what": " · ".join(words for words in what if words),
        "short": one.volume.short,
        "asks": {name: name in line.checks for name in ("viscosity", "gel", "cure", "appearance")},
    }


def _short(lines: Sequence[SheetLine]) -> list[str]:
    """Return the tins that will not last their plan, each once."""
    found: dict[str, str] = {}
    for one in lines:
        volume = one.volume
        if volume.holds_ml is not None and volume.short_at_days is not None:
            found.setdefault(
                one.line.sample,
                f"{one.line.sample}: about {volume.holds_ml:.0f} mL, too little from day "
                f"{volume.short_at_days:g} on",
            )
    return list(found.values())


def _tins(count: int) -> str:
    return "1 tin" if count == 1 else f"{count} tins"


def _days_ahead(sheet: RoundSheet, one: SheetLine) -> int:
    """Return on which day a line is done, from today; what is late is done today."""
    return max((one.line.due_at.astimezone(sheet.zone).date() - sheet.today).days, 0)


def _day(sheet: RoundSheet, days: int) -> str:
    day = sheet.today.fromordinal(sheet.today.toordinal() + days)
    return f"{WEEKDAYS[day.weekday()]} {date_words(day)}"


def _span(sheet: RoundSheet) -> str:
    days = (sheet.until - sheet.today).days
    return _day(sheet, 0) if days == 0 else f"{_day(sheet, 0)} to {_day(sheet, days)}"
