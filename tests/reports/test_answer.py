"""The answer sheet: big months, the season beside them, reasons where there is no figure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest

from stability.reports.answer import AnswerSheet, MonthLine, answer_page, answer_pdf, answer_text
from tests.browser import faults_of, open_browser, opened
from tests.paper import assert_archival, pages_of, text_of

HOSTILE = "<script>alert(1)</script> {{ 7 * 7 }} #panic() [batch 7] " + "W" * 200
CARRIED = (3, 3, 3, 3, 2, 2, 3, 3, 6, 6, 6, 6)
SHEET = AnswerSheet(
    study="S-07",
    blend_words="Heron-A + 1-methoxy-2-propyl acetate 20 %",
    pack_words="lined tin 250 mL, closed",
    criterion_words="viscosity 2 × the day-0 value",
    lots_words="H-0442",
    evidence_words="rung 2 of 4; at 23 °C 6 months: provisional figure, capped",
    filled=6,
    lines=tuple(
        MonthLine(month=place, mean_c=20.0 + place, days=90.4 + 10 * months, months=months)
        for place, months in enumerate(CARRIED, start=1)
    ),
    convention="filled on the 1st",
    yearly_words="One yearly mean would say 180 d.",
    reasons=(),
    capped_by="twice the real time covered",
    do=("keep the tins closed",),
    do_not=("do not thin it again",),
    check=("run it through your cup",),
    call_words="lena.v@lab.example",
    as_of=datetime(2025, 8, 26, 8, tzinfo=UTC),
    zone_name="Europe/Berlin",
    calculation_version="law 1",
    cautions=("SDS, local code and licensed practice come first.",),
    invented=True,
)
ANY_MONTH = replace(SHEET, filled=None)
REFUSED = replace(
    SHEET,
    lines=tuple(replace(line, months=None) for line in SHEET.lines),
    reasons=("an ester without a finished test – finish it",),
)
NAMED = replace(
    SHEET,
    blend_words=HOSTILE,
    pack_words=HOSTILE,
    lots_words=HOSTILE,
    call_words=HOSTILE,
    cautions=(HOSTILE,),
)


@pytest.mark.parametrize(
    ("sheet", "big", "under"),
    [
        (SHEET, "2 months", "for tins filled in Jun"),
        (ANY_MONTH, "2 months", "in the worst month of filling, May"),
        (
            replace(ANY_MONTH, lines=tuple(replace(line, months=12) for line in SHEET.lines)),
            "12 months",
            "whatever month they are filled in",
        ),
        (
            replace(SHEET, lines=tuple(replace(line, months=0) for line in SHEET.lines)),
            "under one month",
            "for tins filled in Jun",
        ),
        (REFUSED, "no months yet", "the readings do not carry a figure"),
        (replace(REFUSED, lines=()), "no months yet", "the readings do not carry a figure"),
    ],
)
def test_the_months_stand_in_big_type_on_page_and_paper_and_first_in_the_text(sheet, big, under):
    assert f'<p class="months">{big}</p>' in answer_page(sheet)
    assert under in answer_page(sheet).replace("\xa0", " ")
    assert answer_text(sheet).splitlines()[2].startswith(f"{big.upper()} – {under}"[:60])
    assert f"How long does it keep? {big} {under}" in text_of(answer_pdf(sheet))


def test_the_convention_the_pack_the_criterion_and_whom_to_call_are_on_it():
    for told in (answer_text(SHEET), answer_page(SHEET).replace("\xa0", " "), text_of(answer_pdf(SHEET))):
        for words in (
            "filled on the 1st",
            "lined tin 250 mL",
            "2 × the day-0 value",
            "lena.v@lab.example",
            "SDS",
        ):
            assert words in told
        assert "sa" + "fe" not in told.lower()
    assert max(map(len, answer_text(SHEET).splitlines())) <= 100


def test_without_a_figure_the_reasons_are_given_and_no_month_is_promised():
    text = answer_text(REFUSED)
    assert "- an ester without a finished test – finish it" in text
    assert text.count("no figure yet") == 12


def test_paper_is_one_page_archival_and_prints_names_as_typed():
    pdf = answer_pdf(SHEET)
    assert_archival(pdf)
    assert len(pages_of(pdf)) == 1
    assert "".join(HOSTILE.split()) in "".join(text_of(answer_pdf(NAMED)).split())
    assert "<script" not in answer_page(NAMED)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with open_browser() as found:
        yield found


@pytest.mark.parametrize(
    ("width", "scheme", "media"),
    [(360, "light", "screen"), (1920, "light", "screen"), (1000, "dark", "screen"), (700, "light", "print")],
)
@pytest.mark.parametrize("sheet", [SHEET, REFUSED, NAMED], ids=["carried", "refused", "hostile"])
def test_a_browser_finds_no_fault_with_the_page(browser, tmp_path, sheet, width, scheme, media):
    file = tmp_path / "answer.html"
    file.write_text(answer_page(sheet), "utf-8")
    with opened(browser, file, width=width, scheme=scheme, media=media) as shown:
        assert faults_of(shown, everything=media == "print") == []
