"""Logging a reading at the bench: check, doubt, ask, store once and for ever.

A fault refuses the entry and writes nothing. A doubt never loses a reading: it is stored with its doubt,
unless whoever is asked repeats it or takes it back, and then the attempt stays in the event log.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from stability.bench.gel import GELLED_FROM
from stability.bench.plausible import Doubt, unit_smell
from stability.errors import InputError, RefusedError
from stability.records.engine import Records
from stability.records.events import note
from stability.records.readings import StoredReading, insert_reading, readings_of
from stability.services.entry import ReadingEntry, Resolved, faults_on_its_face
from stability.services.lookup import known_sample
from stability.services.opinion import Case, Opinion, opinion_of, value_words
from stability.services.replies import Answer, OnDoubt, Reply, keep, refuse
from stability.services.resolve import held_words, resolved, with_means
from stability.services.times import local_words, refuse_out_of_time

if TYPE_CHECKING:
    from stability.services.instruments import Means

__all__ = [
    "Answer",
    "Doubt",
    "Logged",
    "OnDoubt",
    "Reply",
    "keep",
    "log_reading",
    "note_refusal",
    "refuse",
    "refuse_against",
    "refuse_early",
]

_COMPARED = tuple(f.name for f in fields(ReadingEntry) if f.name not in ("sample", "taken_at", "note"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Logged:
    """What became of an entry; `already` says that the same reading had been stored before."""

    reading_id: int | None
    taken_at: datetime
    viscosity_mpas: float | None
    echo: str
    doubts: tuple[Doubt, ...]
    cautions: tuple[str, ...]
    stored: bool
    already: bool = False
    answer: Answer | None = None
    advice: str | None = None
    uncertainty_mpas: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Weighed:
    case: Case
    opinion: Opinion
    same: StoredReading | None
    held: str | None


def log_reading(
    records: Records,
    entry: ReadingEntry,
    *,
    person: str,
    now: datetime,
    zone: ZoneInfo,
    on_doubt: OnDoubt | None = None,
) -> Logged:
    """Check an entry and store it; a doubted one as `on_doubt` answers, by default with its doubts.

    Raises
    ------
    InputError
        If the entry is at fault: one line each, nothing was written.
    RefusedError
        If the session with its instrument is held; the attempt is kept in the event log.
    """
    with records.reading() as connection:
        weighed = _weigh(connection, entry, now=now, zone=zone)
    if weighed.same is not None:
        return _logged(weighed, weighed.same.id, stored=False)
    if weighed.held is not None:
        note_refusal(records, weighed.case.entry, because=f"held: {weighed.held}", person=person, now=now)
        raise RefusedError(
            [weighed.held],
            hint="check again (stability instrument check), or a named person lets it go on "
            "with a reason (stability instrument override); the attempt is in the event log",
        )
    opinion = weighed.opinion
    # Nobody is asked while the database is held: an answer may take minutes.
    reply = (on_doubt or keep())(opinion.echo, opinion.doubts) if opinion.doubts else None
    if reply is not None and reply.answer is not Answer.KEEP:
        because = f"{reply.answer.value}: {'; '.join(doubt.sentence for doubt in opinion.doubts)}"
        note_refusal(records, entry, because=because, person=person, now=now)
        return _logged(weighed, None, stored=False, answer=reply.answer)
    number = _store(records, weighed, reason=reply.reason if reply else None, person=person, now=now)
    return _logged(weighed, number, stored=True, answer=reply.answer if reply else None)


def refuse_early(records: Records, entry: ReadingEntry, *, now: datetime, zone: ZoneInfo) -> None:
    """Refuse what would be refused anyway, before more is asked; nothing is written.

    Raises
    ------
    InputError
        If the entry is at fault as far as it goes.
    """
    with records.reading() as connection:
        _weigh(connection, entry, now=now, zone=zone)


def note_refusal(records: Records, entry: ReadingEntry, *, because: str, person: str, now: datetime) -> None:
    """Keep an attempt that was not stored, as typed, in the event log."""
    typed = {f.name: getattr(entry, f.name) for f in fields(entry) if getattr(entry, f.name) is not None}
    with records.writing() as connection:
        note(
            connection,
            at=now,
            person=person,
            verb="refused attempt",
            subject=entry.sample,
            details={"typed": typed, "because": because},
        )


def _weigh(connection: sa.Connection, entry: ReadingEntry, *, now: datetime, zone: ZoneInfo) -> _Weighed:
    taken_at = entry.taken_at or now.replace(microsecond=0)
    entry = replace(entry, sample=entry.sample.strip(), taken_at=taken_at)
    sample = known_sample(connection, entry.sample, at=taken_at)
    faults, hints = list(faults_on_its_face(entry)), []
    means: Means | None = None
    value = Resolved(viscosity_mpas=None)
    try:
        entry, means = with_means(connection, entry)
        value = resolved(entry, means)
    except InputError as exc:
        faults.extend(exc.faults)
        hints.append(exc.hint)
    try:
        refuse_out_of_time(sample, taken_at, now=now, zone=zone)
    except InputError as exc:
        faults.extend(exc.faults)
        hints.append(exc.hint)
    if faults:
        raise InputError(*dict.fromkeys(faults), hint=next((hint for hint in hints if hint), None))
    stored = readings_of(connection, sample.id)
    same = _same_instant(stored, entry, value, zone=zone)
    earlier = [r for r in stored if r.taken_at < taken_at and not r.set_aside]
    if same is None:
        refuse_against(earlier, entry, value, zone=zone)
    case = Case(entry=entry, taken_at=taken_at, value=value, sample=sample, earlier=earlier, means=means)
    return _Weighed(
        case=case,
        opinion=opinion_of(connection, case, now=now, zone=zone),
        same=same,
        held=held_words(connection, means, at=taken_at, now=now),
    )


def _same_instant(
    stored: Sequence[StoredReading], entry: ReadingEntry, value: Resolved, *, zone: ZoneInfo
) -> StoredReading | None:
    """Return the stored reading that this one repeats; refuse one that contradicts it."""
    found = next((r for r in stored if r.original["taken_at"] == entry.taken_at), None)
    if found is None:
        return None
    if not any(_agrees(row, entry, value) for row in (found.counts, found.original)):
        row = found.counts
        said = value_words(row["viscosity_mpas"], bool(row["over_range"]), row["gel_grade"])
        raise InputError(
            f"sample {entry.sample} has another reading at {local_words(found.taken_at, zone)}: {said}",
            hint="stability correct changes it and keeps the original",
        )
    return found


def _agrees(row: Mapping[str, Any], entry: ReadingEntry, value: Resolved) -> bool:
    given = {name: getattr(entry, name) for name in _COMPARED}
    given["viscosity_mpas"] = value.viscosity_mpas
    return bool(value.over_range) == bool(row["over_range"]) and all(
        row[name] == wanted for name, wanted in given.items() if wanted is not None
    )


def refuse_against(
    earlier: Sequence[StoredReading], entry: ReadingEntry, value: Resolved, *, zone: ZoneInfo
) -> None:
    """Refuse a number of a gelled sample, and one that smells of another unit.

    Raises
    ------
    InputError
        If what is known of the sample speaks against the number.
    """
    if value.viscosity_mpas is None:
        return
    gelled = next((r for r in earlier if (r.gel_grade or 0) >= GELLED_FROM), None)
    if gelled is not None:
        raise InputError(
            f"sample {entry.sample} was graded {gelled.gel_grade} at {local_words(gelled.taken_at, zone)}: "
            "a gelled sample has no viscosity",
            hint="log its grade alone, or correct the earlier grade",
        )
    numbers = [r.viscosity_mpas for r in earlier if r.viscosity_mpas is not None]
    smell = unit_smell(value.viscosity_mpas, numbers[-1] if numbers else None, entry.gel_grade)
    if smell is not None:
        raise InputError(
            f"sample {entry.sample}: {smell}", hint="if it really thickened, grade it 2 or worse (--grade)"
        )


def _store(records: Records, weighed: _Weighed, *, reason: str | None, person: str, now: datetime) -> int:
    case = weighed.case
    entry, value = case.entry, case.value
    values = {f.name: getattr(entry, f.name) for f in fields(entry) if f.name != "sample"}
    kept = f"kept: {reason}" if reason else None
    values.update(
        sample_id=case.sample.id,
        viscosity_mpas=value.viscosity_mpas,
        viscosity_text=value.text,
        uncertainty_mpas=value.uncertainty_mpas,
        over_range=int(value.over_range),
        note="; ".join(text for text in (entry.note, kept) if text) or None,
        rule=value.rule,
        entered_at=now,
        entered_by=person,
    )
    details = {
        "taken_at": case.taken_at.isoformat(),
        "viscosity_mpas": value.viscosity_mpas,
        "gel_grade": entry.gel_grade,
        "doubts": [doubt.kind.value for doubt in weighed.opinion.doubts],
        "kept_because": reason,
    }
    try:
        with records.writing() as connection:
            number = insert_reading(connection, values)
            note(
                connection,
                at=now,
                person=person,
                verb="logged a reading",
                subject=entry.sample,
                details={"reading": number, **details},
            )
    except sa.exc.IntegrityError:
        raise InputError(
            f"sample {entry.sample} got another reading at the same instant meanwhile",
            hint="log it again to see what is stored",
        ) from None
    return number


def _logged(weighed: _Weighed, number: int | None, *, stored: bool, answer: Answer | None = None) -> Logged:
    case, opinion = weighed.case, weighed.opinion
    return Logged(
        reading_id=number,
        taken_at=case.taken_at,
        viscosity_mpas=case.value.viscosity_mpas,
        echo=opinion.echo,
        doubts=() if weighed.same else opinion.doubts,
        cautions=opinion.cautions,
        stored=stored,
        already=weighed.same is not None,
        answer=answer,
        advice=case.value.advice,
        uncertainty_mpas=case.value.uncertainty_mpas,
    )
