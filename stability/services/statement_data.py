"""A statement as data: every word that is printed, and everything it rests on. Nothing is read but records.

Claims are whole months of mean length, ages and bounds days. What a customer reads is put together here, so
that the PDF, the signature and the check all speak of the same data.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields, is_dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from stability import __version__
from stability.errors import InputError, RefusedError, StabilityError
from stability.records.engine import Records
from stability.records.history import readings as readings_known
from stability.records.instruments import calibrations_of, cards
from stability.records.statements import statement_rows
from stability.services.blends import CALCULATION
from stability.services.claim_data import blend_data, bound_from, facts_data, plain, recalculated
from stability.services.claims import LotEvidence
from stability.services.curves import master_curve_view
from stability.services.instants import iso
from stability.services.statement import Prepared
from stability.settings import Settings
from stability.units import GAS_CONSTANT_KJ, kelvin, significant

__all__ = ["FORMAT", "KIND", "Signatories", "Worded", "number_for", "statement_data"]

KIND, FORMAT = "stability statement", 1
_WARM_C = (30.0, 40.0)
RULE = (
    "Decision rule: the figure is the smallest of the bounds named here, rounded down. The bound of the life "
    "is a one-sided 95 % lower bound for the next tin of the worst lot: the risk that a tin made like those "
    "tested reaches its limit earlier is at most 5 %, if the model holds."
)
_SAME_BOUND = 2e-5


@dataclass(frozen=True, slots=True, kw_only=True)
class Worded:
    """What the author adds in words: answers to open questions by name, and lines only he can know."""

    number: str | None = None
    answers: Mapping[str, str]
    opened: str | None = None
    report_to: str | None = None
    reviewer: str | None = None
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class Signatories:
    """A person who answers for a statement, with the role on record."""

    name: str
    role: str


def number_for(connection: sa.Connection, asked: str | None, *, now: datetime) -> tuple[str, int]:
    """Return the number and the version that come next.

    Raises
    ------
    InputError
        If the number cannot be one.
    """
    rows = statement_rows(connection, as_of=now)
    if asked is None:
        taken = {row.number for row in rows}
        return next(n for n in (f"ST-{at:02d}" for at in range(1, len(rows) + 2)) if n not in taken), 1
    name = asked.strip()
    if not name or len(name) > 40 or not all(sign.isalnum() or sign in "-._" for sign in name):
        raise InputError(
            f"number {asked!r} cannot be kept; expected letters, digits, - . and _", hint="--number ST-01"
        )
    return name, 1 + max((row.version for row in rows if row.number == name), default=0)


def statement_data(
    records: Records, made: Prepared, worded: Worded, *, author: Signatories, settings: Settings
) -> dict[str, Any]:
    """Return all of a statement but its approval.

    Raises
    ------
    RefusedError
        If the evidence does not carry the claim, or a question that it leaves open was not answered.
    """
    if made.found.refused or made.found.months is None:
        raise RefusedError(made.found.reasons_refused, hint="nothing was written")
    lots, zone = made.evidence.lots, ZoneInfo(settings.time_zone)
    with records.reading() as connection:
        number, version = number_for(connection, worded.number, now=made.as_of)
        before = [r for r in statement_rows(connection, as_of=made.as_of, number=number) if r.live]
        rests_on = [
            blend_data(connection, lot.blend, as_of=made.as_of, options=settings.fit, zone=zone)
            for lot in lots
        ]
        behind = _behind(connection, lots, made.as_of)
    if version > 1 and not worded.reason:
        raise InputError(
            f"{number} has been issued before; what has changed?", hint="--reason TEXT, printed on it"
        )
    return {
        "kind": KIND,
        "format": FORMAT,
        "number": number,
        "version": version,
        "months": made.found.months,
        "replaces": [row.version for row in before],
        "reason": worded.reason or "",
        "study": made.view.study,
        "drafted_at": iso(made.as_of),
        "zone": made.view.zone_name,
        "author": asdict(author),
        "reviewer": worded.reviewer or "",
        "words": _words(made, worded),
        **_found(made, rests_on),
        "answers": _answered(made, worded.answers),
        "asked": {f.name: getattr(made.asked, f.name) for f in fields(made.asked)}
        | {"lots": [*made.asked.lots]},
        "lots": rests_on,
        "digests": {lot.forecast.blend_key: lot.forecast.digest for lot in lots},
        "picture": _listed(master_curve_view(records, lots[0].forecast, as_of=made.as_of, settings=settings)),
        "invented": made.view.invented,
        "program": f"stability {__version__}",
        "calculation": CALCULATION,
        **behind,
    }


def _found(made: Prepared, rests_on: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Return what was found, with the bound as it comes out of the data themselves."""
    facts = facts_data(made.evidence.facts)
    found, bound = recalculated(rests_on, facts)
    told = made.evidence.facts.lower_bound_days or math.nan
    if found.months != made.found.months or not abs(bound - told) <= _SAME_BOUND * told:
        raise StabilityError("the claim comes out differently from its own data", hint="stability doctor")
    return {
        "facts": facts,
        "rung": int(made.found.rung),
        "real_time_days": made.view.real_time_days,
        "bound_days": bound,
        "bounds_days": [bound_from(data) for data in rests_on],
        "caps": [{"words": cap.words, "days": cap.days} for cap in made.found.caps],
        "evidence": [_listed(line) for line in made.view.evidence],
    }


