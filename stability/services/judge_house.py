"""Judging the house: rounds due and late, stores, loggers, certificates, ways of delivery."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from stability.alerts import rules
from stability.alerts.findings import Finding, Kind
from stability.planning.windows import CheckState
from stability.records import outbox, watch
from stability.records.climate import StoreFacts, stores
from stability.records.materials import ThinnerFacts, thinners
from stability.services.blends import Blend
from stability.services.checks import Planned
from stability.services.conditional import doubts_known
from stability.services.deliver import FILE
from stability.services.instruments import held
from stability.services.judge import Case, store_cautions, thresholds_of
from stability.services.lots import row_for

__all__ = ["channel_words", "house_findings", "stores_with_tins"]

HISTORY_AFTER = timedelta(days=14)
"""A logger silent for longer when the tool first looks is a history that was brought in."""
USED_WITHIN = timedelta(days=30)
DEAD_FOR = timedelta(days=30)
SURE_WITHIN_KJ_MOL = 20.0
"""Standard error of an activation energy that still tells what an excursion cost: that of the weak prior."""
_FIRST_WINDOW = timedelta(days=9)
_LONGEST_WINDOW = timedelta(days=400)


def house_findings(connection: sa.Connection, case: Case, checks: Sequence[Planned]) -> tuple[Finding, ...]:
    """Return everything the rules find about rounds, stores, instruments and channels at this look."""
    lines = thresholds_of(case.settings)
    known = thinners(connection)
    due = _due_checks(checks, known)
    return (
        *rules.check_due(due, now=case.now, thresholds=lines),
        *rules.check_overdue(due),
        *rules.store_excursion(_logs(connection, case, known), now=case.now, thresholds=lines),
        *rules.probe_silent(_probes(connection, case), now=case.now, thresholds=lines),
        *rules.calibration_lapsed(_certificates(connection, case), now=case.now),
        *rules.session_held(_holds(connection, case)),
        *rules.channel_dead(_channels(connection, case.now)),
    )


def stores_with_tins(blends: Iterable[Blend]) -> Mapping[str, int]:
    """Return how many tins of running studies stand in each store."""
    counts: dict[str, int] = {}
    for blend in blends:
        for sample in blend.samples:
            if sample.ended_at is None:
                counts[sample.store] = counts.get(sample.store, 0) + 1
    return counts


def channel_words(channel: str, receiver: str) -> str:
    """Return a way of delivery as people call it."""
    return "text file" if channel == FILE else f"{channel} to {receiver}"


def _due_checks(checks: Iterable[Planned], known: Mapping[str, ThinnerFacts]) -> tuple[rules.DueCheck, ...]:
    """Return due and late checks, one for all kinds of a tin and day."""
    kinds: dict[tuple[int, datetime, str], list[Planned]] = {}
    for check in checks:
        if check.state in (CheckState.DUE, CheckState.LATE):
            kinds.setdefault((check.sample.id, check.due.due_at, check.state.value), []).append(check)
    found = []
    for (_, _, state), same in kinds.items():
        first = same[0]
        thinner = known.get(first.blend.thinner or "")
        found.append(
            rules.DueCheck(
                study=first.blend.study,
                sample=first.sample.sample,
                words=f"{first.blend.words} ({', '.join(check.kind for check in same)})",
                store=first.store,
                planned_on=first.due.planned_on,
                due_at=first.due.due_at,
                take_out_at=first.due.take_out_at,
                state=state,
                cautions=store_cautions(first.sample.store_temperature_c, thinner),
            )
        )
    return tuple(found)


def _logs(
    connection: sa.Connection, case: Case, known: Mapping[str, ThinnerFacts]
) -> tuple[rules.StoreLog, ...]:
    """Return the logs of stores with tins that left their tolerance lately."""
    lines = thresholds_of(case.settings)
    occupied = stores_with_tins(case.blends)
    found = []
    for store in stores(connection):
        tolerance = lines.default_tolerance_c if store.tolerance_c is None else store.tolerance_c
        since = case.now - _FIRST_WINDOW
        if store.store not in occupied or not watch.beyond_since(
            connection, store, tolerance_c=tolerance, since=since, as_of=case.now
        ):
            continue
        found.append(
            rules.StoreLog(
                store=store.store,
                nominal_c=store.temperature_c,
                tolerance_c=store.tolerance_c,
                record=_record(connection, store, tolerance, lines, case.now),
                energies=_energies(case, store.store),
                cautions=_cautions_of(case, store, known),
            )
        )
    return tuple(found)


def _record(
    connection: sa.Connection, store: StoreFacts, tolerance_c: float, lines: rules.Thresholds, now: datetime
) -> tuple[tuple[datetime, float], ...]:
    """Return the log back to a quiet day: where an excursion began must not move with the look."""
    window, quiet = _FIRST_WINDOW, lines.excursion_gap
    while True:
        record = watch.log_between(connection, store.id, since=now - window, as_of=now)
        first_day = [value for at, value in record if at <= record[0][0] + quiet]
        if all(abs(value - store.temperature_c) <= tolerance_c for value in first_day):
            return record
        if window > _LONGEST_WINDOW:
            return record
        window *= 4


def _energies(case: Case, store: str) -> tuple[tuple[str, float], ...]:
    found = {}
    for blend in case.blends:
        forecast = row_for(blend.key, case.forecasts)
        energy = None if forecast is None else _told_energy(forecast.row)
        if energy is not None and any(s.store == store and s.ended_at is None for s in blend.samples):
            found[f"{blend.key.words} {blend.key.product_lot}"] = energy
    return tuple(sorted(found.items()))


def _told_energy(row: Mapping[str, Any]) -> float | None:
    """Return an activation energy, unless it is less certain than what chemistry knows anyway."""
    energy, error = row["activation_energy_kj_mol"], row.get("activation_energy_se_kj_mol") or 0.0
    return None if energy is None or error > SURE_WITHIN_KJ_MOL else float(energy)


def _cautions_of(case: Case, store: StoreFacts, known: Mapping[str, ThinnerFacts]) -> tuple[str, ...]:
    inside = {
        blend.key.thinner
        for blend in case.blends
        if any(s.store == store.store and s.ended_at is None for s in blend.samples)
    }
    said = (store_cautions(store.temperature_c, known.get(name or "")) for name in sorted(inside, key=str))
    return tuple(dict.fromkeys(words for lines in said for words in lines))


def _probes(connection: sa.Connection, case: Case) -> tuple[rules.ProbeFacts, ...]:
    told = {alert.subject.store for alert in case.open_alerts if alert.kind is Kind.PROBE_SILENT}
    occupied = stores_with_tins(case.blends)
    found = []
    for store in stores(connection):
        last = watch.last_point(connection, store.id, as_of=case.now) if store.store in occupied else None
        if last is None or (case.now - last.at > HISTORY_AFTER and store.store not in told):
            continue
        found.append(
            rules.ProbeFacts(
                store=store.store,
                last_at=last.at,
                last_entered_at=last.entered_at,
                tins=occupied[store.store],
                # files dropped once a week are silent for a week: two of them have to be missing
                usual_step=last.usual_step / 2,
            )
        )
    return tuple(found)


def _certificates(connection: sa.Connection, case: Case) -> tuple[rules.CalibrationFacts, ...]:
    """Return lapsed certificates of instruments that were used since, and used lately."""
    found = []
    for instrument, due_at in sorted(watch.calibrations_due(connection, as_of=case.now).items()):
        used = [
            r.taken_at
            for blend in case.blends
            for of_tin in blend.readings.values()
            for r in of_tin
            if r.instrument == instrument and r.taken_at > due_at
        ]
        if used and case.now - max(used) <= USED_WITHIN:
            found.append(
                rules.CalibrationFacts(instrument=instrument, due_at=due_at, readings_since=len(used))
            )
    return tuple(found)


def _holds(connection: sa.Connection, case: Case) -> Iterator[rules.HoldFacts]:
    """Yield the sessions that are held, with the readings that wait because of it."""
    holds = held(connection, at=case.now, as_of=case.now)
    doubts = doubts_known(connection, as_of=case.now) if holds else None
    for instrument, hold in sorted(holds.items()):
        if doubts is None or case.now - hold.check.at > USED_WITHIN:
            continue
        waiting = sum(
            any(name == instrument for name, _ in doubts.of(r.id, r.taken_at, (r.instrument, r.cup)))
            for blend in case.blends
            for of_tin in blend.readings.values()
            for r in of_tin
        )
        yield rules.HoldFacts(
            instrument=instrument,
            since=hold.check.at,
            says=hold.says,
            do_next=hold.do_next,
            readings_in_doubt=waiting,
        )


def _channels(connection: sa.Connection, now: datetime) -> tuple[rules.ChannelFacts, ...]:
    return tuple(
        rules.ChannelFacts(
            channel=channel_words(state.channel, state.receiver),
            dead_since=state.dead_since,
            failures=state.dead,
            error=state.error,
        )
        for state in outbox.channel_states(connection, as_of=now)
        if now - state.dead_last_at <= DEAD_FOR
        and (state.last_sent_at is None or state.last_sent_at < state.dead_last_at)
    )
