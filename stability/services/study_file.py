"""A study file: TOML text to what it asks, every fault with its line, key and value.

Temperatures are °C, ages and lives days, viscosities mPa·s.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from stability.services.faults import Faults, nearest_name, typed
from stability.services.instants import in_utc, instant_of, iso

__all__ = ["CHECK_KINDS", "LIMITS", "StudyWanted", "parse_study", "stamped"]

CHECK_KINDS = (
    "viscosity",
    "gel",
    "appearance",
    "cure",
    "mass",
    "density",
    "water",
    "acid",
    "colour",
    "refractive_index",
    "torque",
    "photo",
)
LIMITS = ("viscosity_ratio", "viscosity_max_mpas", "gel_grade", "dry_through_ratio")
_KEYS = ("code", "title", "target_life_days", "storage_c", "owner", "closed_at", "limits", "plan")
_STAMP = "# known since "


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyWanted:
    """What a study file asks; `known_since` is its stamp, if it came from an export."""

    code: str
    title: str
    target_life_days: float
    storage_c: float
    owner: str
    closed_at: datetime | None
    limits: Mapping[str, float]
    plan: frozenset[tuple[str, float, str]]
    source: str = field(compare=False)
    known_since: datetime | None = field(default=None, compare=False)


@dataclass(slots=True)
class _File:
    """The text and where its faults go."""

    name: str
    lines: list[str]
    faults: Faults

    def say(self, key: str, what: str, *, table: str | None = None) -> None:
        line = self._line(key, table)
        place = f" line {line}" if line else ""
        self.faults.add(f"{self.name}{place}, {f'{table}.{key}' if table else key}: {what}")

    def _line(self, key: str, table: str | None) -> int | None:
        """Return the line of a key, or of its table's heading where the key itself is missing."""
        current, heading = None, None
        for number, line in enumerate(self.lines, start=1):
            if found := re.match(r"\s*\[\s*([^\]]+?)\s*\]", line):
                current = found[1].replace('"', "").replace("'", "")
                if current == (table or key):
                    heading = number
            elif current == table and re.match(rf"""\s*["']?{re.escape(key)}["']?\s*[=.]""", line):
                return number
        return heading


def stamped(source: str, known_since: datetime) -> str:
    """Return a study's text with a first line that says since when it is known, as an export writes it."""
    return f"{_STAMP}{iso(known_since)}\n{source}"


def parse_study(text: str, *, name: str, zone: ZoneInfo, faults: Faults) -> StudyWanted | None:
    """Return what a study file asks, or None after its faults were told."""
    known_since, source = _unstamped(text, zone)
    file = _File(name, text.splitlines(), faults)
    if not source.strip():
        faults.add(f"{name}: is empty; expected a study file with code, title, … and limits")
        return None
    try:
        asked = tomllib.loads(source)
    except tomllib.TOMLDecodeError as exc:
        faults.add(
            f"{name}: is not TOML: {exc}; expected key = value lines", hint="text values stand in quotes"
        )
        return None
    before = faults.count
    _tell_unknown(file, asked, _KEYS, None)
    wanted: dict[str, Any] = {
        "code": _text(file, asked, "code", 60),
        "title": _text(file, asked, "title", 300),
        "owner": _text(file, asked, "owner", 200),
        "target_life_days": _number(file, asked, "target_life_days", above=0, below=36_525),
        "storage_c": _number(file, asked, "storage_c", above=-90, below=200),
        "closed_at": _closed_at(file, asked.get("closed_at"), zone),
        "limits": _limits(file, asked.get("limits")),
        "plan": _plan(file, asked.get("plan", {})),
    }
    if faults.count != before:
        return None
    return StudyWanted(source=source, known_since=known_since, **wanted)


def _unstamped(text: str, zone: ZoneInfo) -> tuple[datetime | None, str]:
    if not text.startswith(_STAMP):
        return None, text
    first, _, rest = text.partition("\n")
    try:
        return instant_of(first.removeprefix(_STAMP).strip(), zone), rest
    except ValueError:  # somebody's own comment
        return None, text


def _tell_unknown(file: _File, asked: Mapping[str, Any], known: Sequence[str], table: str | None) -> None:
    for key in asked:
        if key not in known:
            near = nearest_name(key, known)
            offered = f"did you mean {near}?" if near else f"expected one of {', '.join(known)}"
            file.say(key, f"is unknown; {offered}", table=table)


def _text(file: _File, asked: Mapping[str, Any], key: str, longest: int) -> str:
    value = asked.get(key)
    if value is None:
        file.say(key, "is missing; expected a text in quotes")
    elif not isinstance(value, str) or not value.strip():
        file.say(key, f"{_shown(value)} is not a text; expected one in quotes")
    elif len(value) > longest or not value.isprintable():
        file.say(key, f"{_shown(value)} cannot be kept; expected at most {longest} characters that print")
    elif key == "code" and ("/" in value or "\\" in value or value.startswith(".")):
        file.say(key, f"{_shown(value)} cannot name a file; expected no slash and no leading dot")
    return value.strip() if isinstance(value, str) else ""


