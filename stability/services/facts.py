"""Blends and tins as the alert rules see them."""

from __future__ import annotations

from collections.abc import Mapping

from stability.alerts.facts import TinFacts, TinReading
from stability.alerts.findings import Subject
from stability.services.blends import Blend, BlendKey

__all__ = ["limit_mpas", "subject_of", "tin_facts"]


def subject_of(key: BlendKey) -> Subject:
    """Return a blend as the subject of an alert; lots that stand together are not named."""
    return Subject(
        study=key.study,
        product=key.product,
        thinner=key.thinner,
        level_pct=key.level_pct,
        additive=key.additive,
        pack=key.pack,
        product_lots=(key.product_lot,) if key.product_lot else (),
        thinner_lots=(key.thinner_lot,) if key.thinner_lot else (),
    )


def limit_mpas(limits: Mapping[str, float], initial_mpas: float | None) -> float | None:
    """Return the viscosity at which the first viscosity limit is reached, [mPa·s]."""
    ratio, absolute = limits.get("viscosity_ratio"), limits.get("viscosity_max_mpas")
    from_ratio = None if ratio is None or initial_mpas is None else ratio * initial_mpas
    return min((v for v in (from_ratio, absolute) if v is not None), default=None)


def tin_facts(
    blend: Blend, *, initial_mpas: float | None, cautions: Mapping[str, tuple[str, ...]] | None = None
) -> tuple[TinFacts, ...]:
    """Return a blend's tins against their limits; `cautions` by store go with what is found."""
    limit = limit_mpas(blend.study.limits, initial_mpas)
    subject, near = subject_of(blend.key), blend.at_storage
    return tuple(
        TinFacts(
            blend=subject,
            sample=sample.sample,
            store=sample.store,
            store_temperature_c=sample.store_temperature_c,
            at_storage=sample.id in near,
            readings=tuple(
                TinReading(
                    taken_at=r.taken_at,
                    viscosity_mpas=r.viscosity_mpas,
                    of_limit=None if limit is None or r.viscosity_mpas is None else r.viscosity_mpas / limit,
                    gel_grade=r.gel_grade,
                )
                for r in blend.readings.get(sample.id, ())
            ),
            cautions=(cautions or {}).get(sample.store, ()),
        )
        for sample in blend.samples
    )
