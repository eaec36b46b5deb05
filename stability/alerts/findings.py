"""The words of the alerts: kinds, what a finding is about, and the finding itself.

Probabilities lie between 0 and 1, levels are % by mass, temperatures °C, dates local dates.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from enum import IntEnum, StrEnum

__all__ = ["Finding", "Kind", "Severity", "Subject", "cause_key", "same_cause"]


class Kind(StrEnum):
    """Everything that an alert can be about."""

    HEADING_FOR_LIMIT = "heading_for_limit"
    LIMIT_REACHED = "limit_reached"
    GELLED = "gelled"
    OUT_OF_TREND = "out_of_trend"
    BEND_SEEN = "bend_seen"
    STEP_SEEN = "step_seen"
    TINS_DISAGREE = "tins_disagree"
    CURE_LOST = "cure_lost"
    STORAGE_FASTER_THAN_PROMISED = "storage_faster_than_promised"
    CLOCKS_DISAGREE = "clocks_disagree"
    CHECK_DUE = "check_due"
    CHECK_OVERDUE = "check_overdue"
    STORE_EXCURSION = "store_excursion"
    PROBE_SILENT = "probe_silent"
    CALIBRATION_LAPSED = "calibration_lapsed"
    SESSION_HELD = "session_held"
    CLAIM_NOT_CARRIED = "claim_not_carried"
    CHANNEL_DEAD = "channel_dead"
    BLIND_PERIOD = "blind_period"


class Severity(IntEnum):
    """How soon somebody has to act: this week, today, now."""

    NOTE = 1
    WARNING = 2
    URGENT = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """What a finding is about: a blend of a study, one of its tins, a store, or a `matter` of the house.

    `matter` names what the other fields cannot: the day of a round, an instrument, a channel, the beginning
    of an excursion, the number of a statement. Fields that do not apply are None or empty.
    """

    study: str | None = None
    product: str | None = None
    thinner: str | None = None
    level_pct: float | None = None
    additive: str | None = None
    pack: str | None = None
    sample: str | None = None
    store: str | None = None
    product_lots: tuple[str, ...] = ()
    thinner_lots: tuple[str, ...] = ()
    matter: str | None = None

    @property
    def words(self) -> str:
        """The subject as one says it: sample, or blend, or store, or the matter itself."""
        level = "" if self.level_pct is None or self.thinner is None else f" {self.level_pct:g} %"
        thinner = f"{self.thinner}{level}" if self.thinner else None
        additive = f"+ {self.additive}" if self.additive else None
        blend = " ".join(
            part for part in (self.product, "in" if thinner else None, thinner, additive) if part
        )
        parts = [
            self.sample,
            blend or None,
            self.pack,
            self.store,
            None if blend or self.store else self.matter,
        ]
        return ", ".join(part for part in parts if part)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What a rule found, with everything a person needs to act on it.

    A finding with `opens` false keeps an open alert open (hysteresis) but never opens one.
    """

    kind: Kind
    subject: Subject
    severity: int
    says: str
    do_next: str
    probability: float | None = None
    priors_used: bool = False
    limit_date: date | None = None
    limit_date_range: tuple[date | None, date | None] | None = None
    cautions: tuple[str, ...] = ()
    evidence: tuple[str, ...] = ()
    opens: bool = True

    @property
    def cause_key(self) -> str:
        """The key under which this finding is one and the same alert at every look."""
        return cause_key(self.kind, self.subject)


# A second tin of the same blend in the same store is the same cause: the sample is told, not counted.
_ONE_PER_BLEND = frozenset(
    {
        Kind.HEADING_FOR_LIMIT,
        Kind.LIMIT_REACHED,
        Kind.GELLED,
        Kind.OUT_OF_TREND,
        Kind.TINS_DISAGREE,
        Kind.CURE_LOST,
        Kind.CHECK_DUE,
        Kind.CHECK_OVERDUE,
    }
)


def cause_key(kind: Kind, subject: Subject) -> str:
    """Return a string that stays the same for as long as the cause does: one per cause, not per tin.

    >>> cause_key(Kind.PROBE_SILENT, Subject(store="OVN-50"))
    'probe_silent|||||||OVN-50|||'
    """
    level = "" if subject.level_pct is None else format(subject.level_pct, ".10g")
    parts = [
        subject.study,
        subject.product,
        subject.thinner,
        level,
        subject.additive,
        subject.pack,
        subject.store,
        ",".join(_quoted(lot, ",") for lot in sorted(subject.product_lots)),
        ",".join(_quoted(lot, ",") for lot in sorted(subject.thinner_lots)),
        subject.matter,
    ]
    if subject.sample and kind not in _ONE_PER_BLEND:
        parts.append(subject.sample)
    return "|".join([kind.value, *(_quoted(part or "", "|") for part in parts)])


def same_cause(kind: Kind, one: Subject, other: Subject) -> bool:
    """Say whether two subjects are one cause although lots were pooled or parted between two looks."""
    if cause_key(kind, _without_lots(one)) != cause_key(kind, _without_lots(other)):
        return False
    return _overlap(one.product_lots, other.product_lots) and _overlap(one.thinner_lots, other.thinner_lots)


def _without_lots(subject: Subject) -> Subject:
    return replace(subject, product_lots=(), thinner_lots=())


def _overlap(one: tuple[str, ...], other: tuple[str, ...]) -> bool:
    return set(one) == set(other) or bool(set(one) & set(other))


def _quoted(text: str, separator: str) -> str:
    """Return text in which the separator cannot be mistaken for one between two parts."""
    return text.replace("\\", "\\\\").replace(separator, f"\\{separator}")
