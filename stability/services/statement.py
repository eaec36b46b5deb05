"""A draft of a shelf-life statement: which blend is meant, what its evidence carries, what it leaves out.

Nothing is stored but the act of drafting, and only where a person acts. Ages are days, claims whole months.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from stability.chemistry.cautions import STANDING_LINE, Act, Tin, cautions_for
from stability.errors import InputError
from stability.records.engine import Records
from stability.records.events import note
from stability.records.materials import ThinnerFacts, thinners
from stability.reports.view import CapLine, EvidenceLine, Refusal, StatementDraft
from stability.services.blends import CALCULATION, Blend, blends_of, only_study
from stability.services.claims import Evidence, LotEvidence, evidence_of, judged, lot_evidence
from stability.services.faults import typed
from stability.services.forecast import BlendForecast, forecasts
from stability.services.lots import as_rows
from stability.settings import Settings
from stability.statements.ladder import Draft
from stability.units import months, significant

__all__ = ["Asked", "Prepared", "draft_statement", "note_draft", "prepare"]

NONE = "none"
"""What is typed for a blend without thinner or additive."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was asked for; what is left out must be clear from the study."""

    study: str | None = None
    product: str | None = None
    thinner: str | None = None
    level_pct: float | None = None
    additive: str | None = None
    pack: str | None = None
    lots: tuple[str, ...] = ()
    months: int | None = None
    limit_ratio: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Meant:
    """The lots of the blend that is meant, and those that say nothing yet."""

    lots: tuple[LotEvidence, ...]
    early: tuple[LotEvidence, ...]
    pack: str | None
    thinner: ThinnerFacts | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepared:
    """A draft with everything it was made of."""

    asked: Asked
    as_of: datetime
    evidence: Evidence
    found: Draft
    view: StatementDraft


def draft_statement(
    records: Records, asked: Asked, *, as_of: datetime, settings: Settings, person: str | None = None
) -> StatementDraft:
    """Return the draft of a statement, refused with reasons where the evidence does not carry it.

    Raises
    ------
    InputError
        As `prepare`.
    """
    return prepare(records, asked, as_of=as_of, settings=settings, person=person).view


def prepare(
    records: Records,
    asked: Asked,
    *,
    as_of: datetime,
    settings: Settings,
    person: str | None = None,
    known: Sequence[BlendForecast] = (),
) -> Prepared:
    """Return a draft and what it was made of; `known` forecasts of that instant need not be looked up.

    Raises
    ------
    InputError
        If the study, blend, pack or lots are not on record, or more than one blend could be meant.
    """
    with records.reading() as connection:
        code = asked.study or only_study(connection, as_of=as_of)
        every = blends_of(connection, as_of=as_of, study=code)
        classes = thinners(connection)
    if not every:
        raise InputError(f"study {typed(code)} has no samples on record", hint="stability study lists all")
    told: Sequence[BlendForecast] = [f for f in known if f.study == code and asked.limit_ratio is None]
    if not told:
        told = forecasts(records, as_of=as_of, settings=settings, study=code, limit_ratio=asked.limit_ratio)
    blends = {b.key.text: b for b in as_rows(every, {f.blend_key for f in told})}
    chosen = _of_the_lots(_of_the_pack(_of_the_blend(told, asked), asked.pack), asked.lots)
    with records.reading() as connection:
        lots = [
            lot_evidence(connection, _limited(blends[f.blend_key], asked.limit_ratio), f, as_of=as_of)
            for f in chosen
        ]
    speaking = tuple(lot for lot in lots if lot.bound_days is not None)
    meant = _Meant(
        lots=speaking or tuple(lots),
        early=tuple(lot for lot in lots if lot not in speaking) if speaking else (),
        pack=asked.pack or chosen[0].pack,
        thinner=classes.get(chosen[0].thinner or ""),
    )
    evidence = evidence_of(meant.lots, known=classes, pack=meant.pack, asked_months=asked.months)
    found = judged(evidence)
    view = _view(meant, evidence, found, as_of=as_of, zone_name=settings.time_zone, person=person)
    return Prepared(asked=asked, as_of=as_of, evidence=evidence, found=found, view=view)


def note_draft(records: Records, view: StatementDraft, *, person: str, now: datetime) -> None:
    """Note that a person drafted a statement, and what came of it."""
    details = {
        "blend": view.blend_words,
        "pack": view.pack_words,
        "asked_months": view.asked_months,
        "months": view.months,
        "digest": view.digest,
    }
    with records.writing() as connection:
        note(connection, at=now, person=person, verb="drafted statement", subject=view.study, details=details)


def _limited(blend: Blend, ratio: float | None) -> Blend:
    return blend if ratio is None else blend.with_limit(ratio)


def _is(value: str | None, wanted: str | None) -> bool:
    """Say whether a name is the one that was typed; nothing typed fits all."""
    return wanted is None or (value or NONE).casefold() == wanted.strip().casefold()


def _of_the_blend(found: Sequence[BlendForecast], asked: Asked) -> list[BlendForecast]:
    fitting = [
        f
        for f in found
        if _is(f.product, asked.product)
        and _is(f.thinner, asked.thinner)
        and _is(f.additive, asked.additive)
        and (asked.level_pct is None or abs((f.level_pct or 0.0) - asked.level_pct) < 1e-6)
    ]
    if not fitting:
        raise InputError("no blend with readings fits what was asked", hint=_choices(found))
    if len({f.key.words for f in fitting}) > 1:
        which = "--product, --thinner, --level and --additive (none for without) choose one"
        raise InputError(f"more than one blend fits; {which}", hint=_choices(fitting))
    return fitting


