from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from stability.alerts.rules import (
    Cell,
    CureFacts,
    Kind,
    Look,
    Subject,
    TinFacts,
    TinReading,
    TrendReading,
    cause_key,
    cure_lost,
    gelled,
    heading_for_limit,
    limit_reached,
    out_of_trend,
    tins_disagree,
)

BLEND = Subject(
    study="S-07",
    product="Heron-A",
    thinner="propyl acetate",
    level_pct=20.0,
    pack="lined tin",
    product_lots=("H-0417",),
    thinner_lots=("D-1",),
)
NOW = datetime(2025, 3, 25, 18, tzinfo=UTC)


def look(probability, **changes):
    facts = {"subject": BLEND, "probability": probability, "target_date": date(2026, 3, 4)}
    return Look(**facts | changes)


@pytest.mark.parametrize(
    ("now", "before", "open_now", "found"),
    [
        pytest.param(0.96, None, False, True, id="above 0.95 at the first look"),
        pytest.param(0.95, None, False, False, id="0.95 is not above 0.95"),
        pytest.param(0.91, None, False, False, id="above 0.9 at one look"),
        pytest.param(0.91, 0.92, False, True, id="above 0.9 at two looks in a row"),
        pytest.param(0.91, 0.90, False, False, id="exactly 0.9 does not count"),
        pytest.param(0.92, 0.5, False, False, id="one high look after a low one"),
        pytest.param(0.51, 0.99, True, True, id="an open one stays above 0.5"),
        pytest.param(0.50, 0.99, True, True, id="an open one stays at 0.5"),
        pytest.param(0.49, 0.99, True, False, id="an open one closes below 0.5"),
        pytest.param(0.60, 0.99, False, False, id="what is not open does not open at 0.6"),
        pytest.param(None, 0.99, True, False, id="no probability, no finding"),
    ],
)
def test_heading_for_limit_opens_and_holds(now, before, open_now, found):
    finding = heading_for_limit(look(now), before, open_now=open_now)
    assert (finding is not None) is found


def test_a_heading_that_only_holds_never_opens_a_new_alert():
    assert heading_for_limit(look(0.6), 0.6, open_now=True).opens is False
    assert heading_for_limit(look(0.97), None, open_now=True).opens is True


def test_a_blend_that_has_crossed_does_not_open_a_heading():
    assert heading_for_limit(look(0.999, reached=True), 0.999) is None
    assert heading_for_limit(look(0.999, reached=True), 0.999, open_now=True).opens is False


def test_a_heading_says_chance_date_and_evidence():
    finding = heading_for_limit(
        look(
            0.97,
            limit_date=date(2025, 11, 2),
            life_days=243.4,
            life_days_lower95=201.6,
            target_life_days=365,
            readings=40,
            tins=8,
            priors_used=True,
        ),
        None,
    )
    assert finding.says == ("97 % chance of crossing the limit before 4 Mar 2026, probably about 2 Nov 2025")
    assert finding.evidence == (
        "40 readings of 8 tins",
        "life 243 d, at least 202 d with 95 % confidence; target 365 d",
    )
    assert finding.priors_used


def tin(sample, ratios=(), *, at_storage=True, grades=(), store="ROOM-23"):
    readings = [
        TinReading(taken_at=NOW + timedelta(days=day), of_limit=ratio, viscosity_mpas=640 * ratio)
        for day, ratio in enumerate(ratios)
    ]
    start = len(readings)
    readings += [
        TinReading(taken_at=NOW + timedelta(days=start + day), gel_grade=grade)
        for day, grade in enumerate(grades)
    ]
    return TinFacts(
        blend=BLEND,
        sample=sample,
        store=store,
        store_temperature_c=23.0,
        at_storage=at_storage,
        readings=tuple(readings),
        cautions=("hood",),
    )


@pytest.mark.parametrize(
    ("ratios", "found"),
    [
        ((0.9, 1.05), False),
        ((1.05, 0.99, 1.05), False),
        ((0.9, 1.01, 1.02), True),
        ((0.9, 1.10), True),
        ((0.9, 1.2, 0.8), True),
        ((), False),
    ],
)
def test_a_limit_is_reached_by_two_in_a_row_or_one_ten_per_cent_above(ratios, found):
    assert bool(limit_reached([tin("A", ratios)], gel_grade_limit=None)) is found


