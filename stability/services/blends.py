"""From records to blends: which tins belong together, what they showed, what they went through.

A blend here is study × product + thinner + additive + level + pack, and one lot of product and of thinner.
A row of a forecast is one of them, or several lots together where a test allows it (see `lots`).
"""

from __future__ import annotations

import hashlib
import json
import statistics
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from stability.errors import InputError
from stability.records import climate, history
from stability.services.method_steps import follows, telling
from stability.services.tins import Climate, places
from stability.units import SAME_TEMPERATURE_C

__all__ = ["AT_STORAGE_C", "CALCULATION", "Blend", "BlendKey", "blends_of", "digest_of", "only_study"]

CALCULATION = "growth-law-7"
"""Version of the calculation; it goes into every digest, so that a change refits everything."""


AT_STORAGE_C = SAME_TEMPERATURE_C
"""A store this near to the storage temperature stands for it, [°C]."""


@dataclass(frozen=True, slots=True, order=True)
class BlendKey:
    """What makes two tins the same blend and lot."""

    study: str
    product: str
    thinner: str | None
    level_pct: float | None
    additive: str | None
    additive_pct: float | None
    pack: str | None
    product_lot: str | None
    """None: several lots that stand together."""
    thinner_lot: str | None

    @property
    def text(self) -> str:
        """The key as one line of JSON, as stored with a forecast."""
        names = self.__slots__
        return json.dumps([getattr(self, name) for name in names], ensure_ascii=False)

    @classmethod
    def read(cls, text: str) -> BlendKey:
        """Return the key that such a line holds."""
        return cls(*json.loads(text))

    @property
    def together(self) -> BlendKey:
        """The key of all lots of the blend."""
        return replace(self, product_lot=None, thinner_lot=None)

    @property
    def words(self) -> str:
        """The blend in words: "Heron-A + xylene 20 %"."""
        parts = [self.product]
        if self.thinner:
            parts.append(f"{self.thinner} {self.level_pct or 0:g} %")
        if self.additive:
            parts.append(f"{self.additive} {self.additive_pct or 0:g} %")
        return " + ".join(parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Blend:
    """One blend with its samples and what counted of their readings."""

    key: BlendKey
    study: history.StudyFacts
    samples: tuple[history.SampleFacts, ...]
    readings: Mapping[int, tuple[history.ReadingFacts, ...]]
    """Sample id → readings that count, by time."""

    @property
    def last_reading_at(self) -> datetime | None:
        """When the youngest reading was taken."""
        return max((r.taken_at for of_tin in self.readings.values() for r in of_tin), default=None)

    @property
    def product_lots(self) -> tuple[str, ...]:
        """Lots of the product in it."""
        return tuple(sorted({s.product_lot for s in self.samples}))

    @property
    def thinner_lots(self) -> tuple[str, ...]:
        """Lots of the thinner in it."""
        return tuple(sorted({s.thinner_lot for s in self.samples if s.thinner_lot}))

    @property
    def at_storage(self) -> Mapping[int, history.SampleFacts]:
        """The samples whose store stands for the storage temperature, by id."""
        storage_c = self.study.storage_c
        return {s.id: s for s in self.samples if abs(s.store_temperature_c - storage_c) <= AT_STORAGE_C}

    @property
    def gel_only(self) -> bool:
        """Whether only the gel is looked for: no viscosity limit, and not one viscosity read."""
        readings = [r for of_tin in self.readings.values() for r in of_tin]
        limited = any(name.startswith("viscosity") for name in self.study.limits)
        return not limited and bool(readings) and all(r.viscosity_mpas is None for r in readings)

    @property
    def placed_at(self) -> datetime:
        """Day 0: when the first tin at the storage temperature was placed, else the first tin."""
        near = self.at_storage.values() or self.samples
        return min(s.placed_at for s in near)

    def with_limit(self, ratio: float) -> Blend:
        """Return the same blend asked for another viscosity limit, as a ratio to day 0."""
        others = {k: v for k, v in self.study.limits.items() if not k.startswith("viscosity")}
        return replace(self, study=replace(self.study, limits={**others, "viscosity_ratio": ratio}))

    def initial_mpas(self) -> float | None:
        """Return the viscosity at day 0: the median of the readings of the first day, [mPa·s]."""
        placed = {s.id: s.placed_at for s in self.samples}
        first = [
            r.viscosity_mpas
            for sample_id, of_tin in self.readings.items()
            for r in of_tin
            if r.viscosity_mpas
            and not r.over_range
            and (r.taken_at - placed[sample_id]).total_seconds() < 86_400
        ]
        if first:
            return statistics.median(first)
        any_tin = [
            r for of_tin in self.readings.values() for r in of_tin if r.viscosity_mpas and not r.over_range
        ]
        earliest = min(any_tin, key=lambda r: (r.taken_at, r.sample_id), default=None)
        return None if earliest is None else earliest.viscosity_mpas


def blends_of(connection: sa.Connection, *, as_of: datetime, study: str | None = None) -> tuple[Blend, ...]:
    """Return every blend of the studies as known at `as_of`, in order of their keys."""
    found: list[Blend] = []
    for facts in history.studies(connection, as_of=as_of, code=study):
        of_tin: dict[int, list[history.ReadingFacts]] = {}
        for reading in history.readings(connection, as_of=as_of, study=facts.code):
            of_tin.setdefault(reading.sample_id, []).append(reading)
        groups: dict[BlendKey, list[history.SampleFacts]] = {}
        for sample in history.samples(connection, as_of=as_of, study=facts.code):
            groups.setdefault(_key(sample), []).append(sample)
        found += [
            Blend(
                key=key,
                study=facts,
                samples=tuple(tins),
                readings={s.id: tuple(of_tin[s.id]) for s in tins if s.id in of_tin},
            )
            for key, tins in groups.items()
        ]
    return tuple(sorted(found, key=lambda blend: blend.key.text))


def only_study(connection: sa.Connection, *, as_of: datetime) -> str:
    """Return the code of the one study on record.

    Raises
    ------
    InputError
        If there is none, or several to choose from.
    """
    codes = [facts.code for facts in history.studies(connection, as_of=as_of)]
    if len(codes) == 1:
        return codes[0]
    if not codes:
        raise InputError("there is no study on record", hint="stability study FILE files one")
    raise InputError(f"there are {len(codes)} studies, name one", hint=", ".join(codes[:10]))


def _key(sample: history.SampleFacts) -> BlendKey:
    return BlendKey(
        study=sample.study,
        product=sample.product,
        thinner=sample.thinner,
        level_pct=sample.level_pct,
        additive=sample.additive,
        additive_pct=sample.additive_pct,
        pack=sample.pack,
        product_lot=sample.product_lot,
        thinner_lot=sample.thinner_lot,
    )


def digest_of(
    blend: Blend, surroundings: Climate, connection: sa.Connection, *, settings: Mapping[str, Any]
) -> str:
    """Return the digest of everything that goes into a blend's forecast; equal digests, equal forecasts."""
    last = blend.last_reading_at
    used = {store for s in blend.samples for _, _, store in places(s, surroundings.moves.get(s.id, ()))}
    logs: Mapping[tuple[int, datetime], climate.LogDigest] = {}
    if last is not None:
        wanted = [(surroundings.stores[name].id, last) for name in sorted(used)]
        logs = climate.log_digests(connection, wanted, as_of=surroundings.as_of)
    content = [
        CALCULATION,
        dict(settings),
        blend.key.text,
        [blend.study.storage_c, blend.study.target_life_days, sorted(blend.study.limits.items())],
        [[s.sample, s.placed_at, s.first_store, s.twin] for s in blend.samples],
        [
            [
                s.sample,
                r.taken_at,
                r.viscosity_mpas,
                r.over_range,
                r.gel_grade,
                surroundings.day_of(r.taken_at),
            ]
            for s in blend.samples
            for r in blend.readings.get(s.id, ())
        ],
        [
            [s.sample, o.out_at, o.back_at, o.temperature_c]
            for s in blend.samples
            for o in surroundings.outings.get(s.id, ())
            if last is not None and o.out_at < last
        ],
        [[s.sample, m.at, m.to_store] for s in blend.samples for m in surroundings.moves.get(s.id, ())],
        [[name, surroundings.stores[name].temperature_c] for name in sorted(used)],
        [[d.points, d.last_at, d.degrees] for d in logs.values()],
        [
            [c.at, [follows(r, c) for s in blend.samples for r in blend.readings.get(s.id, ())]]
            for c in telling(blend, surroundings.changes)
        ],
    ]
    if blend.gel_only:
        # a tin that was ended as gelled between two looks is a look itself
        content.append([[s.sample, s.ended_at] for s in blend.samples if s.end_reason == "gelled"])
    return hashlib.sha256(json.dumps(content, default=_plain, ensure_ascii=False).encode()).hexdigest()


def _plain(value: object) -> str:
    return value.isoformat() if isinstance(value, datetime) else str(value)
