from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from stability.alerts.findings import Finding, Kind, Severity, Subject
from stability.alerts.wording import body, clean, one_line, subject_line

BERLIN = ZoneInfo("Europe/Berlin")
AT = datetime(2025, 3, 25, 17, tzinfo=UTC)
FOUND = Finding(
    kind=Kind.HEADING_FOR_LIMIT,
    subject=Subject(
        study="S-07",
        product="Heron-A",
        thinner="n-propyl acetate",
        level_pct=20.0,
        pack="lined tin 250 mL",
        product_lots=("H-0417",),
        thinner_lots=("D-3",),
    ),
    severity=Severity.WARNING,
    probability=0.97,
    priors_used=True,
    limit_date=date(2025, 11, 2),
    limit_date_range=(date(2025, 9, 20), None),
    says="97 % chance of crossing the limit before 4 Mar 2026",
    do_next="read the twin",
    cautions=("hood",),
    evidence=("40 readings of 8 tins",),
)


def test_the_body_says_what_why_when_and_what_to_do():
    assert body(FOUND, opened_at=AT, zone=BERLIN) == (
        "97 % chance of crossing the limit before 4 Mar 2026\n"
        "\n"
        "Study:    S-07\n"
        "Subject:  Heron-A in n-propyl acetate 20 %, lined tin 250 mL\n"
        "Lots:     H-0417, D-3\n"
        "Seen:     25 Mar 2025, 18:00\n"
        "Limit:    2 Nov 2025 (90 %: from 20 Sep 2025 on, no upper end yet)\n"
        "Chance:   97 % (with prior assumptions, see settings)\n"
        "Evidence: 40 readings of 8 tins\n"
        "Next:     read the twin\n"
        "Caution:  hood\n"
        "\n"
        "SDS, local code and licensed practice come first.\n"
    )


def test_the_line_of_the_text_file_is_one_line_in_local_time():
    line = one_line(FOUND, opened_at=AT, zone=BERLIN)
    assert line.startswith("2025-03-25 18:00 heading_for_limit S-07 Heron-A in n-propyl acetate 20 %")
    assert one_line(FOUND, opened_at=AT, zone=BERLIN, verb="closed").split()[2:5] == [
        "heading_for_limit",
        "closed",
        "S-07",
    ]


def test_the_subject_names_severity_kind_and_blend():
    assert subject_line(FOUND) == (
        "[warning] heading for limit – S-07: Heron-A in n-propyl acetate 20 %, lined tin 250 mL"
    )


@pytest.mark.parametrize(
    "evil", ["a\x1b[2Jb", "a\r\nBcc: x@y.example", "a\u202eb", "a\u2028b", "a\x9bb", "a\u200bb"]
)
def test_what_steers_a_terminal_or_a_header_is_taken_out(evil):
    subject = Subject(study=evil, product=evil)
    found = Finding(kind=Kind.GELLED, subject=subject, severity=3, says=evil, do_next=evil)
    texts = [subject_line(found), one_line(found, opened_at=AT, zone=BERLIN)]
    texts += body(found, opened_at=AT, zone=BERLIN).splitlines()
    assert all(text.isprintable() for text in texts)
    assert clean(evil).isprintable()


def test_nothing_is_called_harmless_and_markup_stays_as_typed():
    assert "[bold]" in clean("x [bold] y")
    assert "safe" not in body(FOUND, opened_at=AT, zone=BERLIN).lower()
