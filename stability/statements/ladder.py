"""The evidence ladder: from what was tested to how many months may be written, or why none.

Ages are days at the storage temperature, temperatures °C, claims whole months of mean length. The rungs are
our own words; the two caps on real time are practice borrowed from pharmaceutical guidance (ICH Q1E 2.4: not
beyond twice the real time covered, nor 12 months past it), and the ester rule is common practice, no source.
"""

from __future__ import annotations

import math

from stability.statements.claim import (
    CLAIM_MONTHS,
    Cap,
    ClaimFacts,
    Draft,
    Question,
    Refusal,
    Rung,
    round_down,
)
from stability.statements.extension import ExtensionCase, longest_claim_months
from stability.units import DAYS_PER_MONTH, months, significant

__all__ = [
    "BORROWED",
    "CLAIM_MONTHS",
    "Cap",
    "ClaimFacts",
    "Draft",
    "Question",
    "Refusal",
    "Rung",
    "draft",
    "round_down",
]

BORROWED = "practice borrowed from pharmaceutical guidance"
REAL_TIME_FOR_PROVISIONAL_DAYS = 90.0
"""Three months, as the trade's calendar of readings counts them."""

STORE_WITHIN_C = 2.5
FEWEST_TINS = 4
FEWEST_READINGS = 12
LOTS_FOR_CONFIRMED = 3
ESTER_CLASSES = frozenset({"ester", "glycol ether acetate"})

_Condition = tuple[bool, str, str]  # holds, the reason where it does not, what would lift it


def draft(facts: ClaimFacts) -> Draft:
    """Return what the evidence carries: rung, cap, months rounded down; refused where a condition fails."""
    caps = _caps(facts)
    binding = min(caps, key=lambda cap: cap.days, default=None)
    carried = None if binding is None else round_down(binding.days)
    rung = _rung(facts, carried)
    refusals = (*_conditions(facts), *_shortfalls(facts, binding, carried, rung))
    granted = None if refusals else _granted(facts, carried)
    return Draft(
        months=granted,
        cap_days=None if binding is None else binding.days,
        binding=binding,
        caps=caps,
        rung=rung,
        may_be_written=_written(granted, rung),
        refusals=refusals,
        answers_needed=facts.questions,
    )


def _granted(facts: ClaimFacts, carried: int | None) -> int | None:
    if facts.asked_months is None or carried is None:
        return carried
    return min(facts.asked_months, carried)


def _written(granted: int | None, rung: Rung) -> str:
    if granted is None:
        return Rung(min(rung, Rung.HEAT_ONLY)).words
    return f"{granted} {'month' if granted == 1 else 'months'}: {rung.words}"


def _caps(facts: ClaimFacts) -> tuple[Cap, ...]:
    real_months = months(max(facts.real_time_days, 0.0))
    longest = longest_claim_months(real_months, ExtensionCase.STATISTICS) * DAYS_PER_MONTH
    twice = longest < facts.real_time_days + 12 * DAYS_PER_MONTH - 1e-9
    rule = "twice the real time covered" if twice else "the real time covered + 12 months"
    caps = [Cap(longest, f"{rule} ({significant(facts.real_time_days)} d; {BORROWED})")]
    if not _heat_carries(facts):
        words = "the real time covered: no two heated stores carry it further"
        caps.append(Cap(max(facts.real_time_days, 0.0), words))
    if _bounded(facts) and facts.lower_bound_days is not None and math.isfinite(facts.lower_bound_days):
        caps.append(
            Cap(facts.lower_bound_days, "one-sided 95 % lower bound for the next tin of the worst lot")
        )
    return tuple(caps)


def _rung(facts: ClaimFacts, carried: int | None) -> Rung:
    """Return the rung of the evidence; an ester without its own finished test stays on rung 1."""
    if not facts.temperatures_c:
        return Rung.SOLUBILITY
    if _untested_ester(facts) or facts.real_time_days < REAL_TIME_FOR_PROVISIONAL_DAYS:
        return Rung.HEAT_ONLY
    if carried is not None and facts.pack_tested and _covers(facts, carried):
        confirmed = facts.lots >= LOTS_FOR_CONFIRMED and facts.function_tested
        return Rung.CONFIRMED if confirmed else Rung.TYPICAL
    return Rung.PROVISIONAL if _heat_carries(facts) else Rung.HEAT_ONLY


def _covers(facts: ClaimFacts, carried: int) -> bool:
    """Say whether real time covers the claim: the reading that closes it lies on or after its day."""
    wanted = carried if facts.asked_months is None else min(carried, facts.asked_months)
    return months(facts.real_time_days) >= wanted - 1e-9


def _heated(facts: ClaimFacts) -> set[float]:
    return {t for t in facts.temperatures_c if t > facts.storage_c + STORE_WITHIN_C}


def _heat_carries(facts: ClaimFacts) -> bool:
    """Say whether heat supports more than real time has shown: two heated stores, agreeing with it."""
    return len(_heated(facts)) >= 2 and facts.heat_agrees


