"""Judging bench work on a blend's tins: out of trend, twins apart by viscosity or mass, cure lost.

Only fresh readings are looked at (of the last two weeks, entered within one), so that a history that is
brought in raises nothing about tins long gone.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from statistics import median
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from stability.alerts import rules
from stability.alerts.findings import Finding, Kind, Severity
from stability.bench.plausible import Knot, interpolate_band
from stability.records import watch
from stability.records.climate import epoch_days, stores
from stability.records.cures import CureFacts
from stability.records.forecasts import band_before
from stability.records.history import ReadingFacts, SampleFacts
from stability.services.blends import Blend
from stability.services.cure import cures_of
from stability.services.facts import subject_of
from stability.units import SECONDS_PER_DAY, significant

__all__ = ["BenchLook", "bench_findings"]

MASS_LOSS_APART = 0.01
"""A tin that lost this much more of its mass than its twins has a lid to look at."""
NOISE_SDS = 3.0
"""Twins within so many standard deviations of a difference of two readings are not apart."""
FIRST_DAYS = 1.5
SAME_HUMIDITY_PCT = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchLook:
    """One blend at one look: its tins against their limits, and the noise its forecast found."""

    blend: Blend
    tins: Sequence[rules.TinFacts]
    noise_pct: float | None
    now: datetime
    zone: ZoneInfo
    thresholds: rules.Thresholds


@dataclass(frozen=True, slots=True)
class _Fresh:
    """One fresh reading of one tin."""

    sample: SampleFacts
    reading: ReadingFacts

    @property
    def age_days(self) -> float:
        """Age of the tin at the reading, [d]."""
        return epoch_days(self.reading.taken_at) - epoch_days(self.sample.placed_at)


def bench_findings(connection: sa.Connection, look: BenchLook) -> tuple[Finding, ...]:
    """Return what the rules find in the fresh readings and the drying tests of a blend."""
    lines, now = look.thresholds, look.now
    fresh = _fresh(look.blend, now, lines)
    cells = _cells(fresh, look.zone)
    return (
        *rules.out_of_trend(_trend(connection, look, fresh), now=now, thresholds=lines),
        *rules.tins_disagree(_apart(look, cells), now=now, thresholds=lines),
        *_mass_findings(look.blend, cells),
        *rules.cure_lost(_cured(connection, look), thresholds=lines),
    )


def _fresh(blend: Blend, now: datetime, thresholds: rules.Thresholds) -> tuple[_Fresh, ...]:
    return tuple(
        _Fresh(sample, r)
        for sample in blend.samples
        for r in blend.readings.get(sample.id, ())
        if now - thresholds.trend_looks_back <= r.taken_at <= now
        and r.first_entered_at - r.taken_at <= thresholds.trend_entered_within
    )


def _trend(
    connection: sa.Connection, look: BenchLook, fresh: Iterable[_Fresh]
) -> tuple[rules.TrendReading, ...]:
    found = []
    for each in fresh:
        r = each.reading
        if r.viscosity_mpas is None or r.over_range:
            continue
        knots = [Knot(*knot) for knot in band_before(connection, r.sample_id, before=r.first_entered_at)]
        band = interpolate_band(knots, each.age_days)
        # beyond its last knot nothing is expected: growth near the gel is no straight line
        if band is None or each.age_days > knots[-1].age_days:
            continue
        outside = not band.low_mpas <= r.viscosity_mpas <= band.high_mpas
        found.append(
            rules.TrendReading(
                blend=subject_of(look.blend.key),
                sample=each.sample.sample,
                store=each.sample.store,
                taken_at=r.taken_at,
                entered_at=r.first_entered_at,
                viscosity_mpas=r.viscosity_mpas,
                expected_low_mpas=band.low_mpas,
                expected_high_mpas=band.high_mpas,
                store_left_tolerance=outside and _left_tolerance(connection, look, each, knots[0].age_days),
            )
        )
    return tuple(found)


def _left_tolerance(connection: sa.Connection, look: BenchLook, each: _Fresh, since_age: float) -> bool:
    """Say whether a tin's store left its tolerance between the last reading a band knew and this one."""
    store = next(s for s in stores(connection) if s.store == each.sample.store)
    since = each.sample.placed_at + timedelta(days=since_age)
    record = watch.log_between(connection, store.id, since=since, as_of=look.now)
    log = rules.StoreLog(
        store=store.store, nominal_c=store.temperature_c, tolerance_c=store.tolerance_c, record=record
    )
    return bool(rules.excursions(log, now=each.reading.taken_at, thresholds=look.thresholds))


_Cells = Mapping[tuple[str, date], Sequence[_Fresh]]


def _cells(fresh: Iterable[_Fresh], zone: ZoneInfo) -> _Cells:
    """Return fresh readings by store and local day, of each tin the last one of the day."""
    cells: dict[tuple[str, date], dict[int, _Fresh]] = {}
    for each in fresh:
        day = each.reading.taken_at.astimezone(zone).date()
        cells.setdefault((each.sample.store, day), {})[each.sample.id] = each
    return {cell: tuple(of_tin.values()) for cell, of_tin in cells.items()}


