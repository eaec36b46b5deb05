"""The guided round: today's list, one tin in hand, what is asked of it and what becomes of the answer.

Nothing here talks to anybody. Viscosities are mPa·s, temperatures °C; instants are aware UTC.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from stability.chemistry.cautions import Act, Tin, cautions_for, needs_acknowledgement
from stability.planning.rounds import RoundLine
from stability.records.engine import Records
from stability.records.events import events_of
from stability.records.readings import SampleAtBench, readings_of
from stability.services.checks_round import round_of, state_word
from stability.services.correct import set_aside
from stability.services.notes import note_act
from stability.services.opinion import to_heed
from stability.services.round_codes import tin_of_code
from stability.services.round_set_up import SetUp, full_scale_of, last_set_up, with_density

if TYPE_CHECKING:
    from stability.settings import Settings

__all__ = [
    "TOOK_OUT",
    "Act",
    "Stop",
    "Visit",
    "acknowledge",
    "note_bulged",
    "note_taken_out",
    "take_back",
    "tin_in_hand",
    "todays_stops",
]

TOOK_OUT = "took out a tin"
"""The verb under which a take-out stands in the event log."""
ELSEWHERE = frozenset({"cure"})
"""Checks whose results come as a table, not at the viscometer."""
_TURNS = ("viscosity", "gel", "mass", "appearance")
_RECENT = timedelta(hours=72)
_EVENTS_LOOKED_AT = 5000


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """One line of today's list; `checks` are those that the round asks for."""

    line: RoundLine
    checks: tuple[str, ...]
    state: str

    @property
    def sample(self) -> str:
        """The code of the tin."""
        return self.line.sample

    @property
    def take_out(self) -> bool:
        """Whether the tin only comes out, for tomorrow."""
        return self.line.take_out


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """One tin in hand: what is asked of it, what it was measured with last, what to heed.

    `to_acknowledge` are the lines that somebody has to answer for before the tin is opened.
    """

    sample: SampleAtBench
    checks: tuple[str, ...]
    on_list: bool
    set_up: SetUp
    last_set_up: SetUp
    full_scale_mpas: float | None
    grade: int | None
    read_today_at: datetime | None
    latest_at: datetime | None
    before_opening: tuple[str, ...]
    to_acknowledge: tuple[str, ...]

    def moment(self, now: datetime) -> datetime:
        """Return when a reading was taken: now to the second, unless one was taken in that very second."""
        second = now.replace(microsecond=0)
        return now if self.latest_at is not None and self.latest_at >= second else second

    def tin(self, *, grade: int | None = None, bulged: bool = False) -> Tin:
        """Return what the cautions need to know of it."""
        return to_heed(self.sample, self.grade if grade is None else grade, bulged=bulged)


def todays_stops(
    records: Records, *, now: datetime, settings: Settings, store: str | None = None
) -> tuple[Stop, ...]:
    """Return what is left of today's list in walking order, of one store or of all."""
    zone = ZoneInfo(settings.time_zone)
    today = now.astimezone(zone).date()
    found = round_of(records, as_of=now, settings=settings, within_days=0)
    with records.reading() as connection:
        out = _taken_out(connection, since=now - _RECENT)
    stops = []
    for line in found.lines:
        if store is not None and line.store.casefold() != store.strip().casefold():
            continue
        if line.take_out and _day(out.get(line.sample), zone) == today:
            continue
        checks = tuple(sorted((c for c in line.checks if c not in ELSEWHERE), key=_turn))
        if checks or line.take_out:
            stops.append(Stop(line=line, checks=checks, state=state_word(line, today, zone)))
    return tuple(stops)


def tin_in_hand(
    records: Records, typed: str, stops: Sequence[Stop], *, now: datetime, chosen: SetUp | None = None
) -> Visit:
    """Return the tin of a code with all that the round needs to know of it; `chosen` is today's set-up.

    Raises
    ------
    InputError
        If the code is not that of a tin.
    """
    with records.reading() as connection:
        sample = tin_of_code(connection, typed, at=now)
        stored = readings_of(connection, sample.id)
        earlier = [r for r in stored if not r.set_aside and r.taken_at <= now]
        last = last_set_up(earlier)
        set_up = last if chosen is None else with_density(chosen, last)
        full_scale = full_scale_of(connection, set_up, now)
        out_at = _taken_out(connection, since=now - _RECENT, sample=sample.sample).get(sample.sample)
    stop = next((s for s in stops if s.sample == sample.sample and not s.take_out), None)
    grades = [r.gel_grade for r in earlier if r.gel_grade is not None]
    last_at = earlier[-1].taken_at if earlier else None
    visit = Visit(
        sample=sample,
        checks=("viscosity", "gel") if stop is None else stop.checks,
        on_list=stop is not None,
        set_up=set_up,
        last_set_up=last,
        full_scale_mpas=full_scale,
        grade=grades[-1] if grades else None,
        read_today_at=last_at if last_at is not None and now - last_at < timedelta(hours=12) else None,
        latest_at=max((r.original["taken_at"] for r in stored), default=None),
        before_opening=(),
        to_acknowledge=(),
    )
    tin = visit.tin()
    pulled = () if out_at is not None else cautions_for(Act.TAKE_OUT, tin)
    return replace(
        visit,
        before_opening=cautions_for(Act.OPEN, tin),
        to_acknowledge=pulled if needs_acknowledgement(Act.TAKE_OUT, tin) else (),
    )


def acknowledge(
    records: Records, sample: str, act: Act, said: Sequence[str], *, person: str, now: datetime
) -> None:
    """Note that a person has seen these cautions before an act."""
    note_act(
        records,
        at=now,
        person=person,
        verb="acknowledged a caution",
        subject=sample,
        details={"act": act.value, "said": list(said)},
    )


def note_taken_out(records: Records, stop: Stop, *, person: str, now: datetime) -> None:
    """Note that a tin came out of its store to stand for its reading."""
    details = {"store": stop.line.store, "for": stop.line.due_at.isoformat()}
    note_act(records, at=now, person=person, verb=TOOK_OUT, subject=stop.sample, details=details)


def note_bulged(records: Records, sample: str, *, opened: bool, person: str, now: datetime) -> None:
    """Note that a tin was found bulged, and whether it stayed closed."""
    verb = "opens a bulged tin" if opened else "left a bulged tin closed"
    note_act(records, at=now, person=person, verb=verb, subject=sample, details={})


def take_back(  # noqa: PLR0913 - which reading, and who says why
    records: Records,
    sample: str,
    taken_at: datetime,
    *,
    reason: str,
    person: str,
    now: datetime,
    zone: ZoneInfo,
) -> str:
    """Take back a reading of this round: it stays on record and counts no longer. Return it in words.

    Raises
    ------
    InputError
        If it is set aside already.
    """
    done = set_aside(
        records,
        sample=sample,
        taken_at=taken_at,
        reason=f"taken back at the bench: {reason}"[:500],
        person=person,
        now=now,
        zone=zone,
    )
    return done.was


def _taken_out(
    connection: sa.Connection, *, since: datetime, sample: str | None = None
) -> dict[str, datetime]:
    """Return when tins were taken out by a round, lately; the newest time of each."""
    acts = events_of(connection, subject=sample, limit=_EVENTS_LOOKED_AT)
    return {act.subject: act.at for act in acts if act.verb == TOOK_OUT and act.at >= since}


def _turn(check: str) -> tuple[int, str]:
    return (_TURNS.index(check) if check in _TURNS else len(_TURNS)), check


def _day(at: datetime | None, zone: ZoneInfo) -> object:
    return None if at is None else at.astimezone(zone).date()
