"""What a claim is made of: rung, facts, caps, refusals, and the draft that comes of them.

Ages are days at the storage temperature, temperatures °C, claims whole months of mean length.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

from stability.units import months

__all__ = ["CLAIM_MONTHS", "Cap", "ClaimFacts", "Draft", "Question", "Refusal", "Rung", "round_down"]

CLAIM_MONTHS = (1, 2, 3, 6, 9, 12, 18, 24)


class Rung(IntEnum):
    """How strong the evidence is."""

    SOLUBILITY = 0
    HEAT_ONLY = 1
    PROVISIONAL = 2
    TYPICAL = 3
    CONFIRMED = 4

    @property
    def words(self) -> str:
        """What may be written on this rung."""
        return _RUNG_WORDS[self]


_RUNG_WORDS = {
    Rung.SOLUBILITY: "dissolves; storage not tested; use at once",
    Rung.HEAT_ONLY: "no months: ranking, and use within 4 weeks, retest",
    Rung.PROVISIONAL: "provisional figure, capped",
    Rung.TYPICAL: "figure for these lots, typical",
    Rung.CONFIRMED: "confirmed figure",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """An evidence check that did not pass: printed on the draft and answered by the author in words."""

    name: str
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ClaimFacts:
    """What stands behind a claim for one blend in one pack, worst lot first.

    `temperatures_c` are those of the stores whose readings went into the fit; `real_time_days` the oldest age
    read at the storage temperature; `lower_bound_days` the one-sided 95 % lower bound for the next tin of the
    worst lot, without priors.
    """

    storage_c: float
    temperatures_c: tuple[float, ...]
    criterion: str | None
    pack: str | None
    pack_tested: bool
    thinner_class: str | None
    blend_tested: bool
    function_tested: bool
    tins: int
    readings: int
    lots: int
    lower_bound_days: float | None
    real_time_days: float
    heat_agrees: bool = True
    unresolved_step: bool = False
    conditional_readings: int = 0
    priors_used: bool = False
    asked_months: int | None = None
    questions: tuple[Question, ...] = ()


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why no claim is carried, and the cheapest evidence that would lift it."""

    reason: str
    lifted_by: str


@dataclass(frozen=True, slots=True)
class Cap:
    """One upper end of the claim, [d], with its words."""

    days: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """What may be written: months, or None with the reasons."""

    months: int | None
    cap_days: float | None
    binding: Cap | None
    caps: tuple[Cap, ...]
    rung: Rung
    may_be_written: str
    refusals: tuple[Refusal, ...]
    answers_needed: tuple[Question, ...]

    @property
    def reasons_refused(self) -> tuple[str, ...]:
        """One line per reason, with what would lift it."""
        return tuple(f"{refusal.reason} – {refusal.lifted_by}" for refusal in self.refusals)

    @property
    def refused(self) -> bool:
        """Say whether the claim is refused."""
        return bool(self.refusals)


def round_down(days: float) -> int | None:
    """Return the longest claim that so many days carry, or None below one month.

    >>> [round_down(days) for days in (30, 31, 224, 336, 10_000)]
    [None, 1, 6, 9, 24]
    """
    # 12 × 30.4375 days are 12 months, not 11.999…
    carried = [claim for claim in CLAIM_MONTHS if claim <= months(days) + 1e-9]
    return carried[-1] if carried else None
