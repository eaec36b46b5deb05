"""What the evidence of a blend carries: the facts of a claim out of forecasts and records, then the ladder.

Compare and statement ask the same question here. Ages are days at the storage temperature, temperatures °C.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import sqlalchemy as sa

from stability.bench.gel import GELLED_FROM
from stability.records.materials import ThinnerFacts
from stability.records.methods import method_changes
from stability.services.blends import Blend
from stability.services.conditional import doubts_known
from stability.services.cure import CureVerdict, cure_verdict, cures_of
from stability.services.facts import limit_mpas
from stability.services.forecast import BlendForecast
from stability.services.lots import by_lot
from stability.services.method_steps import unbridged
from stability.statements.ladder import ClaimFacts, Draft, Question, Refusal, Rung, draft, round_down
from stability.units import SECONDS_PER_DAY, months

__all__ = [
    "Evidence",
    "LotEvidence",
    "aged_temperatures",
    "criterion_words",
    "evidence_of",
    "held_days",
    "judged",
    "judged_facts",
    "lot_evidence",
]

AGED_DAYS = 1.0
"""A store whose tins were read only when they were placed says nothing of ageing, [d]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LotEvidence:
    """One lot of a blend: how far its readings at the storage temperature reach, and its lower bound, [d]."""

    blend: Blend
    forecast: BlendForecast
    cure: CureVerdict | None
    bound_days: float | None
    real_time_days: float
    temperatures_c: frozenset[float]
    conditional_readings: int
    unresolved_step: bool

    @property
    def real_times_days(self) -> tuple[float, ...]:
        """Real time of each lot that stands in it, [d]."""
        return tuple(
            float(days) for days in self.forecast.extra.get("real_times_days") or (self.real_time_days,)
        )

    @property
    def failed_line(self) -> bool:
        """Whether the stores were found not to lie on one Arrhenius line."""
        return _failed(self.forecast, "straight_arrhenius")

    @property
    def finished(self) -> bool:
        """Whether this very blend has been through its test: to the target or the limit, cure included."""
        through = self.real_time_days >= self.forecast.target_life_days
        cured = self.cure is not None and not self.cure.lost
        return cured and (through or self.forecast.outcome == "limit_reached")


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What a claim rests on, the worst lot first; `refusals` are reasons the ladder cannot know of."""

    lots: tuple[LotEvidence, ...]
    facts: ClaimFacts
    refusals: tuple[Refusal, ...]


def lot_evidence(
    connection: sa.Connection, blend: Blend, forecast: BlendForecast, *, as_of: datetime
) -> LotEvidence:
    """Return what the records say of one lot."""
    doubts = doubts_known(connection, as_of=as_of)
    readings = [r for of_tin in blend.readings.values() for r in of_tin]
    return LotEvidence(
        blend=blend,
        forecast=forecast,
        cure=cure_verdict(blend, cures_of(connection, blend, as_of=as_of)),
        bound_days=_bound_days(blend, forecast),
        real_time_days=float(forecast.extra.get("real_time_days") or 0.0),
        temperatures_c=aged_temperatures(blend),
        conditional_readings=sum(bool(doubts.of(r.id, r.taken_at, (r.instrument, r.cup))) for r in readings),
        # one that is known and has no bridge, or one that nobody recorded and the readings show
        unresolved_step=bool(
            unbridged(blend, method_changes(connection, as_of=as_of, study=blend.study.code))
        )
        or _failed(forecast, "unresolved_step"),
    )


def _failed(forecast: BlendForecast, name: str) -> bool:
    return any(e["name"] == name and e["passed"] is False for e in forecast.row["evidence"])


def evidence_of(
    lots: Sequence[LotEvidence],
    *,
    known: Mapping[str, ThinnerFacts],
    pack: str | None,
    asked_months: int | None = None,
) -> Evidence:
    """Return the facts of a claim for some lots of one blend in a pack.

    Heat and real time are those of all lots together, the bound that of the worst lot.
    """
    ordered = tuple(sorted(lots, key=lambda lot: (lot.bound_days is not None, lot.bound_days or 0.0)))
    worst = ordered[0]
    thinner = known.get(worst.forecast.thinner or "")
    facts = ClaimFacts(
        storage_c=worst.blend.study.storage_c,
        temperatures_c=tuple(sorted({t for lot in ordered for t in lot.temperatures_c})),
        criterion=criterion_words(worst.blend.study.limits),
        pack=pack,
        pack_tested=all(lot.forecast.pack == pack for lot in ordered),
        thinner_class=thinner.thinner_class if thinner else None,
        blend_tested=all(lot.finished for lot in ordered),
        function_tested=all(lot.cure is not None and not lot.cure.lost for lot in ordered),
        tins=sum(lot.forecast.row["tins"] for lot in ordered),
        readings=sum(lot.forecast.row["readings"] for lot in ordered),
        lots=sum(len(lot.real_times_days) for lot in ordered),
        lower_bound_days=worst.bound_days,
        real_time_days=max(lot.real_time_days for lot in ordered),
        heat_agrees=not any(lot.failed_line for lot in ordered),
        unresolved_step=any(lot.unresolved_step for lot in ordered),
        conditional_readings=sum(lot.conditional_readings for lot in ordered),
        priors_used=any(lot.forecast.row["priors_used"] for lot in ordered),
        asked_months=asked_months,
        questions=_questions(ordered),
    )
    return Evidence(lots=ordered, facts=facts, refusals=_refusals(ordered, known))


def judged(evidence: Evidence) -> Draft:
    """Return what may be claimed; a lot counts as confirming only if its own real time covers the claim."""
    found = judged_facts(evidence.facts, [days for lot in evidence.lots for days in lot.real_times_days])
    if not evidence.refusals:
        return found
    return replace(
        found,
        months=None,
        rung=found.rung if _class_known(evidence) else min(found.rung, Rung.HEAT_ONLY),
        may_be_written=Rung(min(found.rung, Rung.HEAT_ONLY)).words,
        refusals=(*found.refusals, *evidence.refusals),
    )


def judged_facts(facts: ClaimFacts, real_time_days: Sequence[float]) -> Draft:
    """Return what facts alone carry; `real_time_days` are those of each lot."""
    alone = draft(replace(facts, lots=1))
    carried = round_down(alone.cap_days or 0.0) or 0
    wanted = carried if facts.asked_months is None else min(carried, facts.asked_months)
    covering = sum(months(days) >= wanted - 1e-9 for days in real_time_days)
    return draft(replace(facts, lots=max(covering, 1)))


def criterion_words(limits: Mapping[str, float]) -> str | None:
    """Return what ends a life in words, or None where a study has no limit of the stored liquid."""
    words = {
        "viscosity_ratio": "viscosity {:g} × the day-0 value",
        "viscosity_max_mpas": "viscosity {:g} mPa·s",
        "gel_grade": "gel grade {:g}",
    }
    return " or ".join(text.format(limits[name]) for name, text in words.items() if name in limits) or None


def aged_temperatures(blend: Blend) -> frozenset[float]:
    """Return the temperatures of the stores whose tins were read after they had aged, [°C]."""
    return frozenset(
        sample.store_temperature_c
        for sample in blend.samples
        for r in blend.readings.get(sample.id, ())
        if (r.taken_at - sample.placed_at).total_seconds() >= AGED_DAYS * SECONDS_PER_DAY
    )


def _bound_days(blend: Blend, forecast: BlendForecast) -> float | None:
    """Return both fits' lower bound of the next tin, never past the last age at which all tins were good."""
    by_both = forecast.extra.get("statement", {})
    lower = by_both.get("life_days_lower95_next_tin", forecast.row["life_days_lower95_next_tin"])
    held = held_days(blend, forecast.row["initial_viscosity_mpas"])
    found = [float(lower)] if lower is not None and forecast.outcome != "too_early" else []
    # a lot that failed before a fit was possible bounds the claim all the same
    return min([*found, *([held] if held is not None else [])], default=None)