def _words(made: Prepared, worded: Worded) -> dict[str, Any]:
    view = made.view
    return {
        "blend": view.blend_words,
        "pack": view.pack_words,
        "storage": f"{view.storage_words}, upright, dry, in the dark",
        "criterion": view.criterion_words,
        "method": view.method_words,
        "counted_from": view.counted_from_words,
        "rung": view.rung_words,
        "lots": view.lots_words,
        "temperatures": view.temperatures_words,
        "opened": worded.opened or "not covered: use an opened tin up at once, or test it",
        "excursions": _excursions(made),
        "end": view.end_words,
        "not_covered": [*view.not_covered],
        "cautions": [*view.cautions],
        "rule": RULE,
        "items": "The results relate only to the items tested.",
        "shorter": "The remaining life of the product alone, where it is shorter, comes first.",
        "report_to": worded.report_to or "",
    }


def _excursions(made: Prepared) -> str:
    """Return what a warm day costs, by the upper end of the activation energy that was found."""
    row, storage_c = made.evidence.lots[0].forecast.row, made.evidence.facts.storage_c
    energy, error = row["activation_energy_kj_mol"], row.get("activation_energy_se_kj_mol")
    if energy is None or error is None:
        return "none allowed for: the activation energy is not known"
    upper = energy + 1.645 * error
    hottest = max(made.evidence.facts.temperatures_c)
    costs = [
        f"{significant(math.exp(upper / GAS_CONSTANT_KJ * (1 / kelvin(storage_c) - 1 / kelvin(t))), 2)} d"
        f" at {t:g} °C"
        for t in _WARM_C
        if storage_c < t <= hottest
    ]
    if not costs:
        return "none allowed for: no warmer store was tested"
    return (
        f"one day counts as {' or '.join(costs)} of the life (upper end of what was found); "
        f"nothing above {hottest:g} °C"
    )


def _answered(made: Prepared, answers: Mapping[str, str]) -> list[dict[str, str]]:
    given = {name.strip().casefold(): " ".join(words.split()) for name, words in answers.items()}
    asked = made.found.answers_needed
    open_still = [q for q in asked if not given.get(q.name.casefold())]
    if open_still:
        raise RefusedError(
            [f"not answered: {q.name.replace('_', ' ')}: {q.says}" for q in open_still],
            hint=" ".join(f'--answer {name}="…"' for name in dict.fromkeys(q.name for q in open_still)),
        )
    if unknown := sorted(set(given) - {q.name.casefold() for q in asked}):
        raise InputError(
            f"nobody asked: {', '.join(unknown)}",
            hint="asked are: " + (", ".join(dict.fromkeys(q.name for q in asked)) or "nothing"),
        )
    return [{"name": q.name, "says": q.says, "answer": given[q.name.casefold()]} for q in asked]


def _behind(connection: sa.Connection, lots: Sequence[LotEvidence], as_of: datetime) -> dict[str, Any]:
    """Return the corrections of the readings, and the instruments they were taken with."""
    samples = {s.id: s.sample for lot in lots for s in lot.blend.samples}
    study = lots[0].blend.study.code
    known = [
        r
        for r in readings_known(connection, as_of=as_of, study=study, with_set_aside=True)
        if r.sample_id in samples
    ]
    names = sorted({name for r in known for name in (r.instrument, r.cup) if name})
    calibrations = calibrations_of(connection, as_of=as_of)
    return {
        "corrections": [
            plain(
                {
                    "sample": samples[r.sample_id],
                    "taken_at": r.taken_at,
                    "viscosity_mpas": r.viscosity_mpas,
                    "gel_grade": r.gel_grade,
                    "entered_at": r.entered_at,
                    "entered_by": r.entered_by,
                    "reason": r.reason,
                }
            )
            for r in known
            if r.corrected
        ],
        "instruments": [_listed(card) for card in cards(connection, at=as_of, named=names).values()]
        if names
        else [],
        "calibrations": [_listed(row) for row in calibrations if row.instrument in names],
    }


def _listed(row: Any) -> dict[str, Any]:
    if not is_dataclass(row) or isinstance(row, type):
        raise TypeError(f"{type(row).__name__} is no record")
    data: dict[str, Any] = plain(asdict(row))
    return data
