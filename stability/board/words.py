"""Dates, days, shares and viscosities in words for people: three significant digits, no exponents.

Instants are aware and shown in the site's own zone; days are days, viscosities mPa·s.
"""

from __future__ import annotations

import math
from datetime import date, datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

from stability.units import DAYS_PER_MONTH, significant

__all__ = [
    "MONTHS",
    "at_least_words",
    "date_range_words",
    "date_words",
    "days_words",
    "duration_words",
    "instant_words",
    "number_words",
    "percent_words",
    "ratio_words",
    "temperature_words",
    "viscosity_words",
]

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
DAYS_PER_YEAR = 12 * DAYS_PER_MONTH


@lru_cache(maxsize=8)
def _zone(name: str) -> ZoneInfo:
    return ZoneInfo(name)


def date_words(day: date) -> str:
    """Write a date as people do.

    >>> date_words(date(2026, 3, 4))
    '4 Mar 2026'
    """
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def date_range_words(early: date | None, late: date | None) -> str:
    """Write the range of a date; an open end is said in words.

    >>> date_range_words(date(2025, 12, 3), date(2026, 5, 20))
    '3 Dec 2025 – 20 May 2026'
    """
    if early and late:
        return f"{date_words(early)} – {date_words(late)}"
    if early:
        return f"not before {date_words(early)}"
    return f"not after {date_words(late)}" if late else ""


def instant_words(at: datetime, zone_name: str) -> str:
    """Write an instant in the site's own time, to the minute."""
    local = at.astimezone(_zone(zone_name))
    return f"{date_words(local.date())} {local:%H:%M}"


def number_words(value: float) -> str:
    """Write three significant digits; thousands in groups from five digits on.

    >>> number_words(398.2), number_words(4332.0), number_words(1234567.0)
    ('398', '4330', '1 230 000')
    """
    text = significant(value)
    whole, point, part = text.partition(".")
    if len(whole.lstrip("-")) < 5:
        return text
    return f"{int(whole):,}".replace(",", " ") + point + part


def days_words(days: float | None) -> str:
    """Write days as whole days, and as years where days say nothing any more.

    >>> days_words(365.24), days_words(43320.0), days_words(0.5), days_words(None)
    ('365 d', '119 years', '0.5 d', '–')
    """
    if days is None or not math.isfinite(days):
        return "–"
    if abs(days) >= 10_000:
        years = days / DAYS_PER_YEAR
        return "over 1000 years" if years > 1000 else f"{significant(years)} years"
    if abs(days) < 10:
        return f"{days:.1f} d"
    return f"{days:.0f} d" if abs(days) < 1000 else f"{number_words(round(days))} d"


def at_least_words(days: float | None) -> str:
    """Write a lower bound in days; what is claimed is never rounded up.

    >>> at_least_words(301.9), at_least_words(1368.0), at_least_words(None)
    ('301 d', '1360 d', '–')
    """
    if days is None or not math.isfinite(days):
        return "–"
    if days < 10:
        return days_words(math.floor(10 * days) / 10)
    step = 10 ** max(math.floor(math.log10(days)) - 2, 0)
    return days_words(float(math.floor(days / step) * step))


def viscosity_words(viscosity_mpas: float | None) -> str:
    """Write a viscosity without its unit."""
    return "–" if viscosity_mpas is None else number_words(viscosity_mpas)


def percent_words(share: float | None) -> str:
    """Write a share as whole per cent; ends that are not reached are never shown as reached.

    >>> [percent_words(v) for v in (None, 0.0, 0.004, 0.664, 0.997, 1.0, 1.38, 250.0)]
    ['–', '0 %', '<1 %', '66 %', '99 %', '100 %', '138 %', '>999 %']
    """
    if share is None or not math.isfinite(share):
        return "–"
    percent = 100 * share
    if 0 < percent < 1:
        return "<1 %"
    if percent > 999:
        return ">999 %"
    return f"{math.floor(percent) if 99 < percent < 100 else round(percent)} %"


def ratio_words(ratio: float | None) -> str:
    """Write a ratio to the day-0 value: "×1.43"."""
    return "–" if ratio is None else f"×{number_words(ratio)}"


def temperature_words(temperature_c: float | None) -> str:
    """Write a temperature to a tenth of a degree."""
    return "–" if temperature_c is None else f"{temperature_c:.1f} °C"


def duration_words(hours: float) -> str:
    """Write a stretch of time in the unit that suits it.

    >>> duration_words(0.5), duration_words(61.0), duration_words(400.0)
    ('30 min', '61 h', '17 d')
    """
    if hours < 1:
        return f"{round(60 * hours)} min"
    return f"{round(hours)} h" if hours < 96 else f"{round(hours / 24)} d"
