"""Rules on the house: checks, stores, probes, calibrations, channels, and times in which nobody looked.

Temperatures are °C, energies kJ/mol; instants are aware UTC, the days of a round local dates.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from stability.alerts.facts import (
    BlindGap,
    ChannelFacts,
    DueCheck,
    ProbeFacts,
    StoreLog,
    Thresholds,
)
from stability.alerts.findings import Finding, Kind, Severity, Subject
from stability.alerts.wording import day_words
from stability.units import GAS_CONSTANT_KJ, SECONDS_PER_DAY, kelvin, significant

__all__ = [
    "Excursion",
    "blind_period",
    "channel_dead",
    "check_due",
    "check_overdue",
    "excursions",
    "extra_days",
    "probe_silent",
    "store_excursion",
]

DEFAULTS = Thresholds()


@dataclass(frozen=True, slots=True)
class Excursion:
    """A run of logged temperatures beyond a store's tolerance; `ended_at` is None while it lasts."""

    began_at: datetime
    ended_at: datetime | None
    peak_c: float
    hours: float
    record: tuple[tuple[datetime, float], ...]


def check_due(
    checks: Iterable[DueCheck], *, now: datetime, thresholds: Thresholds = DEFAULTS
) -> tuple[Finding, ...]:
    """Find the rounds to prepare: one finding per study and day, from a day before its first act on."""
    wanted = [
        check
        for check in checks
        if check.state == "due" and now >= (check.take_out_at or check.due_at) - thresholds.due_notice
    ]
    return tuple(_round(Kind.CHECK_DUE, group) for group in _by_round(wanted))


def check_overdue(checks: Iterable[DueCheck]) -> tuple[Finding, ...]:
    """Find the rounds that are late and not yet missed: one finding per study and day."""
    late = [check for check in checks if check.state == "late"]
    return tuple(_round(Kind.CHECK_OVERDUE, group) for group in _by_round(late))


def excursions(log: StoreLog, *, now: datetime, thresholds: Thresholds = DEFAULTS) -> tuple[Excursion, ...]:
    """Return the runs beyond tolerance that lasted long enough; a run ends at the first value back inside.

    Runs less than a day apart are one excursion: a store that drifts along its tolerance is one cause.
    """
    tolerance = thresholds.default_tolerance_c if log.tolerance_c is None else log.tolerance_c
    runs: list[Excursion] = []
    outside: list[tuple[datetime, float]] = []
    for at, value in (pair for pair in log.record if pair[0] <= now):
        if abs(value - log.nominal_c) > tolerance:
            outside.append((at, value))
        elif outside:
            runs.append(_run(outside, log.nominal_c, at, ended=True))
            outside = []
    if outside:
        runs.append(_run(outside, log.nominal_c, now, ended=False))
    least = thresholds.excursion_at_least / timedelta(hours=1)
    return _joined([run for run in runs if run.hours >= least], log, thresholds.excursion_gap)


def extra_days(excursion: Excursion, *, nominal_c: float, energy_kj_mol: float, until: datetime) -> float:
    """Return the ageing an excursion added, in days at the store's own temperature (below it: negative).

    Computes Σ Δt·(exp[(E/R)(1/T_nominal − 1/T)] − 1), each value held until the next.
    """
    ends = [*(at for at, _ in excursion.record[1:]), excursion.ended_at or until]
    x_nominal = 1 / kelvin(nominal_c)
    return sum(
        (end - at).total_seconds()
        / SECONDS_PER_DAY
        * math.expm1(energy_kj_mol / GAS_CONSTANT_KJ * (x_nominal - 1 / kelvin(value)))
        for (at, value), end in zip(excursion.record, ends, strict=True)
    )