def _number(
    file: _File, asked: Mapping[str, Any], key: str, *, above: float, below: float, table: str | None = None
) -> float:
    value = asked.get(key)
    expected = f"expected a number above {above:g} and below {below:g}"
    if value is None:
        file.say(key, f"is missing; {expected}", table=table)
    elif isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        file.say(key, f"{_shown(value)} is not a number; {expected}", table=table)
    elif not above < value < below:
        file.say(key, f"{_shown(value)} is out of bounds; {expected}", table=table)
    else:
        return float(value)
    return math.nan


def _closed_at(file: _File, value: Any, zone: ZoneInfo) -> datetime | None:
    if value is None:
        return None
    try:
        if isinstance(value, datetime):
            return in_utc(value, zone)
        if isinstance(value, date):
            return in_utc(datetime.combine(value, time()), zone)
        if isinstance(value, str):
            return instant_of(value, zone)
    except ValueError as exc:
        file.say("closed_at", f"{exc}; expected a time such as 2025-03-04T10:00:00+01:00")
        return None
    file.say("closed_at", f"{_shown(value)} is not a time; expected one such as 2025-03-04T10:00:00+01:00")
    return None


def _limits(file: _File, asked: Any) -> dict[str, float]:
    if not isinstance(asked, dict) or not asked:
        what = "is missing" if asked in (None, {}) else f"{_shown(asked)} is not a table"
        file.say("limits", f"{what}; a study needs at least one of {', '.join(LIMITS)}")
        return {}
    _tell_unknown(file, asked, LIMITS, "limits")
    bounds = {"viscosity_ratio": (1, 1e6), "viscosity_max_mpas": (0, 1e9), "dry_through_ratio": (1, 1000)}
    found = {
        name: _number(file, asked, name, above=low, below=high, table="limits")
        for name, (low, high) in bounds.items()
        if name in asked
    }
    if "gel_grade" in asked:
        grade = asked["gel_grade"]
        if isinstance(grade, bool) or grade not in range(1, 6):
            file.say("gel_grade", f"{_shown(grade)} is no grade; expected 1 to 5", table="limits")
        else:
            found["gel_grade"] = float(grade)
    return found


def _plan(file: _File, asked: Any) -> frozenset[tuple[str, float, str]]:
    if not isinstance(asked, dict):
        file.say("plan", f"{_shown(asked)} is not a table; expected [plan.STORE] with days and checks")
        return frozenset()
    found: set[tuple[str, float, str]] = set()
    for store, planned in asked.items():
        table = f"plan.{store}"
        if not isinstance(planned, dict):
            file.say(table, f"{_shown(planned)} is not a table; expected [{table}] with days and checks")
            continue
        if not store.strip() or len(store) > 200 or not store.isprintable():
            file.say(table, f"{typed(store)} is no name of a store; expected text that prints")
        _tell_unknown(file, planned, ("days", "checks"), table)
        days, kinds = _days(file, planned, table), _kinds(file, planned, table)
        found |= {(store.strip(), day, kind) for day in days for kind in kinds}
    return frozenset(found)


def _days(file: _File, planned: Mapping[str, Any], table: str) -> list[float]:
    asked = planned.get("days")
    expected = "expected ages in days, such as [0, 7, 14, 28]"
    if not isinstance(asked, list) or not asked:
        file.say(
            "days",
            f"{'is missing' if asked is None else f'{_shown(asked)} is no list'}; {expected}",
            table=table,
        )
        return []
    days: list[float] = []
    for day in asked:
        number = isinstance(day, int | float) and not isinstance(day, bool) and math.isfinite(day)
        if not number or not 0 <= day <= 36_525:
            file.say("days", f"{_shown(day)} is no age; {expected}", table=table)
        elif day in days:
            file.say("days", f"{_shown(day)} stands there twice; {expected}", table=table)
        else:
            days.append(float(day))
    return days


def _kinds(file: _File, planned: Mapping[str, Any], table: str) -> list[str]:
    asked = planned.get("checks")
    expected = f"expected a list of {', '.join(CHECK_KINDS)}"
    if not isinstance(asked, list) or not asked:
        what = "is missing" if asked is None else f"{_shown(asked)} is no list"
        file.say("checks", f"{what}; {expected}", table=table)
        return []
    for kind in asked:
        if kind not in CHECK_KINDS:
            near = nearest_name(str(kind), CHECK_KINDS)
            offered = f"did you mean {near}?" if near else expected
            file.say("checks", f"{_shown(kind)} is no kind of check; {offered}", table=table)
    return [kind for kind in asked if kind in CHECK_KINDS]


def _shown(value: Any) -> str:
    return typed(value if isinstance(value, str) else str(value))
