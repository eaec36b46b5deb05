"""The report of a study on paper: the words of the page, archival and tagged, with its data carried along."""

from __future__ import annotations

import io
import json

import pytest

from stability.reports.dossier import BlendPages, Drawing, StudyDossier
from stability.reports.figures import master_curve, master_curve_words
from stability.reports.study_paper import study_pdf
from tests.paper import assert_archival, text_of

HOSTILE = (
    '<b>bold</b> #panic() [batch 7] $x^2$ *s* _e_ `raw` @ref <label> \\u{41} ~ // /* */ "q" &amp; '
    + "W" * 200
)


@pytest.fixture(scope="module")
def dossier(example):
    curve = example.master()
    drawing = Drawing(master_curve(curve), "Master curve.", master_curve_words(curve))
    return StudyDossier(report=example.report(), blends=(BlendPages(drawings=(drawing,)),))


@pytest.fixture(scope="module")
def pdf(dossier):
    return study_pdf(dossier)


def test_it_is_archival_and_tagged(pdf):
    assert_archival(pdf)


def test_it_says_what_the_page_says(pdf, dossier):
    text = text_of(pdf)
    for verdict in dossier.report.verdicts:
        assert verdict.blend_words in text
    for words in ("Question", "Lives at 23 °C at a glance", "What happened", "Cautions", "365 d", "301 d"):
        assert words in text
    assert "readings of ROOM-23 after day 274" in text
    assert "sa" + "fe" not in text.lower()


def test_the_report_is_carried_along_as_data(pdf):
    from pypdf import PdfReader

    carried = json.loads(PdfReader(io.BytesIO(pdf)).attachments["report.json"][0])
    assert carried["code"] == "S-07"
    assert carried["verdicts"][0]["life_days"] == 365.2


def test_the_same_report_gives_the_same_bytes(pdf, dossier):
    assert study_pdf(dossier) == pdf


def test_what_people_type_is_printed_as_typed(example):
    check = example.EvidenceLine(name="reach", passed=False, says=HOSTILE, would_change=HOSTILE)
    verdict = example.verdict(blend_words=HOSTILE, evidence=(check,))
    report = example.report(title=HOSTILE, question=HOSTILE, verdicts=(verdict,), cautions=(HOSTILE,))
    pdf = study_pdf(StudyDossier(report=report))
    assert_archival(pdf)
    bare = "".join(text_of(pdf).split())
    assert bare.count("".join(HOSTILE.split())) >= 4


def test_a_study_without_any_blend_is_still_paper(example):
    report = example.report(verdicts=(), design=(), happenings=(), cautions=())
    text = text_of(study_pdf(StudyDossier(report=report)))
    assert "No blend has readings yet." in text
    assert "Nothing was missed" in text
