"""What tins went through: the store's log, outings and moves, turned into exposures for the fit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, tzinfo
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from stability.records import climate, history
from stability.records.climate import epoch_days
from stability.records.methods import ChangeFacts, method_changes
from stability.services.method_steps import follows, telling

if TYPE_CHECKING:
    from stability.ageing.arrays import TinHistory
    from stability.ageing.history import StoreHistory
    from stability.services.blends import Blend

__all__ = ["ROOM_C", "Climate", "load_climate", "places", "stays_of", "tins_of"]

ROOM_C = 23.0
"""Temperature of a tin out of its store when none was written down, [°C]."""


@dataclass(slots=True)
class Climate:
    """What a study's tins went through; a store's log is read only when a fit needs it."""

    as_of: datetime
    stores: Mapping[str, climate.StoreFacts]
    outings: Mapping[int, tuple[climate.OutingFacts, ...]]
    moves: Mapping[int, tuple[climate.MoveFacts, ...]]
    gap_days: float
    changes: tuple[ChangeFacts, ...] = ()
    """Recorded changes of method that concern the study."""
    zone: tzinfo = UTC
    """Where a day of readings begins and ends."""
    _histories: dict[tuple[str, float], StoreHistory] = field(default_factory=dict)

    def day_of(self, at: datetime) -> int:
        """Return the number of the local day of an instant."""
        return at.astimezone(self.zone).toordinal()

    def history(self, connection: sa.Connection, store: str, storage_c: float) -> StoreHistory:
        """Return the temperature of one store, logger and nominal, made once."""
        if (store, storage_c) not in self._histories:
            from stability.ageing.history import StoreHistory

            facts = self.stores[store]
            day, temperature_c = climate.store_log(connection, facts.id, as_of=self.as_of)
            self._histories[store, storage_c] = StoreHistory.build(
                facts.temperature_c, storage_c, day, temperature_c, max_gap_days=self.gap_days
            )
        return self._histories[store, storage_c]


def load_climate(
    connection: sa.Connection, study: str, *, as_of: datetime, gap_days: float, zone: tzinfo = UTC
) -> Climate:
    """Return what befell a study's tins and their readings: outings, moves, stores, changes of method."""
    return Climate(
        as_of=as_of,
        stores={facts.store: facts for facts in climate.stores(connection)},
        outings=_by_sample(climate.outings(connection, as_of=as_of, study=study)),
        moves=_by_sample(climate.moves(connection, as_of=as_of, study=study)),
        gap_days=gap_days,
        changes=method_changes(connection, as_of=as_of, study=study),
        zone=zone,
    )


def _by_sample(rows: Iterable[Any]) -> dict[int, tuple[Any, ...]]:
    grouped: dict[int, list[Any]] = {}
    for row in rows:
        grouped.setdefault(row.sample_id, []).append(row)
    return {sample_id: tuple(of_tin) for sample_id, of_tin in grouped.items()}


def places(sample: history.SampleFacts, moved: Sequence[climate.MoveFacts]) -> list[tuple[float, float, str]]:
    """Return where a tin belonged, as (from, until, store) in days since 1970; the last has no end."""
    start, store = epoch_days(sample.placed_at), sample.first_store
    stretches: list[tuple[float, float, str]] = []
    for move in moved:
        at = epoch_days(move.at)
        stretches.append((start, at, store))
        start, store = at, move.to_store
    return [*stretches, (start, float("inf"), store)]


def tins_of(
    blend: Blend, surroundings: Climate, connection: sa.Connection, *, gel_ratio: float
) -> list[TinHistory]:
    """Return the tins of a blend with their readings and exposures, as the fit takes them."""
    from stability.ageing.arrays import TinHistory
    from stability.ageing.history import exposures

    initial = blend.initial_mpas()
    changes = telling(blend, surroundings.changes)
    tins = []
    for sample in blend.samples:
        shown = [
            _as_bound(r, blend.readings[sample.id], gel_ratio, initial)
            for r in blend.readings.get(sample.id, ())
        ]
        kept = [
            (r, *bound) for r, bound in zip(blend.readings.get(sample.id, ()), shown, strict=True) if bound
        ]
        if not kept:
            continue
        days = [epoch_days(r.taken_at) for r, _, _ in kept]
        stays = stays_of(sample, surroundings, connection, blend.study.storage_c, until=max(days))
        exposure = exposures(stays, days, blend.study.storage_c)
        start = epoch_days(sample.placed_at)
        sessions = [surroundings.day_of(r.taken_at) for r, _, _ in kept]
        tins.append(
            TinHistory(
                sample=sample.sample,
                store=sample.store,
                temperature_c=sample.store_temperature_c,
                ages_days=[max(day - start, 0.0) for day in days],
                viscosities_mpas=[value for _, value, _ in kept],
                kinds=[kind for _, _, kind in kept],
                # what is read twice on one day was opened once
                openings=[len({day for day in sessions[:j] if day != sessions[j]}) for j in range(len(kept))],
                sessions=sessions,
                steps=[[float(follows(r, change)) for change in changes] for r, _, _ in kept]
                if changes
                else None,
                days=exposure.days,
                x=exposure.x,
            )
        )
    return tins


def _as_bound(
    reading: history.ReadingFacts,
    of_tin: Sequence[history.ReadingFacts],
    gel_ratio: float,
    initial_mpas: float | None,
) -> tuple[float, Any] | None:
    """Return what a reading says of the viscosity: a value, a lower bound, or nothing."""
    from stability.ageing.arrays import Kind

    if reading.viscosity_mpas is not None:
        return reading.viscosity_mpas, Kind.RIGHT_CENSORED if reading.over_range else Kind.MEASURED
    earlier = [r.viscosity_mpas for r in of_tin if r.viscosity_mpas and r.taken_at < reading.taken_at]
    if reading.gel_grade is None or reading.gel_grade < 2:
        return None
    if reading.gel_grade >= 4 and initial_mpas is not None:
        return max([gel_ratio * initial_mpas, *earlier]), Kind.RIGHT_CENSORED
    return (max(earlier), Kind.RIGHT_CENSORED) if earlier else None


def stays_of(
    sample: history.SampleFacts,
    surroundings: Climate,
    connection: sa.Connection,
    storage_c: float,
    *,
    until: float,
) -> list[Any]:
    """Return the stretches of one tin in its stores and out of them, up to a time [d since 1970]."""
    from stability.ageing.history import Stay

    out = [
        (epoch_days(o.out_at), epoch_days(o.back_at), ROOM_C if o.temperature_c is None else o.temperature_c)
        for o in surroundings.outings.get(sample.id, ())
    ]
    stays: list[Stay] = []
    for start, leaves, store in places(sample, surroundings.moves.get(sample.id, ())):
        store_history = surroundings.history(connection, store, storage_c)
        cursor, end = start, min(leaves, until)
        for out_day, back_day, temperature_c in out:
            left, right = max(out_day, cursor), min(back_day, end)
            if right <= left:
                continue
            if left > cursor:
                stays.append(Stay(start_day=cursor, end_day=left, history=store_history))
            stays.append(Stay(start_day=left, end_day=right, temperature_c=temperature_c))
            cursor = right
        if end > cursor:
            stays.append(Stay(start_day=cursor, end_day=end, history=store_history))
    return stays
