from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

from hypothesis import given
from hypothesis import strategies as st

from stability.alerts.findings import Finding, Kind, Severity, Subject
from stability.alerts.lifecycle import Close, Keep, Open, OpenAlert, Worsen, decide

NOW = datetime(2025, 3, 25, 18, tzinfo=UTC)
BLEND = Subject(study="S-07", product="Heron-A", thinner="xylene", product_lots=("H-1",))


def finding(kind=Kind.HEADING_FOR_LIMIT, subject=BLEND, **changes):
    facts = {"severity": Severity.WARNING, "says": "…", "do_next": "…"}
    return Finding(kind=kind, subject=subject, **facts | changes)


def opened(found, *, number=1):
    return OpenAlert(
        id=number,
        cause_key=found.cause_key,
        kind=found.kind,
        subject=found.subject,
        severity=found.severity,
        probability=found.probability,
        opened_at=NOW,
    )


def kinds(events):
    return [type(event) for event in events]


def test_a_finding_opens_once_and_is_then_kept():
    found = finding(probability=0.96)
    assert kinds(decide([found], [], now=NOW)) == [Open]
    assert kinds(decide([found], [opened(found)], now=NOW)) == [Keep]


def test_two_findings_of_one_cause_are_one_alert_at_the_worst_severity():
    found = [finding(severity=1), finding(severity=3), finding(severity=2)]
    (event,) = decide(found, [], now=NOW)
    assert event.finding.severity == 3


def test_an_alert_becomes_worse_with_severity_or_a_material_rise():
    calm = opened(finding(probability=0.91))
    (worse,) = decide([finding(probability=0.97)], [calm], now=NOW)
    assert worse.reason == "the chance rose from 91 to 97 %"
    assert kinds(decide([finding(probability=0.94)], [calm], now=NOW)) == [Keep]
    assert kinds(decide([finding(probability=0.5)], [calm], now=NOW)) == [Keep]
    assert kinds(decide([finding(severity=3)], [calm], now=NOW)) == [Worsen]


def test_what_is_gone_closes_with_a_reason():
    (event,) = decide([], [opened(finding())], now=NOW)
    assert isinstance(event, Close)
    assert event.reason == "the chance fell below one in two"


def test_what_could_not_be_judged_stays_open():
    (event,) = decide([], [opened(finding())], now=NOW, unjudged={1})
    assert isinstance(event, Keep)


def test_hysteresis_keeps_but_does_not_open():
    holding = finding(opens=False)
    assert decide([holding], [], now=NOW) == ()
    assert kinds(decide([holding], [opened(finding())], now=NOW)) == [Keep]


def test_pooling_another_lot_is_not_a_new_cause():
    pooled = replace(BLEND, product_lots=("H-1", "H-2"))
    assert kinds(decide([finding(subject=pooled)], [opened(finding())], now=NOW)) == [Keep]
    other = replace(BLEND, product_lots=("H-2",))
    assert kinds(decide([finding(subject=other)], [opened(finding())], now=NOW)) == [Open, Close]


def test_parted_lots_continue_the_pooled_alert_once():
    pooled = opened(finding(subject=replace(BLEND, product_lots=("H-1", "H-2"))))
    parted = [finding(subject=replace(BLEND, product_lots=(lot,))) for lot in ("H-1", "H-2")]
    assert sorted(kind.__name__ for kind in kinds(decide(parted, [pooled], now=NOW))) == ["Keep", "Open"]


def test_an_alert_whose_finding_is_gone_does_not_take_its_neighbours():
    pooled, alone = (replace(BLEND, product_lots=lots) for lots in (("H-1", "H-2"), ("H-2",)))
    alerts = [opened(finding(subject=pooled), number=1), opened(finding(subject=alone), number=2)]
    events = decide([finding(subject=alone)], alerts, now=NOW)
    assert [(type(event), event.alert.id) for event in events] == [(Close, 1), (Keep, 2)]


findings = st.builds(
    finding,
    kind=st.sampled_from(list(Kind)),
    subject=st.builds(
        Subject,
        study=st.sampled_from(["S-07", "S-08"]),
        product_lots=st.lists(st.sampled_from("ABC"), unique=True).map(tuple),
        sample=st.sampled_from([None, "T-1"]),
    ),
    severity=st.integers(1, 3),
    probability=st.none() | st.floats(0, 1),
    opens=st.booleans(),
)


@given(st.lists(findings, max_size=12))
def test_the_same_findings_twice_open_nothing_and_close_nothing(found):
    first = decide(found, [], now=NOW)
    alerts = [opened(event.finding, number=place) for place, event in enumerate(first)]
    assert len({alert.cause_key for alert in alerts}) == len(alerts)
    again = decide([event.finding for event in first], alerts, now=NOW)
    assert set(kinds(again)) <= {Keep}
    assert len(again) == len(alerts)