def _choices(found: Sequence[BlendForecast]) -> str:
    words = dict.fromkeys(f.key.words for f in found)
    return "there are: " + "; ".join(list(words)[:20]) if words else "the study has no readings yet"


def _of_the_pack(fitting: list[BlendForecast], pack: str | None) -> list[BlendForecast]:
    """Return the forecasts of a pack; one that was not tested keeps all, and the ladder refuses it."""
    packs = sorted({f.pack or "" for f in fitting})
    if pack is None and len(packs) > 1:
        raise InputError("more than one pack was tested; --pack chooses one", hint="; ".join(packs))
    return [f for f in fitting if _is(f.pack, pack)] or fitting


def _of_the_lots(fitting: list[BlendForecast], lots: Sequence[str]) -> list[BlendForecast]:
    named = {lot.strip() for lot in lots}
    there = {lot for f in fitting for lot in (*f.product_lots, *f.thinner_lots)}
    if unknown := sorted(named - there):
        told = ", ".join(typed(lot) for lot in unknown)
        raise InputError(f"no readings of lot {told} here", hint=f"there are: {', '.join(sorted(there))}")
    if not named:
        return fitting
    # a lot of product narrows the choice, and so does one of thinner; two of a kind widen it
    products = named & {lot for f in fitting for lot in f.product_lots}
    others = named & {lot for f in fitting for lot in f.thinner_lots}
    chosen = [
        f
        for f in fitting
        if (not products or products & {*f.product_lots}) and (not others or others & {*f.thinner_lots})
    ]
    if not chosen:
        raise InputError("no tins hold these lots together", hint=f"there are: {', '.join(sorted(there))}")
    return chosen


def _view(
    meant: _Meant,
    evidence: Evidence,
    found: Draft,
    *,
    as_of: datetime,
    zone_name: str,
    person: str | None,
) -> StatementDraft:
    facts, worst = evidence.facts, evidence.lots[0]
    study = worst.blend.study
    return StatementDraft(
        number="draft without a number",
        study=study.code,
        drafted_at=as_of,
        zone_name=zone_name,
        drafted_by=person,
        blend_words=worst.forecast.key.words,
        pack_words=f"{meant.pack or 'not given'}, closed{'' if facts.pack_tested else ' (NOT TESTED)'}",
        storage_words=f"{facts.storage_c:g} °C, unopened",
        criterion_words=facts.criterion or "none",
        method_words="viscosity and gel of retained tins; lives from the fit over all stores",
        asked_months=facts.asked_months,
        months=found.months,
        rung=int(found.rung),
        rung_words=found.rung.words,
        caps=tuple(CapLine(words=cap.words, months=months(cap.days)) for cap in found.caps),
        refusals=tuple(Refusal(reason=r.reason, lifted_by=r.lifted_by) for r in found.refusals),
        evidence=_evidence(evidence.lots),
        lots_words="; ".join(_lot_words(lot) for lot in evidence.lots),
        real_time_days=facts.real_time_days,
        temperatures_words=", ".join(f"{t:g}" for t in facts.temperatures_c) + " °C",
        lower95_days=facts.lower_bound_days,
        not_covered=_not_covered(meant, evidence),
        calculation_version=CALCULATION,
        digest=_digest(evidence.lots),
        cautions=(*_cautions(meant), STANDING_LINE),
        invented="invented" in study.title.lower(),
    )


def _lot_words(lot: LotEvidence) -> str:
    told = (lot.forecast.product_lots, lot.forecast.thinner_lots)
    lots = " with ".join(", ".join(names) for names in told if names)
    bound = "no bound yet" if lot.bound_days is None else f"at least {significant(lot.bound_days)} d"
    cure = lot.cure.words if lot.cure else "cure not tested"
    return f"{lots} ({lot.real_time_days:.0f} d of real time, {bound}, {cure})"


def _evidence(lots: Sequence[LotEvidence]) -> tuple[EvidenceLine, ...]:
    several = len(lots) > 1
    return tuple(
        EvidenceLine(
            name=e["name"],
            passed=e["passed"],
            says=f"lot {', '.join(lot.forecast.product_lots)}: {e['says']}" if several else e["says"],
            p=e["p"],
        )
        for lot in lots
        for e in lot.forecast.row["evidence"]
    )


def _not_covered(meant: _Meant, evidence: Evidence) -> tuple[str, ...]:
    early = tuple(
        f"lot {', '.join(lot.forecast.product_lots)}: {lot.forecast.row['says'] or 'too early'}"
        for lot in meant.early
    )
    level = evidence.lots[0].forecast.level_pct
    return (
        *early,
        "other lots of product or thinner",
        "other packs, fill levels and closures",
        f"levels other than {level:g} %" if level else "any thinner added",
        "pigments, catalysts or anything else added later",
        f"storage above {evidence.facts.storage_c:g} °C",
    )


def _digest(lots: Sequence[LotEvidence]) -> str:
    """Return the digest of what the draft rests on; that of one lot is its forecast's own."""
    digests = sorted(lot.forecast.digest for lot in lots)
    return digests[0] if len(digests) == 1 else hashlib.sha256("".join(digests).encode()).hexdigest()


def _cautions(meant: _Meant) -> tuple[str, ...]:
    thinner = meant.thinner
    tin = Tin(
        store_temperature_c=meant.lots[0].blend.study.storage_c,
        flash_c=thinner.flash_c if thinner else None,
        thinner_class=thinner.thinner_class if thinner else None,
        sds=thinner.sds if thinner else None,
    )
    return cautions_for(Act.STATE, tin)
