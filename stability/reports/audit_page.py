"""The index of an audit pack: the questions auditors ask, each with its answer and the file that shows it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from html import escape
from typing import Any

from stability.board.text import clean

__all__ = ["AuditFacts", "audit_page"]

_STYLE = (
    "body{font:16px/1.45 sans-serif;max-width:60em;margin:2em auto;padding:0 1em}"
    "h2{font-size:1.05em;margin:1.4em 0 .2em}p{margin:.2em 0}.clause{color:#555}"
)

_POLICY = (
    "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">"
)
_Answer = tuple[str, str, str, tuple[str, ...]]  # clause, question, answer, files that show it


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditFacts:
    """What the index is written from; `data` are those of the statement."""

    name: str
    step: str
    recipients: tuple[str, ...]
    versions: tuple[str, ...]
    data: Mapping[str, Any]
    readings: int
    late: int
    claim: str
    chain: str
    calculation: str


def audit_page(facts: AuditFacts) -> str:
    """Return the index as a page without scripts; what people typed is never markup."""
    parts = [
        '<!doctype html><html lang="en"><head><meta charset="utf-8">',
        _POLICY,
        f"<title>Audit pack of {_text(facts.name)}</title><style>{_STYLE}</style></head><body>",
        f"<h1>Audit pack of statement {_text(facts.name)}</h1>",
        f"<p>{_text(facts.data['words']['blend'])}, {_text(facts.data['words']['pack'])}: "
        f"{facts.data['months']} months. Now: {_text(facts.step)}. "
        'Digests of all files: <a href="manifest.json">manifest.json</a>.</p>',
    ]
    for clause, question, answer, files in (*_of_quality(facts), *_of_the_laboratory(facts)):
        links = ", ".join(f'<a href="{escape(name, quote=True)}">{_text(name)}</a>' for name in files)
        parts.append(
            f"<section><h2>{_text(question)}</h2><p class=clause>{_text(clause)}</p>"
            f"<p>{_text(answer)}</p><p>{links}</p></section>"
        )
    return "\n".join([*parts, "</body></html>", ""])


def _of_quality(facts: AuditFacts) -> Iterator[_Answer]:
    data, words = facts.data, facts.data["words"]
    stem = f"statement/{data['number']}-v{data['version']}"
    yield (
        "ISO 9001 8.5.4",
        "How are outputs kept conforming in store and transport?",
        f"Pack: {words['pack']}. Store: {words['storage']}. Warm days: {words['excursions']}.",
        ("tables/stores.csv", "tables/temperatures.csv", "tables/outings.csv", "alerts.json"),
    )
    instruments = ", ".join(card["instrument"] for card in data["instruments"]) or "none named"
    yield (
        "ISO 9001 7.1.5",
        "Is the instrument fit, and what was done with results when one was found out?",
        f"Instruments: {instruments}. Certificates known at issue: {len(data['calibrations'])}. "
        f"Conditional readings in the claim: {data['facts']['conditional_readings']}.",
        ("tables/instruments.csv", "tables/calibrations.csv", "tables/oil_checks.csv", "tables/releases.csv"),
    )
    yield (
        "ISO 9001 7.5",
        "Who approved this version, where are the old ones, who can change what?",
        f"Written by {data['author']['name']} ({data['author']['role']}), approved and signed by "
        f"{data['approver']['name']} ({data['approver']['role']}). {'; '.join(facts.versions)}. "
        "Rows cannot be changed or deleted.",
        ("versions.json", "tables/people.csv", f"{stem}.pdf.sig"),
    )
    yield (
        "ISO 9001 8.7, 10.2",
        "What happened to the failing blend, who was told?",
        f"Recipients: {', '.join(facts.recipients) or 'nobody on record'}. Alerts and their ends are listed.",
        ("alerts.json", "versions.json", "tables/endings.csv"),
    )


def _of_the_laboratory(facts: AuditFacts) -> Iterator[_Answer]:
    data, words = facts.data, facts.data["words"]
    stem = f"statement/{data['number']}-v{data['version']}"
    yield (
        "ISO/IEC 17025 7.5.1",
        "The original observation, when it was made, by whom?",
        f"{facts.readings} readings count; each stands as typed, with the time it was taken and entered.",
        ("tables/readings.csv",),
    )
    yield (
        "ISO/IEC 17025 7.5.2",
        "Are amendments traceable, old and new kept?",
        f"{len(data['corrections'])} readings were corrected; the originals stand beside them.",
        ("tables/readings.csv", f"{stem}.json"),
    )
    yield (
        "ISO/IEC 17025 7.8.2",
        "Unique number, method, condition of the items, dates, deviations, who authorised?",
        f"{facts.name}; {words['method']}; lots {words['lots']}; "
        f"open questions answered: {len(data['answers'])}.",
        (f"{stem}.pdf",),
    )
    yield (
        "ISO/IEC 17025 7.8.8",
        "Is an amended report marked as such, with its reason?",
        data["reason"] or "This is the first version.",
        ("versions.json", f"{stem}.pdf"),
    )
    yield (
        "ISO/IEC 17025 7.11",
        "Is the software validated, protected, are failures recorded?",
        f"{data['program']}, {data['calculation']}. Self-check: {facts.calculation}. Claim: {facts.claim}.",
        (f"{stem}.json",),
    )
    yield (
        "ALCOA+",
        "Attributable, contemporaneous, original, complete, enduring?",
        f"{facts.late} readings were entered on a later day than they were taken; both times stand. "
        f"Log of acts: {facts.chain}.",
        ("acts.json", "seals.json", "tables/readings.csv"),
    )


def _text(words: object) -> str:
    return escape(clean(str(words)))
