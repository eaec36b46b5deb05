"""Numbers and dates as laboratories write them: what cells prove, and how each reads once that is settled.

A cell such as 1,234 or 03/04/2025 proves nothing: it is read only after somebody said how.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from enum import StrEnum

__all__ = ["Dates", "DecimalMark", "Evidence", "evidence", "parse_clock", "parse_date", "parse_number"]


class DecimalMark(StrEnum):
    """What stands before the decimals; the other one may stand between thousands."""

    COMMA = "comma"
    POINT = "point"


class Dates(StrEnum):
    """The order of day and month where both are numbers."""

    DAY_FIRST = "day first"
    MONTH_FIRST = "month first"


@dataclass(frozen=True, slots=True)
class Evidence:
    """What some cells prove of two ways to read them: a cell that only one way reads proves that way.

    `open` is a cell that both ways read, differently.
    """

    first: str | None = None
    second: str | None = None
    open: str | None = None

    @property
    def contradicts_itself(self) -> bool:
        """Whether both ways are proven."""
        return self.first is not None and self.second is not None


def evidence(
    cells: Iterable[str], first: Callable[[str], object], second: Callable[[str], object]
) -> Evidence:
    """Return the first cells that prove one way of reading, the other, and neither."""
    proof: list[str | None] = [None, None, None]
    for cell in cells:
        one, other = first(cell), second(cell)
        if one is None and other is None:
            continue
        if one == other:
            continue
        place = 2 if one is not None and other is not None else 0 if other is None else 1
        proof[place] = proof[place] or cell
    return Evidence(*proof)


_MOST_DIGITS = 12
_SPACES = " \u00a0\u202f'’"
_NUMBER = re.compile(r"([+-]?)([\d.," + _SPACES + r"]*\d)(?:[eE]([+-]?\d{1,3}))?", re.ASCII)


def parse_number(text: str, mark: DecimalMark) -> Decimal | None:
    """Return the number that a text is with this decimal mark; None where it is none.

    Thousands may be in groups of three, by blanks, apostrophes or the other mark.

    >>> parse_number("1.234,5", DecimalMark.COMMA), parse_number("1.234,5", DecimalMark.POINT)
    (Decimal('1234.5'), None)
    """
    found = _NUMBER.fullmatch(text.strip().replace("\u2212", "-"))
    if found is None or len(text) > 60:
        return None
    sign, digits, power = found.groups()
    point = "," if mark is DecimalMark.COMMA else "."
    whole, _, decimals = digits.partition(point)
    if (decimals or digits.endswith(point)) and not decimals.isdigit():
        return None
    plain = _ungrouped(whole, "." if mark is DecimalMark.COMMA else ",")
    if plain is None:
        return None
    number = Decimal(f"{sign}{plain or '0'}.{decimals or '0'}e{power or '0'}")
    return number if not number or abs(number.adjusted()) <= _MOST_DIGITS else None


def _ungrouped(whole: str, other_mark: str) -> str | None:
    """Return the digits of a whole part; None where its groups are not thousands."""
    if whole.isdigit() or not whole:
        return whole
    marks = {character for character in whole if not character.isdigit()}
    if len(marks) != 1 or not marks <= {*_SPACES, other_mark}:
        return None
    lead, *groups = whole.split(marks.pop())
    if not 1 <= len(lead) <= 3 or lead.startswith("0") or any(len(group) != 3 for group in groups):
        return None
    return lead + "".join(groups)


_MONTHS: dict[str, int] = {
    name: number
    for number, names in enumerate(
        (
            ("jan", "januar", "january", "janvier", "janv", "janner"),
            ("feb", "februar", "february", "fevrier", "fev", "fevr"),
            ("mar", "marz", "march", "mars", "mrz", "maerz"),
            ("apr", "april", "avril", "avr"),
            ("may", "mai"),
            ("jun", "juni", "june", "juin"),
            ("jul", "juli", "july", "juillet", "juil"),
            ("aug", "august", "aout"),
            ("sep", "sept", "september", "septembre"),
            ("oct", "okt", "october", "oktober", "octobre"),
            ("nov", "november", "novembre"),
            ("dec", "dez", "december", "dezember", "decembre"),
        ),
        start=1,
    )
    for name in names
}
_CLOCK = re.compile(
    r"(\d{1,2})(?::(\d{2})(?::(\d{2})(?:\.\d+)?)?|\s?h\s?(\d{2})?)?\s*([ap])?\.?(?:m\.?)?(?:\s*uhr)?",
    re.ASCII | re.IGNORECASE,
)
_DATE_AND_CLOCK = re.compile(
    r"(.*?\d)(?:\s*,?\s+|T)(\d{1,2}\s?(?:[:h].*|[ap]\.?m\.?|uhr))", re.ASCII | re.IGNORECASE
)
_ISO = re.compile(r"\d{4}-\d{2}-\d{2}([T ].*)?", re.ASCII)
_NUMERIC = re.compile(r"(\d{1,4})([./-])(\d{1,2})\2(\d{2}|\d{4})", re.ASCII)
_DAY_MONTH = re.compile(r"(\d{1,2})\.?[\s.-]*([^\W\d]+)\.?[\s.,-]*(\d{4}|\d{2})")
_MONTH_DAY = re.compile(r"([^\W\d]+)\.?\s+(\d{1,2}),?\s+(\d{4})")


def parse_clock(text: str) -> time | None:
    """Return a time of the day such as 10:00, 10h30, 10 Uhr or 2:15 pm; None where it is none."""
    found = _CLOCK.fullmatch(text.strip())
    if found is None or (not any(found.groups()[1:]) and not re.search(r"[h:]|uhr", text, re.IGNORECASE)):
        return None
    hour, minute = int(found[1]), int(found[2] or found[4] or 0)
    if found[5]:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if found[5].casefold() == "p" else 0)
    try:
        return time(hour, minute, int(found[3] or 0))
    except ValueError:
        return None


def parse_date(text: str, order: Dates) -> date | datetime | None:
    """Return the date, or date and time, that a text is; None where it is none.

    Day and month as numbers are read in the order given, except between points, where the day always comes
    first, and after a year of four digits.

    >>> parse_date("4. März 2025", Dates.MONTH_FIRST), parse_date("03/25/2025", Dates.DAY_FIRST)
    (datetime.date(2025, 3, 4), None)
    """
    plain = text.strip()
    if _ISO.fullmatch(plain):
        return _iso(plain)
    split = _DATE_AND_CLOCK.fullmatch(plain)
    if split is None:
        return _day(plain, order)
    day, clock = _day(split[1], order), parse_clock(split[2])
    return None if day is None or clock is None else datetime.combine(day, clock)


def _iso(text: str) -> date | datetime | None:
    try:
        return date.fromisoformat(text) if len(text) == len("2025-03-04") else datetime.fromisoformat(text)
    except ValueError:
        return None


def _day(text: str, order: Dates) -> date | None:
    if found := _NUMERIC.fullmatch(text):
        return _numeric_day(found, order)
    if found := _DAY_MONTH.fullmatch(text):
        return _made(found[3], _MONTHS.get(_fold(found[2])), found[1])
    if found := _MONTH_DAY.fullmatch(text):
        return _made(found[3], _MONTHS.get(_fold(found[1])), found[2])
    return None


def _numeric_day(found: re.Match[str], order: Dates) -> date | None:
    one, sign, two, three = found.groups()
    if len(one) == 4:
        return _made(one, int(two), three) if len(three) == 2 else None
    if len(one) > 2 or (sign == "-" and len(three) == 2):
        return None  # 25-03-04: nobody can tell the year
    if sign == "." or order is Dates.DAY_FIRST:
        return _made(three, int(two), one)
    return _made(three, int(one), two)


def _made(year: str, month: int | None, day: str) -> date | None:
    if month is None:
        return None
    try:
        return date(int(year) + (2000 if len(year) == 2 else 0), month, int(day))
    except ValueError:
        return None


def _fold(word: str) -> str:
    spread = unicodedata.normalize("NFKD", word.casefold().replace("ß", "ss"))
    return "".join(c for c in spread if not unicodedata.combining(c))