def test_a_hot_tin_over_the_limit_is_data_and_not_an_alert():
    assert limit_reached([tin("A", (1.5, 1.9), at_storage=False)], gel_grade_limit=2) == ()


def test_a_gel_grade_that_ends_a_tin_counts_in_every_store():
    (finding,) = limit_reached([tin("A", grades=(1, 2), at_storage=False)], gel_grade_limit=2)
    assert (finding.kind, finding.subject.sample) == (Kind.LIMIT_REACHED, "A")
    assert finding.says == "A in ROOM-23 has ended: gel grade 2 on 26 Mar 2025"
    assert limit_reached([tin("A", grades=(1, 2))], gel_grade_limit=None) == ()


def test_from_grade_four_on_the_tin_is_gelled_and_told_once():
    tins = [tin("A", grades=(2, 4)), tin("B", grades=(5,))]
    assert limit_reached(tins, gel_grade_limit=2) == ()
    (finding,) = gelled(tins)
    assert finding.subject.sample == "A"
    assert len(finding.evidence) == 2
    assert finding.cautions == ("hood",)
    assert gelled([tin("A", grades=(3,))]) == ()


def trend(sample, viscosity, *, taken_days_ago=1.0, entered_after_days=0.1, store="OVN-50"):
    taken_at = NOW - timedelta(days=taken_days_ago)
    return TrendReading(
        blend=BLEND,
        sample=sample,
        store=store,
        taken_at=taken_at,
        entered_at=taken_at + timedelta(days=entered_after_days),
        viscosity_mpas=viscosity,
        expected_low_mpas=380,
        expected_high_mpas=420,
    )


def test_out_of_trend_is_one_finding_per_blend_and_store():
    found = out_of_trend(
        [trend("A", 344), trend("B", 500), trend("C", 400), trend("D", 500, store="OVN-40")], now=NOW
    )
    assert [finding.subject.sample for finding in found] == ["A", "D"]
    assert found[0].says == "A read 344 mPa·s on 24 Mar 2025, below the expected 380–420"


def test_a_history_that_is_brought_in_is_not_out_of_trend():
    assert out_of_trend([trend("A", 344, entered_after_days=8)], now=NOW) == ()
    assert out_of_trend([trend("A", 344, taken_days_ago=15)], now=NOW) == ()


def test_twins_that_lie_ten_per_cent_apart_disagree():
    cell = Cell(
        blend=BLEND,
        store="OVN-50",
        taken_on=date(2025, 3, 24),
        age_days=20,
        viscosities_mpas=(("A", 439.0), ("B", 333.0)),
    )
    (finding,) = tins_disagree([cell], now=NOW)
    assert finding.says == "A and B lie 32 % apart on day 20: 439 and 333 mPa·s"
    assert tins_disagree([cell], now=NOW + timedelta(days=30)) == ()


@pytest.mark.parametrize(("dry_h", "found"), [(2.7 * 1.24, False), (2.7 * 1.43, True)])
def test_a_blend_that_no_longer_dries_is_dead_but_fluid(dry_h, found):
    cure = CureFacts(
        blend=BLEND,
        sample="A",
        store="ROOM-23",
        age_days=56,
        humidity_pct=50,
        dry_through_h=dry_h,
        control_h=2.7,
        viscosity_of_limit=0.5,
    )
    findings = cure_lost([cure])
    assert bool(findings) is found
    assert all("dead but fluid" in finding.says for finding in findings)


def test_a_cause_key_tells_fields_apart_that_contain_the_separator():
    one = cause_key(Kind.BEND_SEEN, Subject(study="a|b", product="c"))
    other = cause_key(Kind.BEND_SEEN, Subject(study="a", product="b|c"))
    assert one != other


def test_a_second_tin_is_the_same_cause_and_a_second_blend_is_not():
    assert gelled([tin("A", grades=(4,))])[0].cause_key == gelled([tin("B", grades=(4,))])[0].cause_key
    assert cause_key(Kind.GELLED, BLEND) != cause_key(Kind.GELLED, Subject(study="S-07", product="Heron-A"))
