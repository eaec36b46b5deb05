"""The words of an alert: subject line, body, and the one line of the text file.

What people typed is shown as they typed it, minus what could steer a terminal, a mail header or a reader's
eye. Times are shown in the zone that is handed in.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from datetime import date, datetime
from zoneinfo import ZoneInfo

from stability.alerts.findings import Finding, Severity

__all__ = ["body", "clean", "day_words", "one_line", "subject_line"]

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
STANDING_LINE = "SDS, local code and licensed practice come first."
_SEVERITY_WORDS = {Severity.NOTE: "note", Severity.WARNING: "warning", Severity.URGENT: "urgent"}
# separators and controls: C0, C1, bidirectional overrides and other format characters, surrogates
_STEERING = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})
_LONGEST_SUBJECT = 150


def clean(text: str) -> str:
    r"""Return text on one line without control, bidirectional and other invisible format characters.

    >>> clean("xyl\x1b[31mene\n\u202eetats")
    'xyl [31mene etats'
    """
    spaced = "".join(" " if unicodedata.category(sign) in _STEERING else sign for sign in text)
    return " ".join(spaced.split())


def day_words(day: date) -> str:
    """Return a date as people read it.

    >>> day_words(date(2026, 3, 4))
    '4 Mar 2026'
    """
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def subject_line(finding: Finding) -> str:
    """Return the subject of a message: severity, kind, study and what it is about."""
    about = finding.subject
    head = f"[{severity_words(finding.severity)}] {finding.kind.value.replace('_', ' ')}"
    where = ": ".join(part for part in (about.study, about.words) if part)
    return clean(f"{head} – {where}" if where else head)[:_LONGEST_SUBJECT]


def body(finding: Finding, *, opened_at: datetime, zone: ZoneInfo) -> str:
    """Return the text of a message: what, evidence, date of the limit, what to do, caution, standing line."""
    return "\n".join(_lines(finding, opened_at.astimezone(zone))) + "\n"


def one_line(finding: Finding, *, opened_at: datetime, zone: ZoneInfo, verb: str = "") -> str:
    """Return the line of the text file: local time, kind, study, subject, words.

    `verb` says what happened where it is not the opening ("worse", "closed").
    """
    at = opened_at.astimezone(zone)
    kind = f"{finding.kind.value} {verb}".strip()
    about = " – ".join(part for part in (finding.subject.words, finding.says) if part)
    return clean(f"{at:%Y-%m-%d %H:%M} {kind} {finding.subject.study or '-'} {about}")


def severity_words(severity: int) -> str:
    """Return the word for a severity: note, warning, urgent."""
    return _SEVERITY_WORDS[Severity(min(max(severity, Severity.NOTE), Severity.URGENT))]


def limit_words(finding: Finding) -> str | None:
    """Return the date of the limit with its range, or None where no date is known."""
    if finding.limit_date is None:
        return None
    words = day_words(finding.limit_date)
    if finding.limit_date_range is None:
        return words
    low, high = (None if day is None else day_words(day) for day in finding.limit_date_range)
    if low is None and high is None:
        return words
    if low is None:
        return f"{words} (90 %: not after {high})"
    return f"{words} (90 %: {low} to {high})" if high else f"{words} (90 %: from {low} on, no upper end yet)"


def _lines(finding: Finding, at: datetime) -> Iterator[str]:
    about = finding.subject
    yield clean(finding.says)
    yield ""
    if about.study:
        yield f"Study:    {clean(about.study)}"
    if about.words:
        yield f"Subject:  {clean(about.words)}"
    lots = ", ".join((*about.product_lots, *about.thinner_lots))
    if lots:
        yield f"Lots:     {clean(lots)}"
    yield f"Seen:     {day_words(at)}, {at:%H:%M}"
    limit = limit_words(finding)
    if limit:
        yield f"Limit:    {limit}"
    if finding.probability is not None:
        weak = " (with prior assumptions, see settings)" if finding.priors_used else ""
        yield f"Chance:   {_chance(finding.probability)}{weak}"
    yield from (f"Evidence: {clean(words)}" for words in finding.evidence)
    yield f"Next:     {clean(finding.do_next)}"
    yield from (f"Caution:  {clean(words)}" for words in finding.cautions)
    yield ""
    yield STANDING_LINE


def _chance(probability: float) -> str:
    if probability > 0.99:
        return "more than 99 %" if probability < 1 else "it has happened"
    return f"{100 * probability:.0f} %"
