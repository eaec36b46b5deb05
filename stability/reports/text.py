"""The study report as plain text: readable in mail, in a terminal and in twenty years."""

from __future__ import annotations

import math

from stability.board.words import at_least_words, date_words, days_words, instant_words, number_words
from stability.reports.paper import WIDTH, bullet, heading, pairs, paragraph, table
from stability.reports.statement import statement_draft_text
from stability.reports.view import BlendVerdict, EvidenceLine, Happening, LifeLine, StudyReport
from stability.units import DAYS_PER_MONTH

__all__ = [
    "HEADINGS",
    "KINDS",
    "blend_facts",
    "life_cells",
    "report_facts",
    "statement_draft_text",
    "study_report_text",
    "verdict_sentence",
]

KINDS = ("missed", "moved", "corrected", "set aside", "late entry", "store", "blind")
HEADINGS = {
    "missed": "Missed",
    "moved": "Moved",
    "corrected": "Corrected (the first value is kept)",
    "set aside": "Set aside, and why",
    "late entry": "Entered late",
    "store": "Stores",
    "blind": "Not watched",
}


def study_report_text(report: StudyReport) -> str:
    """Return the report of one study, no line longer than 100 columns."""
    lines = [
        *paragraph(f"STUDY REPORT {report.code}"),
        *paragraph(report.title),
        "=" * WIDTH,
        *pairs(report_facts(report)),
        *heading("Question"),
        *paragraph(report.question),
        *_design(report),
        *heading("Verdicts"),
    ]
    for verdict in report.verdicts:
        lines += bullet(verdict_sentence(verdict))
    if not report.verdicts:
        lines += paragraph("No blend has readings yet.")
    for verdict in report.verdicts:
        lines += _blend(verdict)
    lines += _happenings(report)
    if report.cautions:
        lines += heading("Cautions")
        for caution in report.cautions:
            lines += bullet(caution)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def report_facts(report: StudyReport) -> list[tuple[str, str]]:
    """Return what stands at the head of a report; empty words stand for nothing to say."""
    return [
        ("As of", f"{instant_words(report.as_of, report.zone_name)} {report.zone_name}"),
        ("Owner", report.owner or ""),
        ("Calculation", report.calculation_version),
        ("Readings digest", report.digest or ""),
        ("Note", "all names and readings in this report are invented" if report.invented else ""),
    ]


def _design(report: StudyReport) -> list[str]:
    lines = heading("Design")
    lines += pairs(
        [
            ("Target", f"{days_words(report.target_life_days)} at {report.storage_c:g} °C"),
            ("Limits", "; ".join(report.limits_words)),
        ]
    )
    if report.design:
        rows = [
            (
                line.blend_words,
                line.store,
                f"{line.temperature_c:g}",
                str(line.tins),
                str(line.readings),
                f"{line.last_day:.0f}",
            )
            for line in report.design
        ]
        # a blend is named once; its stores follow
        named = [
            ("" if place and rows[place - 1][0] == row[0] else row[0], *row[1:])
            for place, row in enumerate(rows)
        ]
        lines += ["", *table(("blend", "store", "°C", "tins", "readings", "last day"), named)]
    return lines


def verdict_sentence(verdict: BlendVerdict) -> str:
    """Say in one sentence what the study says of a blend."""
    start = f"{verdict.blend_words}: {', '.join([verdict.word, *verdict.notes])}"
    at = f"at {verdict.storage_c:g} °C"
    if verdict.outcome == "too_early":
        return f"{start}; {verdict.says or 'the readings do not say enough yet'}."
    if verdict.outcome == "limit_reached":
        when = f", after about {days_words(verdict.life_days)}" if verdict.life_days is not None else ""
        return f"{start}; a tin kept {at} has reached the limit ({verdict.limit_words}){when}."
    limit = f"the limit ({verdict.limit_words})"
    lower = at_least_words(verdict.lower95_days)
    if verdict.life_days is None:
        return f"{start}; {at} it stays within {limit} for at least {lower}; no upper end is known yet."
    bound = f" (at least {lower})" if verdict.lower95_days is not None else ""
    date = f", about {date_words(verdict.limit_date)}" if verdict.limit_date else ""
    risk = ""
    if verdict.probability_before_target is not None:
        chance = _chance(verdict.probability_before_target)
        target = days_words(verdict.target_life_days)
        risk = f"; the chance that this is before the target of {target} is {chance}"
    life = days_words(verdict.life_days)
    return f"{start}; {at} a typical tin reaches {limit} after {life}{bound}{date}{risk}."


