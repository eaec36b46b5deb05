"""The round: what is due, late or to be taken out, tin by tin in walking order, and the same as jobs.

Ages are days since a sample was placed, temperatures °C, viscosities mPa·s, durations minutes.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from stability.board.view import WorkLine
from stability.chemistry.cautions import STANDING_LINE
from stability.planning.rounds import RoundLine, minutes_for, walking_order
from stability.planning.windows import CheckState
from stability.records.engine import Records
from stability.records.history import ReadingFacts
from stability.records.materials import ThinnerFacts, thinners
from stability.services.checks import Planned, open_blends, planned
from stability.services.judge import store_cautions

if TYPE_CHECKING:
    from stability.settings import Settings

__all__ = ["Round", "round_of", "round_rows", "state_word", "work_lines"]

_OPEN = (CheckState.PLANNED, CheckState.DUE, CheckState.LATE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Round:
    """One round; `studies` gives the study of each sample, `cautions` end with the standing line.

    `checks` are all planned checks of running studies, done or not.
    """

    as_of: datetime
    lines: tuple[RoundLine, ...]
    studies: Mapping[str, str]
    cautions: tuple[str, ...]
    checks: tuple[Planned, ...] = ()

    @property
    def minutes(self) -> float:
        """How long it will take."""
        return sum(line.minutes for line in self.lines)


@dataclass(frozen=True, slots=True)
class _Last:
    """What is known of a tin before its next check."""

    readings: Mapping[int, tuple[ReadingFacts, ...]]
    thinners: Mapping[str, ThinnerFacts]

    def viscosity_mpas(self, sample_id: int) -> float | None:
        of_tin = self.readings.get(sample_id, ())
        return next((r.viscosity_mpas for r in reversed(of_tin) if r.viscosity_mpas is not None), None)


def round_of(records: Records, *, as_of: datetime, settings: Settings, within_days: int = 1) -> Round:
    """Return the round up to so many days after the local day of `as_of`, in walking order."""
    with records.reading() as connection:
        blends = open_blends(connection, as_of=as_of)
        checks = planned(connection, blends, as_of=as_of, settings=settings)
        known = thinners(connection)
    last = _Last({k: v for blend in blends for k, v in blend.readings.items()}, known)
    zone = ZoneInfo(settings.time_zone)
    today = as_of.astimezone(zone).date()
    final_day = today + timedelta(days=within_days)
    lines: list[RoundLine] = []
    for same in _by_tin_and_day(checks):
        first = same[0]
        if first.due.planned_on <= final_day or first.state is CheckState.LATE:
            lines.append(_line(same, last, take_out=False))
        out_at = first.due.take_out_at
        if out_at is not None and today <= out_at.astimezone(zone).date() <= final_day:
            lines.append(_line(same, last, take_out=True))
    said = (words for line in lines for words in line.cautions)
    return Round(
        as_of=as_of,
        lines=walking_order(lines),
        studies={check.sample.sample: check.blend.study for check in checks},
        cautions=(*dict.fromkeys(said), STANDING_LINE),
        checks=checks,
    )


def round_rows(found: Round) -> list[dict[str, Any]]:
    """Return a round as rows of plain values, one per tin and act."""
    return [_row(line, found) for line in found.lines]


def work_lines(found: Round, *, zone: ZoneInfo) -> tuple[WorkLine, ...]:
    """Return a round as jobs: tins of one study and store with the same checks and day, in walking order."""
    today = found.as_of.astimezone(zone).date()
    jobs: dict[tuple[object, ...], list[RoundLine]] = {}
    for line in found.lines:
        word = state_word(line, today, zone)
        key = (line.take_out, line.store, found.studies[line.sample], line.checks, word)
        jobs.setdefault(key, []).append(line)
    return tuple(
        WorkLine(
            study=found.studies[same[0].sample],
            store=same[0].store,
            checks=same[0].checks,
            samples=tuple(dict.fromkeys(line.sample for line in same)),
            state=state_word(same[0], today, zone),
            due_at=min(line.due_at for line in same),
            minutes=sum(line.minutes for line in same),
        )
        for same in jobs.values()
    )


def _by_tin_and_day(checks: Iterable[Planned]) -> Sequence[Sequence[Planned]]:
    groups: dict[tuple[int, datetime], list[Planned]] = {}
    for check in checks:
        if check.state in _OPEN:
            groups.setdefault((check.sample.id, check.due.due_at), []).append(check)
    return list(groups.values())


def _line(same: Sequence[Planned], last: _Last, *, take_out: bool) -> RoundLine:
    first = same[0]
    kinds = tuple(check.kind for check in same)
    temperature_c = first.sample.store_temperature_c
    late = any(check.state is CheckState.LATE for check in same)
    due_at = first.due.take_out_at if take_out and first.due.take_out_at else first.due.due_at
    return RoundLine(
        sample=first.sample.sample,
        words=first.blend.words,
        store=first.store,
        store_temperature_c=temperature_c,
        checks=kinds,
        due_at=due_at,
        state=CheckState.LATE if late else first.state,
        take_out=take_out,
        age_days=first.due.age_days,
        moved=first.due.moved,
        viscosity_mpas=last.viscosity_mpas(first.sample.id),
        minutes=minutes_for(kinds, take_out=take_out),
        cautions=store_cautions(temperature_c, last.thinners.get(first.blend.thinner or "")),
    )


def state_word(line: RoundLine, today: date, zone: ZoneInfo) -> str:
    """Return where a line stands in words: "late", "due today", "take out tomorrow" …."""
    days = (line.due_at.astimezone(zone).date() - today).days
    when = {0: "today", 1: "tomorrow"}.get(days, f"in {days} days")
    if line.take_out:
        return f"take out {when}"
    if line.state is CheckState.LATE:
        return "late"
    return f"due {when}" if days >= 0 else "due, still in its window"


def _row(line: RoundLine, found: Round) -> dict[str, Any]:
    return {
        "sample": line.sample,
        "study": found.studies[line.sample],
        "blend": line.words,
        "store": line.store,
        "temperature_c": line.store_temperature_c,
        "act": "take out" if line.take_out else "measure",
        "checks": list(line.checks),
        "due_at": line.due_at,
        "state": line.state.value,
        "age_days": line.age_days,
        "moved": line.moved,
        "minutes": line.minutes,
    }
