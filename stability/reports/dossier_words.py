"""The report of a study in words and rows, ready to be laid out as a page or on paper.

Anchors are made here: a number leads to the readings of its blend, a happening to its tin.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from stability.board.words import (
    at_least_words,
    days_words,
    instant_words,
    number_words,
    temperature_words,
)
from stability.reports.dossier import BlendPages, ReadingRow, StudyDossier, TinPages
from stability.reports.text import (
    HEADINGS,
    KINDS,
    blend_facts,
    life_cells,
    report_facts,
    verdict_sentence,
)
from stability.reports.view import BlendVerdict, EvidenceLine, Happening, LifeLine, StudyReport

__all__ = ["dossier_words"]

_HOLDS = {True: "holds", False: "fails", None: "open"}
NOTHING = "Nothing was missed, moved, corrected, set aside or entered late."


def dossier_words(dossier: StudyDossier) -> dict[str, Any]:
    """Return everything as text and rows; the same for the page and for paper."""
    report = dossier.report
    pages = (*dossier.blends, *(BlendPages(),) * (len(report.verdicts) - len(dossier.blends)))
    blends = [
        _blend(number, verdict, behind, report.zone_name)
        for number, (verdict, behind) in enumerate(zip(report.verdicts, pages, strict=True), start=1)
    ]
    tins = {tin["sample"]: tin["anchor"] for blend in blends for tin in blend["tins"]}
    return {
        "code": report.code,
        "title": report.title,
        "heading": f"Study report {report.code}",
        "facts": _pairs(report_facts(report)),
        "question": report.question,
        "target": f"{days_words(report.target_life_days)} at {report.storage_c:g} °C",
        "limits": "; ".join(report.limits_words) or "none",
        "design": _design(report),
        "blends": blends,
        "happenings": _happenings(report, tins),
        "nothing_happened": NOTHING,
        "cautions": list(report.cautions),
        "invented": report.invented,
    }


def _pairs(found: Sequence[tuple[str, str]]) -> list[list[str]]:
    return [[name, words] for name, words in found if words]


def _design(report: StudyReport) -> list[dict[str, Any]]:
    """Return the design by blend, each with its stores."""
    blends: dict[str, list[list[str]]] = {}
    for line in report.design:
        cells = (line.store, f"{line.temperature_c:g}", line.tins, line.readings, f"{line.last_day:.0f}")
        blends.setdefault(line.blend_words, []).append([str(cell) for cell in cells])
    return [{"blend": blend, "stores": stores} for blend, stores in blends.items()]


def _blend(number: int, verdict: BlendVerdict, behind: BlendPages, zone_name: str) -> dict[str, Any]:
    sentence = verdict_sentence(verdict).removeprefix(f"{verdict.blend_words}: ")
    lives = {life.criterion: life for life in verdict.lives}
    return {
        "anchor": f"b{number}",
        "name": verdict.blend_words,
        "word": verdict.word,
        "sentence": sentence,
        "facts": _pairs(blend_facts(verdict)),
        "storage": f"{verdict.storage_c:g} °C",
        "at_a_glance": [_short(lives.get(criterion)) for criterion in ("+20 %", "+50 %", "2×", "gel")],
        "at_least": at_least_words(verdict.lower95_days),
        "lives": [_life(life) for life in verdict.lives],
        "evidence": [_evidence(check) for check in verdict.evidence],
        "drawings": [
            {"svg": drawing.svg, "caption": drawing.caption, "alt": drawing.alt}
            for drawing in behind.drawings
        ],
        "readings": verdict.readings,
        "tins": [
            _tin(f"b{number}t{place}", tin, zone_name) for place, tin in enumerate(behind.tins, start=1)
        ],
    }


def _short(life: LifeLine | None) -> str:
    if life is None or (life.life_days is None and life.lower95_days is None):
        return "–"
    if life.life_days is None:
        return f"over {at_least_words(life.lower95_days)}"
    return days_words(life.life_days)


def _life(life: LifeLine) -> dict[str, Any]:
    return {"criterion": life.criterion, "cells": list(life_cells(life)), "says": life.says or ""}


def _evidence(check: EvidenceLine) -> dict[str, str]:
    return {
        "word": _HOLDS[check.passed],
        "name": check.name.replace("_", " "),
        "says": check.says,
        "p": "" if check.p is None else f"p {check.p:.2g}",
        "change": check.would_change or "",
    }


def _tin(anchor: str, tin: TinPages, zone_name: str) -> dict[str, Any]:
    return {
        "anchor": anchor,
        "sample": tin.sample,
        "store": f"{tin.store}, {tin.temperature_c:g} °C",
        "says": tin.says,
        "rows": [_reading(reading, zone_name) for reading in tin.readings],
    }


def _reading(reading: ReadingRow, zone_name: str) -> list[str]:
    value = "–" if reading.viscosity_mpas is None else number_words(reading.viscosity_mpas)
    return [
        f"{reading.age_days:.1f}".removesuffix(".0"),
        instant_words(reading.taken_at, zone_name),
        f"over {value}" if reading.over_range else value,
        "" if reading.gel_grade is None else str(reading.gel_grade),
        "" if reading.temperature_c is None else temperature_words(reading.temperature_c),
        ", ".join(words for words in (reading.person, reading.instrument) if words),
        reading.says,
    ]


def _happenings(report: StudyReport, tins: Mapping[str, str]) -> list[dict[str, Any]]:
    others = sorted({item.kind for item in report.happenings} - set(KINDS))
    groups = []
    for kind in (*KINDS, *others):
        found = sorted((item for item in report.happenings if item.kind == kind), key=lambda item: item.at)
        items = [_happening(item, report.zone_name, tins) for item in found]
        if items:
            groups.append({"kind": HEADINGS.get(kind, kind.capitalize()), "items": items})
    return groups


def _happening(item: Happening, zone_name: str, tins: Mapping[str, str]) -> dict[str, str]:
    begins = max((name for name in tins if item.words.startswith((f"{name}:", f"{name},"))), default="")
    return {
        "at": instant_words(item.at, zone_name),
        "tin": begins,
        "anchor": tins.get(begins, ""),
        "words": item.words.removeprefix(begins),
        "reason": item.reason or "",
        "person": item.person or "",
    }
