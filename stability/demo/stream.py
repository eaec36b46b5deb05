"""One ordered stream of acts: the whole invented study as it became known, from day 0 to now.

The same seed gives the same stream; acts of one instant keep the order in which they are listed here.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cache

from stability.demo.acts import (
    Act,
    Corrected,
    CureMeasured,
    OutingsLogged,
    ReadingTaken,
    RefusedAttempt,
    SampleEnded,
    SetAside,
    Swapped,
)
from stability.demo.cure import cures
from stability.demo.filings import beginning, calibrations, logs, oil_checks, placings, statements, sweeps
from stability.demo.history import BENCH_C
from stability.demo.measure import reading, seen
from stability.demo.rows import OutingRow
from stability.demo.schedule import Pull, Tin, outings, taken_at, tins
from stability.demo.stage import age_days, instant

__all__ = ["stream", "tin_at"]

_ASSISTANT = "Mira O."
_HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class _Bench:
    """What the bench did with all tins: readings by tin and study day, drying tests, endings, outings."""

    readings: dict[tuple[str, int], ReadingTaken]
    cures: list[CureMeasured]
    endings: list[SampleEnded]
    outings: list[OutingsLogged]


def tin_at(key: str, store: str, replicate: int) -> Tin:
    """Return the tin of a blend, store and replicate (0: the never-opened twin)."""
    return next(tin for tin in tins() if tin.cell == (key, store, replicate))


def _last_reason(tin: Tin, pull: Pull, grade: int) -> str | None:
    """Return why this is a tin's last reading, if it is."""
    if grade >= 4:
        return "gelled"
    if tin.sealed or (tin.cell == ("A2", "OVN-50", 2) and pull.day == 42):
        return "closed"
    last_age = {"OVN-50": 56, "OVN-60": 28}.get(tin.store)
    return "closed" if pull.age_day == last_age else None


def _work(tin: Tin, bench: _Bench) -> datetime | None:
    """Read one tin through the study; return when it ended."""
    for pull, state in seen(tin):
        bench.readings[tin.code, pull.day] = reading(tin, pull, state)
        bench.cures.extend(cures(tin, pull, state))
        if reason := _last_reason(tin, pull, state.gel_grade):
            at = taken_at(tin, pull.day) + _HOUR
            operator = bench.readings[tin.code, pull.day].operator
            bench.endings.append(
                SampleEnded(sample=tin.code, at=at, reason=reason, person=operator, entered_at=at)
            )
            return at
    return None


def _file_outings(ended_at: dict[str, datetime], bench: _Bench) -> None:
    """File the outings of each store's round together, when its last tin is back."""
    rounds: dict[tuple[str, int], list[tuple[str, datetime, datetime]]] = defaultdict(list)
    for tin in tins():
        for out_at, back_at in outings(tin):
            if tin.code not in ended_at or back_at <= ended_at[tin.code]:
                rounds[tin.store, int(age_days(back_at) + 0.05)].append((tin.code, out_at, back_at))
    for (store, _), stays in rounds.items():
        at = max(back_at for _, _, back_at in stays)
        rows = tuple(
            OutingRow(sample=code, out_at=out_at, back_at=back_at, temperature_c=BENCH_C, entered_at=at)
            for code, out_at, back_at in stays
        )
        bench.outings.append(OutingsLogged(store=store, rows=rows, person=_ASSISTANT, entered_at=at))


def _bench() -> _Bench:
    bench = _Bench({}, [], [], [])
    ended = {tin.code: _work(tin, bench) for tin in tins()}
    _file_outings({code: at for code, at in ended.items() if at}, bench)
    return bench


def _slips(readings: dict[tuple[str, int], ReadingTaken]) -> Iterator[Act]:
    """Yield what was typed wrongly and doubted before it was kept (E1, E11)."""
    ten_fold = readings[tin_at("A9", "ROOM-23", 1).code, 7]
    wrong_cup = readings[tin_at("A4", "ROOM-23", 1).code, 112]
    for right, typed, because in (
        (
            ten_fold,
            {"viscosity_mpas": 4120.0, "torque_pct": None, "speed_rpm": None},
            "ten times the last one",
        ),
        (wrong_cup, {"cup": "CUP-4", "efflux_s": 28.0}, "the cup contradicts the spindle: wrong cup"),
    ):
        at = right.entered_at - timedelta(seconds=30)
        yield RefusedAttempt(reading=replace(right, **typed, entered_at=at), because=because, entered_at=at)


def _swap(readings: dict[tuple[str, int], ReadingTaken]) -> Swapped:
    """Exchange the numbers of two tins of the day-56 round (E8) and return what puts it right.

    No cup was run on them that day: its seconds would have told the slip at once.
    """
    keys = [(tin_at(arm, "ROOM-23", 1).code, 56) for arm in ("A5", "A8")]
    right = [readings[key] for key in keys]
    for key, own, other in zip(keys, right, reversed(right), strict=True):
        readings[key] = replace(
            own,
            viscosity_mpas=other.viscosity_mpas,
            torque_pct=other.torque_pct,
            speed_rpm=other.speed_rpm,
            cup=None,
            efflux_s=None,
            density_g_ml=None,
        )
    at = instant(57, 10, 30)
    first, second = (
        Corrected(
            sample=own.sample,
            taken_at=own.taken_at,
            viscosity_mpas=own.viscosity_mpas,
            temperature_c=own.temperature_c,
            gel_grade=own.gel_grade,
            reason=f"exchanged with {other.sample}; refractive index of both tins confirms",
            person=_ASSISTANT,
            entered_at=at,
        )
        for own, other in zip(right, reversed(right), strict=True)
    )
    return Swapped(first=first, second=second, entered_at=at)


def _come_late(readings: dict[tuple[str, int], ReadingTaken]) -> None:
    """Let the stand-in enter two readings ten days after he took them (E17)."""
    for replicate in (1, 2):
        key = (tin_at("A11", "ROOM-23", replicate).code, 140)
        readings[key] = replace(
            readings[key],
            operator="Jonas K.",
            note="entered ten days late from the paper sheet",
            entered_at=instant(150, 11, 2 * replicate),
        )


def _set_aside() -> Iterator[Act]:
    """Yield the readings kept but no longer counted: the warm one (E2) and the one under a bad lid (E7)."""
    warm, leaking = tin_at("A5", "OVN-50", 2), tin_at("A2", "OVN-50", 2)
    for tin, day, entered_at, reason in (
        (warm, 14, instant(15, 16), "liquid at 26.8 °C, outside 23 ± 1 °C; repeated the next day: 408"),
        (
            leaking,
            42,
            instant(42, 16),
            "lid: 2.3 % of mass lost, solvent loss confirmed by density; twin carries",
        ),
    ):
        yield SetAside(
            sample=tin.code,
            taken_at=taken_at(tin, day),
            reason=reason,
            person=_ASSISTANT,
            entered_at=entered_at,
        )


@cache
def stream() -> tuple[Act, ...]:
    """Return all acts up to now, sorted by the moment they became known."""
    bench = _bench()
    slips = list(_slips(bench.readings))
    swapped = _swap(bench.readings)
    _come_late(bench.readings)
    found: list[Act] = [*beginning(), *calibrations(), *placings()]
    found += oil_checks(day for _, day in bench.readings)
    found += [*slips, *bench.readings.values(), *bench.outings, *bench.endings, *bench.cures]
    found += [swapped, *_set_aside(), *logs(), *statements(), *sweeps()]
    return tuple(sorted(found, key=lambda act: act.entered_at))
