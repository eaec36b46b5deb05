"""Which tins belong together, when day 0 was, and what the viscosity at day 0 is."""

from __future__ import annotations

import pytest

from stability.errors import InputError
from stability.records.engine import Records
from stability.services.blends import Blend, blends_of, only_study
from stability.services.facts import limit_mpas, tin_facts
from stability.services.lots_fitted import limit_of
from tests.fleet import bring, day, samples, set_up, study


def blends(records: Records, age: float = 60, **asked: str) -> tuple[Blend, ...]:
    with records.reading() as connection:
        return blends_of(connection, as_of=day(age), **asked)


@pytest.mark.parametrize(
    "other",
    [
        {"product": "Heron-B"},
        {"product_lot": "H-2"},
        {"thinner": "naphtha"},
        {"thinner_lot": "X-12"},
        {"level_pct": 10.0},
        {"additive": "vinylsilane", "additive_pct": 1.0},
        {"pack": "HDPE bottle"},
    ],
)
def test_whatever_differs_makes_another_blend(on_sqlite: Records, other: dict[str, object]) -> None:
    tins = samples()[:2]
    set_up(on_sqlite, tins=[tins[0], {**tins[1], **other}])
    assert [len(blend.samples) for blend in blends(on_sqlite)] == [1, 1]


def test_stores_and_days_do_not(on_sqlite: Records) -> None:
    tins = samples()
    set_up(on_sqlite, tins=tins)
    bring(on_sqlite, day(5), samples=[{**tins[0], "sample": "LATE", "placed_at": day(4)}])
    (blend,) = blends(on_sqlite)
    assert len(blend.samples) == 7
    assert blend.key.words == "Heron-A + xylene 20 %"
    assert blend.placed_at == day(0)


def test_day_0_is_that_of_the_storage_temperature(on_sqlite: Records) -> None:
    room = [{**tin, "placed_at": day(3)} for tin in samples() if tin["store"] == "ROOM-23"]
    hot = [tin for tin in samples() if tin["store"] == "OVN-50"]
    set_up(on_sqlite, tins=hot)
    bring(on_sqlite, day(4), samples=room)
    assert blends(on_sqlite)[0].placed_at == day(3)


def test_the_initial_viscosity_is_the_median_of_the_first_day(on_sqlite: Records) -> None:
    tins = samples()
    set_up(on_sqlite, tins=tins)
    first = [
        {"sample": tin["sample"], "taken_at": day(0.1), "viscosity_mpas": value}
        for tin, value in zip(tins, (400.0, 404.0, 4120.0, 398.0, ">100", 402.0), strict=True)
    ]
    later = [{"sample": tins[0]["sample"], "taken_at": day(7), "viscosity_mpas": 450.0}]
    bring(on_sqlite, day(8), readings=first + later)
    assert blends(on_sqlite)[0].initial_mpas() == 402.0


def test_without_a_first_day_the_earliest_number_stands_for_it(on_sqlite: Records) -> None:
    tins = samples()
    set_up(on_sqlite, tins=tins)
    assert blends(on_sqlite)[0].initial_mpas() is None
    rows = [
        {"sample": tins[0]["sample"], "taken_at": day(age), "viscosity_mpas": 400 + age} for age in (9, 5)
    ]
    bring(on_sqlite, day(10), readings=rows)
    assert blends(on_sqlite)[0].initial_mpas() == 405.0


@pytest.mark.parametrize(
    ("extra", "ratio", "mpas"),
    [
        ("viscosity_ratio = 2.0", 2.0, None),
        ("viscosity_ratio = 2.0\nviscosity_max_mpas = 700.0", None, 700.0),
        ("viscosity_ratio = 2.0\nviscosity_max_mpas = 900.0", 2.0, None),
        ("viscosity_max_mpas = 900.0", None, 900.0),
    ],
)
def test_the_limit_that_is_reached_first_ends_the_life(
    on_sqlite: Records, extra: str, ratio: float | None, mpas: float | None
) -> None:
    set_up(on_sqlite, text=study().replace("viscosity_ratio = 2.0", extra), tins=samples())
    rows = [{"sample": "S-07-X231", "taken_at": day(0), "viscosity_mpas": 400.0}]
    bring(on_sqlite, day(1), readings=rows)
    (blend,) = blends(on_sqlite)
    limit = limit_of(blend)
    assert limit is not None
    assert (limit.ratio, limit.viscosity_mpas) == (ratio, mpas)
    assert limit_mpas(blend.study.limits, 400.0) == (mpas or 400.0 * (ratio or 0.0))


def test_a_study_of_gel_checks_alone_has_no_viscosity_limit(on_sqlite: Records) -> None:
    set_up(on_sqlite, text=study().replace("viscosity_ratio = 2.0\n", ""), tins=samples())
    (blend,) = blends(on_sqlite)
    assert limit_of(blend) is None
    assert limit_mpas(blend.study.limits, 400.0) is None


def test_tins_are_held_against_their_limit(on_sqlite: Records) -> None:
    set_up(on_sqlite, tins=samples())
    rows = [
        {"sample": "S-07-X231", "taken_at": day(7), "viscosity_mpas": 600.0},
        {"sample": "S-07-X231", "taken_at": day(14), "gel_grade": 3},
    ]
    bring(on_sqlite, day(15), readings=rows)
    (blend,) = blends(on_sqlite)
    facts = {tin.sample: tin for tin in tin_facts(blend, initial_mpas=400.0, cautions={"OVN-50": ("hot",)})}
    assert [r.of_limit for r in facts["S-07-X231"].readings] == [0.75, None]
    assert [r.gel_grade for r in facts["S-07-X231"].readings] == [None, 3]
    assert facts["S-07-X231"].at_storage
    assert not facts["S-07-X501"].at_storage
    assert facts["S-07-X501"].cautions == ("hot",)


def test_the_only_study_needs_no_name_and_several_need_one(on_sqlite: Records) -> None:
    with on_sqlite.reading() as connection, pytest.raises(InputError, match="no study"):
        only_study(connection, as_of=day(0))
    set_up(on_sqlite)
    with on_sqlite.reading() as connection:
        assert only_study(connection, as_of=day(1)) == "S-07"
    set_up(on_sqlite, text=study("S-08"))
    with on_sqlite.reading() as connection, pytest.raises(InputError, match="2 studies, name one"):
        only_study(connection, as_of=day(1))


def test_studies_are_kept_apart(on_sqlite: Records) -> None:
    set_up(on_sqlite, tins=samples())
    set_up(on_sqlite, text=study("S-08"), tins=samples("S-08"))
    assert [b.key.study for b in blends(on_sqlite)] == ["S-07", "S-08"]
    assert [b.key.study for b in blends(on_sqlite, study="S-08")] == ["S-08"]