def held_days(blend: Blend, initial_mpas: float | None) -> float | None:
    """Return the last age at which every tin at the storage temperature was within its limits, [d].

    None where none has crossed one. Lots that stand together are each held against a level of their own.
    """
    if blend.key.product_lot is None:
        held = [held_days(lot, lot.initial_mpas()) for lot in by_lot(blend)]
        return min((days for days in held if days is not None), default=None)
    limit = limit_mpas(blend.study.limits, initial_mpas)
    grade = min(blend.study.limits.get("gel_grade", GELLED_FROM), GELLED_FROM)
    ends = []
    for sample in blend.at_storage.values():
        within = 0.0
        for r in blend.readings.get(sample.id, ()):
            if (r.gel_grade or 0) >= grade or (limit is not None and (r.viscosity_mpas or 0.0) >= limit):
                ends.append(within)
                break
            within = (r.taken_at - sample.placed_at).total_seconds() / SECONDS_PER_DAY
    return min(ends, default=None)


def _questions(lots: Sequence[LotEvidence]) -> tuple[Question, ...]:
    return tuple(
        Question(name=e["name"], says=f"lot {', '.join(lot.forecast.product_lots)}: {e['says']}")
        for lot in lots
        for e in lot.forecast.row["evidence"]
        if e["passed"] is not True
    )


def _class_known(evidence: Evidence) -> bool:
    return evidence.facts.thinner_class is not None or evidence.lots[0].forecast.thinner is None


def _refusals(lots: Sequence[LotEvidence], known: Mapping[str, ThinnerFacts]) -> tuple[Refusal, ...]:
    found = [
        Refusal(
            f"lot {', '.join(lot.forecast.product_lots)}: {lot.cure.words}",
            "a blend that still dries after storage, tested anew",
        )
        for lot in lots
        if lot.cure is not None and lot.cure.lost
    ]
    thinner = lots[0].forecast.thinner
    if thinner is not None and thinner not in known and not all(lot.finished for lot in lots):
        # it could be an ester, and those carry nothing before their own test
        words = "import a thinners table with its class"
        found.append(Refusal(f"the class of the thinner {thinner} is not on record", words))
    return tuple(found)