def store_excursion(
    logs: Iterable[StoreLog], *, now: datetime, thresholds: Thresholds = DEFAULTS
) -> tuple[Finding, ...]:
    """Find excursions that last or ended within a week, with peak, hours and equivalent days."""
    found = []
    for log in logs:
        for run in excursions(log, now=now, thresholds=thresholds):
            if run.ended_at is None or now - run.ended_at <= thresholds.excursion_told_for:
                found.append(_excursion_finding(log, run, now, thresholds))
    return tuple(found)


def probe_silent(
    probes: Iterable[ProbeFacts], *, now: datetime, thresholds: Thresholds = DEFAULTS
) -> tuple[Finding, ...]:
    """Find loggers that fell silent over tins; a record brought in long after is history."""
    found = []
    for probe in probes:
        if probe.last_at is None or probe.tins == 0:
            continue
        entered_at = probe.last_entered_at or probe.last_at
        history = entered_at - probe.last_at > thresholds.trend_entered_within
        silence = now - probe.last_at
        if history or silence <= max(thresholds.probe_silent_after, 4 * probe.usual_step):
            continue
        found.append(
            Finding(
                kind=Kind.PROBE_SILENT,
                subject=Subject(store=probe.store),
                severity=Severity.WARNING,
                says=f"no temperature from {probe.store} for {_hours(silence)}, {probe.tins} tins inside",
                do_next="read the thermometer of the store now; then the logger, its battery and folder",
                evidence=(f"last value {_stamp(probe.last_at)}",),
            )
        )
    return tuple(found)


def channel_dead(channels: Iterable[ChannelFacts]) -> tuple[Finding, ...]:
    """Find ways of delivery that gave up for good, to be told through the others."""
    return tuple(
        Finding(
            kind=Kind.CHANNEL_DEAD,
            subject=Subject(matter=each.channel),
            severity=Severity.WARNING,
            says=f"{each.channel} is dead since {_stamp(each.dead_since)}: {each.failures} failures",
            do_next="mend the channel in the settings and send a trial message; until then read the board",
            evidence=(each.error,) if each.error else (),
        )
        for each in channels
        if each.dead_since is not None
    )


def blind_period(
    gaps: Iterable[BlindGap], *, now: datetime, thresholds: Thresholds = DEFAULTS
) -> tuple[Finding, ...]:
    """Find times without a sweep that ended within a day, each told once."""
    return tuple(
        Finding(
            kind=Kind.BLIND_PERIOD,
            subject=Subject(matter=gap.began_at.isoformat()),
            severity=Severity.WARNING,
            says=f"nobody looked for {_hours(gap.ended_at - gap.began_at)}" + _eyes_off(gap),
            do_next="read the store records of that time, and the checks that fell into it",
            evidence=(f"from {_stamp(gap.began_at)} to {_stamp(gap.ended_at)}",),
        )
        for gap in gaps
        if now - gap.ended_at <= thresholds.blind_told_for
    )


def _by_round(checks: Sequence[DueCheck]) -> list[list[DueCheck]]:
    rounds: dict[tuple[str, str], list[DueCheck]] = defaultdict(list)
    for check in checks:
        rounds[check.study, check.planned_on.isoformat()].append(check)
    return [rounds[key] for key in sorted(rounds)]


def _round(kind: Kind, checks: Sequence[DueCheck]) -> Finding:
    ordered = sorted(checks, key=lambda check: (check.store, check.sample))
    first, due = ordered[0], kind is Kind.CHECK_DUE
    tins = sorted({check.sample for check in ordered})
    stores = ", ".join(sorted({check.store for check in ordered}))
    day = day_words(first.planned_on)
    count = f"{len(tins)} {'tin' if len(tins) == 1 else 'tins'} in {stores}"
    return Finding(
        kind=kind,
        subject=Subject(study=first.study, matter=first.planned_on.isoformat()),
        severity=Severity.NOTE if due else Severity.WARNING,
        says=f"round of {day}: {count} to read" if due else f"round of {day} is late: {count} not read",
        do_next=_prepare(ordered) if due else "read them today, late counts; the fit uses the true time",
        cautions=tuple(dict.fromkeys(words for check in ordered for words in check.cautions)),
        evidence=tuple(f"{check.sample}, {check.words}, {check.store}" for check in ordered),
    )


