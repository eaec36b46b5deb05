"""The draft of a shelf-life statement as plain text; nobody may take it for the statement itself."""

from __future__ import annotations

from stability.board.words import at_least_words, days_words, instant_words
from stability.reports.paper import WIDTH, bullet, heading, pairs, paragraph, table
from stability.reports.view import EvidenceLine, StatementDraft

__all__ = ["statement_draft_text"]

BANNER = "DRAFT – NOT A STATEMENT – NOT SIGNED – DO NOT PASS ON"
WORD = {True: "holds", False: "FAILS", None: "open"}


def statement_draft_text(view: StatementDraft) -> str:
    """Return the draft: the claim the evidence carries, or why it carries none and what would."""
    lines = [
        BANNER.center(WIDTH).rstrip(),
        "=" * WIDTH,
        *paragraph(f"Shelf life in storage, {view.number} (study {view.study})"),
        "",
        *pairs(_about(view)),
        *_claim(view),
        *_caps(view),
        *_evidence(view),
        *_limits(view),
    ]
    if view.cautions:
        lines += heading("Cautions")
        for caution in view.cautions:
            lines += bullet(caution)
    lines += ["", "=" * WIDTH, BANNER.center(WIDTH)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _about(view: StatementDraft) -> list[tuple[str, str]]:
    by = f" by {view.drafted_by}" if view.drafted_by else ""
    return [
        ("Drafted", f"{instant_words(view.drafted_at, view.zone_name)} {view.zone_name}{by}"),
        ("Replaces", view.replaces or ""),
        ("Blend", view.blend_words),
        ("Pack", view.pack_words),
        ("Storage", view.storage_words),
        ("Counted from", view.counted_from_words),
        ("Criterion", view.criterion_words),
        ("Method", view.method_words),
        ("Note", "all names and readings are invented" if view.invented else ""),
    ]


def _months(months: int) -> str:
    return "1 month" if months == 1 else f"{months} months"


def _claim(view: StatementDraft) -> list[str]:
    lines = heading("What may be claimed")
    asked = f" (asked for: {_months(view.asked_months)})" if view.asked_months is not None else ""
    if view.months is None:
        lines += paragraph(f"REFUSED: no figure in months{asked}.")
    else:
        lines += paragraph(f"At most {_months(view.months)}{asked}.")
        if view.asked_months is not None and view.asked_months > view.months:
            lines += paragraph(f"REFUSED: {_months(view.asked_months)}.")
    if view.rung is not None:
        lines += paragraph(f"Evidence rung {view.rung}: {view.rung_words}")
    for refusal in view.refusals:
        lines += bullet(f"refused because {refusal.reason}")
        lines += paragraph(f"would be lifted by: {refusal.lifted_by}", indent=2)
    return lines


def _caps(view: StatementDraft) -> list[str]:
    if not view.caps:
        return []
    rows = [(cap.words, "–" if cap.months is None else f"{_down(cap.months):.1f}") for cap in view.caps]
    lines = heading("How the figure is capped")
    lines += table(("the smallest of", "months"), rows)
    return [*lines, *paragraph("rounded down to 1, 2, 3, 6, 9, 12, 18 or 24 months", indent=2)]


def _down(months: float) -> float:
    """Round down to a tenth: a claim is never rounded up."""
    return int(months * 10 + 1e-9) / 10


def _evidence(view: StatementDraft) -> list[str]:
    real = (
        "" if view.real_time_days is None else f"{days_words(view.real_time_days)} at the storage temperature"
    )
    bound = "" if view.lower95_days is None else f"{at_least_words(view.lower95_days)} (95 %, one-sided)"
    lines = heading("What stands behind it")
    lines += pairs(
        [
            ("Lots", view.lots_words),
            ("Real time", real),
            ("Temperatures", view.temperatures_words),
            ("Lower bound", bound),
            ("Calculation", view.calculation_version),
            ("Readings digest", view.digest or ""),
        ]
    )
    for check in view.evidence:
        lines += _check(check)
    return lines


def _check(check: EvidenceLine) -> list[str]:
    return bullet(f"{check.name.replace('_', ' ')}: {check.says}", mark=f"{WORD[check.passed]:5}", indent=2)


def _limits(view: StatementDraft) -> list[str]:
    lines = heading("What it would not cover")
    for words in view.not_covered:
        lines += bullet(words)
    lines += bullet("anything but the items tested")
    lines += pairs(
        [
            ("Opened tins", view.opened_words),
            ("Excursions", view.excursions_words),
            ("At the end", view.end_words),
            ("Recipients", ", ".join(view.recipients)),
        ]
    )
    return lines
