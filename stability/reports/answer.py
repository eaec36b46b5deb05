"""The answer sheet of a customer: months for his warehouse and month of filling, what to do, whom to call.

It is an answer to one question and never a statement. Lives are days, temperatures °C.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from stability.board.words import MONTHS, at_least_words, instant_words
from stability.reports.pages import page
from stability.reports.paper import WIDTH, bullet, heading, pairs, paragraph, table
from stability.reports.typeset import typeset

__all__ = ["AnswerSheet", "MonthLine", "answer_page", "answer_pdf", "answer_text"]


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthLine:
    """Tins filled in one month (1 = January); `months` None: no figure is carried, 0: under one month."""

    month: int
    mean_c: float
    days: float | None
    months: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerSheet:
    """One blend in one pack for one warehouse; `filled` None asks for the worst month."""

    study: str
    blend_words: str
    pack_words: str
    criterion_words: str
    lots_words: str
    evidence_words: str
    filled: int | None
    lines: tuple[MonthLine, ...]
    convention: str
    yearly_words: str
    reasons: tuple[str, ...]
    capped_by: str | None
    do: tuple[str, ...]
    do_not: tuple[str, ...]
    check: tuple[str, ...]
    call_words: str
    as_of: datetime
    zone_name: str
    calculation_version: str
    cautions: tuple[str, ...]
    invented: bool = False

    @property
    def asked(self) -> MonthLine | None:
        """The line that answers: of the month asked for, else the shortest."""
        if self.filled is not None:
            return next((line for line in self.lines if line.month == self.filled), None)
        return min(self.lines, key=lambda line: (line.months or 0, line.days or 0.0), default=None)


def _months(months: int | None) -> str:
    if months is None:
        return "no figure yet"
    if months == 0:
        return "under one month"
    return f"{months} month" if months == 1 else f"{months} months"


def _answer(sheet: AnswerSheet) -> tuple[str, str]:
    """Return what stands in big type, and the line under it."""
    line = sheet.asked
    if line is None or line.months is None:
        return "no months yet", "the readings do not carry a figure; the reasons are below"
    if sheet.filled is not None:
        return _months(line.months), f"for tins filled in {MONTHS[line.month - 1]}"
    lived = {other.months for other in sheet.lines}
    if len(lived) == 1:
        return _months(line.months), "whatever month they are filled in"
    return _months(line.months), f"in the worst month of filling, {MONTHS[line.month - 1]}"


def _rows(sheet: AnswerSheet) -> list[tuple[str, str, str, str]]:
    return [
        (
            MONTHS[line.month - 1],
            f"{line.mean_c:g} °C",
            "over 20 years" if line.days is None else at_least_words(line.days),
            _months(line.months),
        )
        for line in sheet.lines
    ]


def _facts(sheet: AnswerSheet) -> list[tuple[str, str]]:
    return [
        ("Blend", sheet.blend_words),
        ("Pack", sheet.pack_words),
        ("Until", sheet.criterion_words),
        ("Lots tested", sheet.lots_words),
        ("Evidence", sheet.evidence_words),
        ("Shortened by", sheet.capped_by or ""),
    ]


def answer_text(sheet: AnswerSheet) -> str:
    """Return the sheet as plain text, no line longer than 100 columns."""
    big, under = _answer(sheet)
    lines = [
        *paragraph("HOW LONG DOES IT KEEP?"),
        "=" * WIDTH,
        *paragraph(f"{big.upper()} – {under}"),
        "",
        *pairs(_facts(sheet)),
    ]
    if sheet.reasons:
        lines += heading("Why no months yet")
        for reason in sheet.reasons:
            lines += bullet(reason)
    if sheet.lines:
        lines += heading("By month of filling")
        lines += table(("filled in", "mean of the month", "lasts at least", "may be promised"), _rows(sheet))
        lines += ["", *paragraph(f"Convention: {sheet.convention}."), *paragraph(sheet.yearly_words)]
    for name, points in (("Do", sheet.do), ("Do not", sheet.do_not), ("Check a tin yourself", sheet.check)):
        lines += heading(name)
        for point in points:
            lines += bullet(point)
    lines += heading("Whom to call")
    lines += paragraph(sheet.call_words)
    lines += ["", *paragraph(_foot(sheet))]
    for caution in sheet.cautions:
        lines += paragraph(caution)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _foot(sheet: AnswerSheet) -> str:
    note = "; all names and readings are invented" if sheet.invented else ""
    return (
        f"An answer to a question, not a statement. Study {sheet.study}, as of "
        f"{instant_words(sheet.as_of, sheet.zone_name)} {sheet.zone_name}, {sheet.calculation_version}{note}."
    )


def answer_page(sheet: AnswerSheet) -> str:
    """Return the sheet as one page for a browser."""
    return page("answer.html", **_words(sheet))


def answer_pdf(sheet: AnswerSheet) -> bytes:
    """Return the sheet as an archival, tagged PDF."""
    return typeset("answer.typ", _words(sheet), at=sheet.as_of)


def _words(sheet: AnswerSheet) -> dict[str, Any]:
    big, under = _answer(sheet)
    return {
        "big": big,
        "under": under,
        "facts": [[name, words] for name, words in _facts(sheet) if words],
        "reasons": list(sheet.reasons),
        "rows": [
            [line.month == sheet.filled, *row] for line, row in zip(sheet.lines, _rows(sheet), strict=True)
        ],
        "convention": sheet.convention,
        "yearly": sheet.yearly_words,
        "do": list(sheet.do),
        "do_not": list(sheet.do_not),
        "check": list(sheet.check),
        "call": sheet.call_words,
        "foot": _foot(sheet),
        "cautions": list(sheet.cautions),
        "blend": sheet.blend_words,
    }
