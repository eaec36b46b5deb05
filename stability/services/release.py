"""Conditional readings: which there are, what was concluded from them, and their release by a named person.

Viscosities are mPa·s; instants are aware UTC. A release covers what is known when it is made: what is found
out later makes the same reading conditional again.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from stability.bench.instruments import Span
from stability.errors import InputError
from stability.records.engine import Records
from stability.records.events import note
from stability.records.history import ReadingFacts
from stability.records.instruments import cards
from stability.records.people import persons
from stability.records.releases import (
    ForecastTouched,
    StatementTouched,
    forecasts_of_blends,
    insert_releases,
    statements_of_blends,
)
from stability.services.blends import Blend, blends_of
from stability.services.conditional import Doubts, doubts_known
from stability.services.faults import typed
from stability.services.lookup import nearest

__all__ = ["Impact", "Released", "Touched", "Wanted", "impact", "named_person", "release", "told_reason"]

_LONGEST_REASON = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Which readings are meant; what is left out means all."""

    instrument: str | None = None
    sample: str | None = None
    since: datetime | None = None
    until: datetime | None = None

    def covers(self, sample: str, taken_at: datetime) -> bool:
        """Say whether a reading of a sample at an instant is meant."""
        if self.sample is not None and sample.casefold() != self.sample.strip().casefold():
            return False
        after = self.since is None or taken_at >= self.since
        return after and (self.until is None or taken_at <= self.until)


@dataclass(frozen=True, slots=True, kw_only=True)
class Touched:
    """A reading that rests on an instrument that was found out; `conditional` until it is released."""

    reading_id: int
    study: str
    sample: str
    blend_words: str
    taken_at: datetime
    entered_at: datetime
    viscosity_mpas: float | None
    gel_grade: int | None
    instrument: str
    says: tuple[str, ...]
    conditional: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Impact:
    """What rests on instruments that were found out: readings, frozen forecasts, statements."""

    readings: tuple[Touched, ...]
    forecasts: tuple[tuple[str, ForecastTouched], ...]
    """With the blend in words."""
    statements: tuple[tuple[str, StatementTouched], ...]

    @property
    def conditional(self) -> tuple[Touched, ...]:
        """The readings that wait for a release."""
        return tuple(reading for reading in self.readings if reading.conditional)


@dataclass(frozen=True, slots=True, kw_only=True)
class Released:
    """What one act released, by whom and why."""

    readings: tuple[Touched, ...]
    person: str
    reason: str


def impact(records: Records, wanted: Wanted, *, as_of: datetime) -> Impact:
    """Return what instruments that were found out have touched, as known at an instant.

    Raises
    ------
    InputError
        If the instrument is not on record.
    """
    with records.reading() as connection:
        return _impact(connection, wanted, as_of=as_of)


def release(records: Records, wanted: Wanted, *, reason: str, person: str, now: datetime) -> Released:
    """Release the conditional readings that are meant; a named person says why they may count.

    Raises
    ------
    InputError
        If nobody is named, no reason is given, or none of the readings meant is conditional.
    """
    words = told_reason(reason, "a release")
    with records.writing() as connection:
        named_person(connection, person, "a release")
        found = _impact(connection, wanted, as_of=now).conditional
        if not found:
            raise InputError(
                "no reading that is meant is conditional", hint="stability release lists those that are"
            )
        known = cards(connection, at=now)
        numbers = [(reading.reading_id, known[reading.instrument].id) for reading in found]
        insert_releases(connection, numbers, person=person, reason=words, at=now)
        note(
            connection,
            at=now,
            person=person,
            verb="released readings",
            subject=", ".join(sorted({reading.instrument for reading in found})),
            details={
                "readings": sorted({reading.reading_id for reading in found}),
                "because": sorted({says for reading in found for says in reading.says}),
                "reason": words,
            },
        )
    return Released(readings=found, person=person, reason=words)


def told_reason(reason: str, what: str) -> str:
    """Return a reason on one line.

    Raises
    ------
    InputError
        If it is empty or too long, or does not print.
    """
    words = " ".join(reason.split())
    if not 0 < len(words) <= _LONGEST_REASON or not words.isprintable():
        raise InputError(
            f"{what} needs a reason of 1 to {_LONGEST_REASON} characters", hint="--reason 'what was found'"
        )
    return words


def named_person(connection: sa.Connection, person: str, what: str) -> None:
    """Refuse an act of nobody in particular; where people are on record it must be one of them.

    Raises
    ------
    InputError
        If the person is an account that is bound to nobody, or not on record.
    """
    known = [row.person for row in persons(connection)]
    if person.startswith(("account ", "uid ")) and person not in known:
        raise InputError(f"{what} is made by a named person, not by {person}", hint="--person NAME")
    if known and person not in known:
        near = nearest(person, known, most=1)
        raise InputError(
            f"person {typed(person)} is not on record",
            hint=near or "stability person NAME --role ROLE registers one",
        )


def _impact(connection: sa.Connection, wanted: Wanted, *, as_of: datetime) -> Impact:
    instrument = None if wanted.instrument is None else _on_record(connection, wanted.instrument, as_of)
    doubts = doubts_known(connection, as_of=as_of)
    readings: list[Touched] = []
    words: dict[str, str] = {}
    for blend in blends_of(connection, as_of=as_of) if doubts.spans else ():
        found = [each for each in _touched(doubts, blend, wanted) if instrument in (None, each.instrument)]
        if found:
            words[blend.key.text] = blend.key.words
            readings += found
    if not readings:
        return Impact(readings=(), forecasts=(), statements=())
    since = min(reading.entered_at for reading in readings)
    forecasts = forecasts_of_blends(connection, words, since=since, as_of=as_of)
    statements = statements_of_blends(connection, words, since=since, as_of=as_of)
    return Impact(
        readings=tuple(sorted(readings, key=lambda r: (r.taken_at, r.sample, r.instrument))),
        forecasts=tuple((words[each.blend_key], each) for each in forecasts),
        statements=tuple((words[each.blend_key], each) for each in statements),
    )


def _touched(doubts: Doubts, blend: Blend, wanted: Wanted) -> Iterator[Touched]:
    for sample in blend.samples:
        for reading in blend.readings.get(sample.id, ()):
            if wanted.covers(sample.sample, reading.taken_at):
                yield from _of_reading(doubts, blend, sample.sample, reading)


def _of_reading(doubts: Doubts, blend: Blend, sample: str, reading: ReadingFacts) -> Iterator[Touched]:
    means = (reading.instrument, reading.cup)
    waiting = {name for name, _ in doubts.of(reading.id, reading.taken_at, means)}
    by_name: dict[str, list[Span]] = {}
    for name, span in doubts.touching(reading.taken_at, means):
        by_name.setdefault(name, []).append(span)
    for name, spans in by_name.items():
        yield Touched(
            reading_id=reading.id,
            study=blend.key.study,
            sample=sample,
            blend_words=blend.key.words,
            taken_at=reading.taken_at,
            entered_at=reading.first_entered_at,
            viscosity_mpas=reading.viscosity_mpas,
            gel_grade=reading.gel_grade,
            instrument=name,
            says=tuple(dict.fromkeys(span.says for span in spans)),
            conditional=name in waiting,
        )


def _on_record(connection: sa.Connection, instrument: str, as_of: datetime) -> str:
    known = cards(connection, at=as_of)
    by_fold = {name.casefold(): name for name in known}
    found = by_fold.get(instrument.strip().casefold())
    if found is None:
        hint = nearest(instrument, list(known), most=1) or "stability instrument list shows all"
        raise InputError(f"instrument {typed(instrument)} is not on record", hint=hint)
    return found