def _chance(chance: float) -> str:
    return "below 1 %" if chance < 0.01 else "above 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"


def _blend(verdict: BlendVerdict) -> list[str]:
    lines = heading(verdict.blend_words)
    lines += pairs(blend_facts(verdict))
    if verdict.lives:
        rows = [(_criterion(life), *life_cells(life)) for life in verdict.lives]
        lines += [
            "",
            *table(
                (
                    f"life at {verdict.storage_c:g} °C to",
                    "days",
                    "at least",
                    "at most",
                    "whole months",
                ),
                rows,
            ),
        ]
    if verdict.evidence:
        lines += ["", "Evidence"]
        for check in verdict.evidence:
            lines += evidence_lines(check)
    return lines


def blend_facts(verdict: BlendVerdict) -> list[tuple[str, str]]:
    """Return what stands behind a verdict; empty words stand for nothing to say."""
    behind = f"{verdict.tins} tins, {verdict.readings} readings, {verdict.gelled_tins} tins gelled"
    return [
        ("Lots", ", ".join((*verdict.product_lots, *verdict.thinner_lots))),
        ("Behind it", behind),
        ("Next tin", _next_tin(verdict)),
        ("Heat", _energy(verdict)),
        ("Prior knowledge", "used: good for an alert, not for a statement" if verdict.priors_used else ""),
    ]


def _next_tin(verdict: BlendVerdict) -> str:
    days = verdict.lower95_next_tin_days
    return "" if days is None else f"at least {at_least_words(days)} with 95 % confidence"


def _energy(verdict: BlendVerdict) -> str:
    if verdict.energy_kj_mol is None:
        return "no activation energy yet"
    spread = "" if verdict.energy_se_kj_mol is None else f" ± {verdict.energy_se_kj_mol:.1f}"
    return f"activation energy {number_words(verdict.energy_kj_mol)}{spread} kJ/mol"


def _criterion(life: LifeLine) -> str:
    return f"{life.criterion} ({life.says})" if life.says else life.criterion


def life_cells(life: LifeLine) -> tuple[str, str, str, str]:
    """Return a life in words: typical, at least, at most, and whole months that the bound carries."""
    lower = life.lower95_days
    # a claim is never rounded up
    months = "–" if lower is None else f"{math.floor(lower / DAYS_PER_MONTH)}"
    return days_words(life.life_days), at_least_words(lower), days_words(life.upper95_days), months


def evidence_lines(check: EvidenceLine) -> list[str]:
    """Return one evidence check in words, and what would change it."""
    word = {True: "holds", False: "FAILS", None: "open"}[check.passed]
    p = "" if check.p is None else f" (p {check.p:.2g})"
    lines = bullet(f"{check.name.replace('_', ' ')}{p}: {check.says}", mark=f"{word:5}", indent=2)
    if check.would_change:
        lines += paragraph(f"would change with: {check.would_change}", indent=8)
    return lines


def _happenings(report: StudyReport) -> list[str]:
    lines = heading("What happened")
    if not report.happenings:
        return [*lines, *paragraph("Nothing was missed, moved, corrected, set aside or entered late.")]
    others = sorted({item.kind for item in report.happenings} - set(KINDS))
    for kind in (*KINDS, *others):
        found = sorted((item for item in report.happenings if item.kind == kind), key=lambda item: item.at)
        if found:
            lines += ["", *paragraph(HEADINGS.get(kind, kind.capitalize()))]
        for item in found:
            lines += bullet(_happening(item, report.zone_name), indent=2)
    return lines


def _happening(item: Happening, zone_name: str) -> str:
    reason = f"; reason: {item.reason}" if item.reason else ""
    person = f" ({item.person})" if item.person else ""
    return f"{instant_words(item.at, zone_name)}  {item.words}{reason}{person}"
