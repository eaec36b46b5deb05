"""The study report and the statement draft as plain text."""

from __future__ import annotations

import unicodedata

import pytest
from rich.cells import cell_len

from stability.reports.paper import table
from stability.reports.text import statement_draft_text, study_report_text, verdict_sentence


def test_the_study_report_is_what_its_golden_text_shows(example, golden):
    golden("study-report.txt", study_report_text(example.report()))


def test_the_statement_draft_is_what_its_golden_text_shows(example, golden):
    golden("statement-draft.txt", statement_draft_text(example.draft()))


def test_a_refused_draft_is_what_its_golden_text_shows(example, golden):
    refused = example.draft(months=None, rung=1, rung_words="heat only, one lot", caps=())
    text = statement_draft_text(refused)
    assert "REFUSED: no figure in months" in text
    golden("statement-draft-refused.txt", text)


def test_a_draft_says_first_and_last_that_it_is_no_statement(example):
    lines = statement_draft_text(example.draft()).splitlines()
    assert "NOT A STATEMENT" in lines[0]
    assert "NOT A STATEMENT" in lines[-1]


@pytest.mark.parametrize("name", ["n" * 300, "[b]\x1b[2J\u202e</b>", "桶 " * 80, "12345678901234567890 " * 9])
def test_no_line_is_wider_than_a_page_and_nothing_is_hidden(name, example):
    verdict = example.verdict(blend_words=name, says=name, notes=(name,), product_lots=(name,))
    report = example.report(title=name, question=name, verdicts=(verdict,), cautions=(name,))
    for text in (
        study_report_text(report),
        statement_draft_text(example.draft(blend_words=name, number=name)),
    ):
        for line in text.splitlines():
            assert cell_len(line) <= 100
            assert not [c for c in line if unicodedata.category(c) in {"Cc", "Cf"}]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        pytest.param({}, "after 365 d (at least 301 d), about 4 Mar 2026; the chance", id="estimated"),
        pytest.param({"probability_before_target": 0.999}, "is above 99 %.", id="nearly certain"),
        pytest.param({"probability_before_target": 0.0}, "is below 1 %.", id="never called impossible"),
        pytest.param({"outcome": "too_early", "says": "needs 4 tins"}, "needs 4 tins.", id="too early"),
        pytest.param({"outcome": "limit_reached"}, "has reached the limit", id="reached"),
        pytest.param(
            {"outcome": "lower_bound_only", "life_days": None}, "at least 301 d; no upper end", id="bound"
        ),
    ],
)
def test_a_verdict_is_one_sentence(changes, words, example):
    sentence = verdict_sentence(example.verdict(**changes))
    assert words in sentence
    assert sentence.endswith(".")
    assert "safe" not in sentence


def test_an_empty_study_has_a_report(example):
    text = study_report_text(example.report(design=(), verdicts=(), happenings=(), cautions=()))
    assert "No blend has readings yet." in text
    assert "Nothing was missed" in text


def test_whole_months_are_rounded_down(example):
    lines = study_report_text(example.report()).splitlines()
    row = next(line for line in lines if line.startswith("  2×"))
    assert row.split()[-1] == "9"  # 301.4 d are 9.9 months


def test_columns_of_numbers_are_never_broken():
    rows = table(("name", "days"), [("word " * 40, "1 230 000")])
    assert sum("1 230 000" in row for row in rows) == 1
