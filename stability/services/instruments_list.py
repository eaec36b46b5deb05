"""The instruments at a glance: what each is, its certificate, its last check, what is held or waits."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime

from stability.bench.instruments import Check
from stability.records.engine import Records
from stability.records.instruments import InstrumentCard, cards
from stability.records.releases import means_of_readings
from stability.services.instruments import (
    certificates_by_instrument,
    checks_by_instrument,
    held,
    own_cup,
)
from stability.services.release import Wanted, impact

__all__ = ["InstrumentLine", "instruments_listed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentLine:
    """One instrument at an instant; `held` says why its readings are, `conditional` how many wait."""

    card: InstrumentCard
    words: str
    due_at: datetime | None
    lapsed: bool
    last_check: Check | None
    held: str | None
    readings: int
    conditional: int


def instruments_listed(records: Records, *, as_of: datetime) -> tuple[InstrumentLine, ...]:
    """Return every instrument on record, by name."""
    with records.reading() as connection:
        known = cards(connection, at=as_of)
        certificates = certificates_by_instrument(connection, as_of=as_of)
        checks = checks_by_instrument(connection, as_of=as_of)
        holds = held(connection, at=as_of, as_of=as_of)
        means = means_of_readings(connection, as_of=as_of)
    used = Counter(name for names in means.values() for name in dict.fromkeys(names))
    waiting = Counter(each.instrument for each in impact(records, Wanted(), as_of=as_of).conditional)
    found = []
    for name, card in known.items():
        due_at = max(certificates.get(name, ()), key=lambda c: c.at).due_at if name in certificates else None
        found.append(
            InstrumentLine(
                card=card,
                words=_words(card),
                due_at=due_at,
                lapsed=due_at is not None and due_at < as_of,
                last_check=checks[name][-1] if name in checks else None,
                held=holds[name].says if name in holds else None,
                readings=used[name],
                conditional=waiting[name],
            )
        )
    return tuple(found)


def _words(card: InstrumentCard) -> str:
    """Return what an instrument is in words: its ranges, or the cup it follows."""
    cup = own_cup(card)
    if cup is not None:
        return f"cup after {cup.follows}, factor {cup.factor:g}"
    if card.kind == "cup":
        return "cup, follows no standard on record"
    spindles = list(dict.fromkeys(each.spindle for each in card.ranges))
    if spindles:
        return f"{card.kind}, spindles {', '.join(spindles)}"
    if card.full_scale_mpas is not None:
        return f"{card.kind}, full scale {card.full_scale_mpas:g} mPa·s"
    return card.kind if card.factor is None else f"{card.kind}, factor {card.factor:g}"