def _bounded(facts: ClaimFacts) -> bool:
    """Say whether there is a lower bound: infinity is one, not-a-number is none."""
    return facts.lower_bound_days is not None and not math.isnan(facts.lower_bound_days)


def _untested_ester(facts: ClaimFacts) -> bool:
    return facts.thinner_class in ESTER_CLASSES and not facts.blend_tested


def _conditions(facts: ClaimFacts) -> tuple[Refusal, ...]:
    """Return the conditions of any claim that are not met."""
    wanted = (*_of_the_stores(facts), *_of_the_readings(facts), *_of_the_blend(facts))
    return tuple(Refusal(reason, lifted) for holds, reason, lifted in wanted if not holds)


def _of_the_stores(facts: ClaimFacts) -> tuple[_Condition, ...]:
    stores = set(facts.temperatures_c)
    at_storage = any(abs(t - facts.storage_c) <= STORE_WITHIN_C for t in stores)
    storage = f"{facts.storage_c:g} °C"
    return (
        (
            at_storage,
            f"no store within {STORE_WITHIN_C:g} °C of the storage temperature {storage}",
            f"put two tins at {storage} and read them",
        ),
        (
            at_storage or len(stores) != 1,
            "one temperature only, and not the storage temperature",
            f"a second store, best at {storage}",
        ),
    )


def _of_the_readings(facts: ClaimFacts) -> tuple[_Condition, ...]:
    return (
        (
            not facts.unresolved_step,
            "unresolved step: a step in the readings is not resolved",
            "record what changed that day, with a bridge reading: "
            "one tin read with the old and the new setting on one day",
        ),
        (
            facts.tins >= FEWEST_TINS,
            f"{facts.tins} tins, at least {FEWEST_TINS} are needed",
            f"{FEWEST_TINS - facts.tins} more of the same lot",
        ),
        (
            facts.readings >= FEWEST_READINGS,
            f"{facts.readings} readings, at least {FEWEST_READINGS} are needed",
            f"{FEWEST_READINGS - facts.readings} more readings",
        ),
        (
            not facts.conditional_readings,
            f"{facts.conditional_readings} conditional readings",
            "have a named person release or repeat them",
        ),
        (
            not facts.priors_used,
            "the bound rests on prior assumptions, which no statement may use",
            "take the fit without them",
        ),
    )


def _of_the_blend(facts: ClaimFacts) -> tuple[_Condition, ...]:
    return (
        (
            bool(facts.criterion),
            "no criterion: a life without its limit is not a number",
            "give the study a limit",
        ),
        (
            facts.pack_tested,
            f"the pack {facts.pack or 'of the claim'} was not tested",
            "a claim names a tested pack: start tins in this one",
        ),
        (
            not _untested_ester(facts),
            "ester thinner without a finished test of this very blend, function test included",
            "finish this blend's own test, cure after storage included",
        ),
    )


def _shortfalls(
    facts: ClaimFacts, binding: Cap | None, carried: int | None, rung: Rung
) -> tuple[Refusal, ...]:
    """Return why the evidence carries no months, or not those that were asked for."""
    found = []
    if not _bounded(facts):
        found.append(Refusal("no lower bound of the life yet", "more readings: the fit is too early"))
    if rung <= Rung.HEAT_ONLY and not _untested_ester(facts):
        found.append(Refusal(f"rung {rung:d}: {rung.words}", _way_up(facts)))
    if binding is None or not _bounded(facts):
        return tuple(found)
    if carried is None:
        found.append(
            Refusal(f"not one month is carried: {significant(binding.days)} d by {binding.words}", "wait")
        )
    elif facts.asked_months is not None and facts.asked_months > carried:
        found.append(_asked_too_much(facts, binding, carried, facts.asked_months))
    return tuple(found)


def _way_up(facts: ClaimFacts) -> str:
    missing = REAL_TIME_FOR_PROVISIONAL_DAYS - facts.real_time_days
    if missing > 0:
        return f"{missing:.0f} more days of real time at {facts.storage_c:g} °C"
    return "a reading at the storage temperature in the pack of the claim"


def _asked_too_much(facts: ClaimFacts, binding: Cap, carried: int, asked: int) -> Refusal:
    exact = significant(months(binding.days))
    reason = f"{asked} months asked, {carried} carried: {exact} months by {binding.words}"
    bound = facts.lower_bound_days
    if bound is not None and months(bound) + 1e-9 < asked:
        return Refusal(reason, "the bound is too short: more tins or another hot store tighten it")
    if not _heat_carries(facts):
        return Refusal(reason, "two heated stores that agree with real time, or real time that covers it")
    needed = max(asked / 2, asked - 12) * DAYS_PER_MONTH
    more = math.ceil(needed - facts.real_time_days - 1e-9)
    return Refusal(
        reason, f"passes with a reading at day {math.ceil(needed - 1e-9)} or later, {more} days on"
    )