def _prepare(checks: Sequence[DueCheck]) -> str:
    standing = [check for check in checks if check.take_out_at is not None]
    if not standing:
        return "print the round sheet; check oil and sentinel first"
    return f"take {len(standing)} out the day before to stand closed; print the round sheet; check oil first"


def _run(record: list[tuple[datetime, float]], nominal_c: float, end: datetime, *, ended: bool) -> Excursion:
    peak = max(record, key=lambda pair: abs(pair[1] - nominal_c))[1]
    began_at = record[0][0]
    hours = (end - began_at) / timedelta(hours=1)
    return Excursion(began_at, end if ended else None, peak, hours, tuple(record))


def _joined(runs: Sequence[Excursion], log: StoreLog, within: timedelta) -> tuple[Excursion, ...]:
    joined: list[Excursion] = []
    for run in runs:
        before = joined[-1] if joined else None
        if before is None or before.ended_at is None or run.began_at - before.ended_at >= within:
            joined.append(run)
            continue
        # what lies between belongs to the dose: it is nearly as warm
        record = tuple(p for p in log.record if before.began_at <= p[0] <= run.record[-1][0])
        peak = max(before.peak_c, run.peak_c, key=lambda value: abs(value - log.nominal_c))
        hours = before.hours + run.hours
        joined[-1] = Excursion(before.began_at, run.ended_at, peak, hours, record)
    return tuple(joined)


def _excursion_finding(log: StoreLog, run: Excursion, now: datetime, thresholds: Thresholds) -> Finding:
    tolerance = thresholds.default_tolerance_c if log.tolerance_c is None else log.tolerance_c
    default = thresholds.default_energy_kj_mol
    energies = log.energies or ((f"at {default:g} kJ/mol", default),)
    costs = [
        (words, extra_days(run, nominal_c=log.nominal_c, energy_kj_mol=energy, until=now))
        for words, energy in energies
    ]
    hot, last = run.peak_c > log.nominal_c, run.ended_at is None
    told = _cost_words([cost for _, cost in costs], log.nominal_c) if log.energies else ""
    return Finding(
        kind=Kind.STORE_EXCURSION,
        subject=Subject(store=log.store, matter=run.began_at.astimezone(UTC).isoformat()),
        severity=Severity.URGENT if hot and last else Severity.WARNING,
        says=(
            f"{log.store} {'is' if last else 'was'} {abs(run.peak_c - log.nominal_c):.1f} °C too "
            f"{'hot' if hot else 'cold'} at its peak ({run.peak_c:.1f} °C, tolerance {tolerance:g} °C), "
            f"{_hours(timedelta(hours=run.hours))} in all since {_stamp(run.began_at)}{told}"
        ),
        do_next=(
            "call the person responsible for the store; open nothing that is hot; the fit uses the record"
            if hot
            else "look at the store; the fit uses the record"
        ),
        cautions=log.cautions if hot else (),
        evidence=tuple(f"{words}: {cost:+.1f} d of ageing at {log.nominal_c:g} °C" for words, cost in costs),
    )


def _cost_words(costs: Sequence[float], nominal_c: float) -> str:
    low, high = f"{min(costs):+.1f}", f"{max(costs):+.1f}"
    return f"; {low if low == high else f'{low} to {high}'} d of ageing at {nominal_c:g} °C"


def _eyes_off(gap: BlindGap) -> str:
    return f": no eyes on {', '.join(gap.stores)}" if gap.stores else ""


def _hours(span: timedelta) -> str:
    hours = span / timedelta(hours=1)
    return f"{significant(hours, 2)} h" if hours < 96 else f"{hours / 24:.0f} d"


def _stamp(at: datetime | None) -> str:
    return "" if at is None else f"{day_words(at)} {at:%H:%M} UTC"