def _apart(look: BenchLook, cells: _Cells) -> tuple[rules.Cell, ...]:
    """Return the cells whose twins of one age differ by more than noise, below the limit.

    Beyond it twins part by themselves: growth near the gel magnifies the smallest difference in rate.
    """
    limit = _limit_mpas(look.tins)
    least = 1 + NOISE_SDS * math.sqrt(2) * (look.noise_pct or 0.0) / 100
    found = []
    for (store, day), of_cell in sorted(cells.items()):
        for age, same in _by_age(of_cell).items():
            values = [
                (each.sample.sample, each.reading.viscosity_mpas)
                for each in same
                if each.reading.viscosity_mpas is not None and not each.reading.over_range
            ]
            numbers = [value for _, value in values]
            grown = limit is not None and bool(numbers) and min(numbers) > limit
            if len(numbers) < 2 or grown or max(numbers) / min(numbers) <= least:
                continue
            found.append(
                rules.Cell(
                    blend=subject_of(look.blend.key),
                    store=store,
                    taken_on=day,
                    age_days=age,
                    viscosities_mpas=tuple(values),
                )
            )
    return tuple(found)


def _limit_mpas(tins: Sequence[rules.TinFacts]) -> float | None:
    shares = (r for tin in tins for r in tin.readings if r.of_limit and r.viscosity_mpas)
    first = next(shares, None)
    return None if first is None else (first.viscosity_mpas or 0.0) / (first.of_limit or 1.0)


def _by_age(of_cell: Iterable[_Fresh]) -> dict[int, list[_Fresh]]:
    ages: dict[int, list[_Fresh]] = {}
    for each in of_cell:
        ages.setdefault(round(each.age_days), []).append(each)
    return ages


def _mass_findings(blend: Blend, cells: _Cells) -> tuple[Finding, ...]:
    """Find tins that lost over 1 % more of their first mass than the twins weighed beside them."""
    found = []
    for (store, day), of_cell in sorted(cells.items()):
        losses = {each: loss for each in of_cell if (loss := _mass_loss(blend, each)) is not None}
        for each, loss in losses.items():
            others = [other for one, other in losses.items() if one is not each]
            if not others or loss - median(others) <= MASS_LOSS_APART:
                continue
            beside = median(others)
            subject = replace(
                subject_of(blend.key), sample=each.sample.sample, store=store, matter=day.isoformat()
            )
            found.append(
                Finding(
                    kind=Kind.TINS_DISAGREE,
                    subject=subject,
                    severity=Severity.WARNING,
                    says=(
                        f"{each.sample.sample} in {store} has lost {100 * loss:.1f} % of its mass on day "
                        f"{each.age_days:.0f}, its twins {100 * beside:.1f} %"
                    ),
                    do_next="look at the lid; density or refractive index confirms a loss of solvent",
                    evidence=(f"{significant(each.reading.mass_g or 0.0, 5)} g on {day.isoformat()}",),
                )
            )
    return tuple(found)


def _mass_loss(blend: Blend, each: _Fresh) -> float | None:
    masses = [
        r.mass_g
        for r in blend.readings.get(each.sample.id, ())
        if r.mass_g and r.taken_at < each.reading.taken_at
    ]
    if not masses or not each.reading.mass_g:
        return None
    return 1 - each.reading.mass_g / masses[0]


def _cured(connection: sa.Connection, look: BenchLook) -> tuple[rules.CureFacts, ...]:
    """Return the latest drying test per tin at the storage temperature and humidity, with its control."""
    blend = look.blend
    near = blend.at_storage
    tests = [test for test in cures_of(connection, blend, as_of=look.now) if test.sample_id in near]
    ages = {test.id: _age_days(near[test.sample_id], test) for test in tests}
    controls = [test for test in tests if ages[test.id] <= FIRST_DAYS]
    latest: dict[tuple[int, float], CureFacts] = {}
    for test in tests:
        if ages[test.id] > FIRST_DAYS:
            latest[test.sample_id, test.humidity_pct] = test
    of_limit = {tin.sample: _last_share(tin) for tin in look.tins}
    found = []
    for test in latest.values():
        control = _control(controls, test)
        if control is None:
            continue
        sample = near[test.sample_id]
        found.append(
            rules.CureFacts(
                blend=subject_of(blend.key),
                sample=sample.sample,
                store=sample.store,
                age_days=round(ages[test.id]),
                humidity_pct=test.humidity_pct,
                dry_through_h=test.dry_through_h,
                control_h=control,
                limit_ratio=blend.study.limits.get("dry_through_ratio"),
                viscosity_of_limit=of_limit.get(sample.sample),
            )
        )
    return tuple(found)


def _age_days(sample: SampleFacts, test: CureFacts) -> float:
    return (test.taken_at - sample.placed_at) / timedelta(seconds=SECONDS_PER_DAY)


def _control(controls: Sequence[CureFacts], test: CureFacts) -> float | None:
    same = [c for c in controls if abs(c.humidity_pct - test.humidity_pct) <= SAME_HUMIDITY_PCT]
    return median(c.dry_through_h for c in same) if same else None


def _last_share(tin: rules.TinFacts) -> float | None:
    return next((r.of_limit for r in reversed(tin.readings) if r.of_limit is not None), None)
