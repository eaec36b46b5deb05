"""The page of a study: self-contained, escaped, light enough, and the same twice; seen by a browser too."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from stability.reports.dossier import BlendPages, Drawing, ReadingRow, StudyDossier, TinPages
from stability.reports.figures import arrhenius, arrhenius_words, master_curve, master_curve_words
from stability.reports.inline_svg import for_page
from stability.reports.pages import page, study_page
from tests.browser import faults_of, open_browser, opened

HOSTILE = (
    "<b>x</b> </td><script>alert(1)</script> {{ 7 * 7 }} {% raw %} &amp; \" ' [batch 7] \x1b[2J \u202eabc "
    + "W" * 200
)
VIEWS = [
    pytest.param(360, "light", "screen", id="phone"),
    pytest.param(1920, "light", "screen", id="wide"),
    pytest.param(1000, "dark", "screen", id="dark"),
    pytest.param(700, "light", "print", id="print"),
    pytest.param(700, "dark", "print", id="print from a dark screen"),
]


def tin(example: ModuleType, sample: str, readings: int, says: str = "") -> TinPages:
    rows = tuple(
        ReadingRow(
            taken_at=example.AS_OF - timedelta(days=200 - day),
            age_days=float(day),
            viscosity_mpas=320.0 * 1.002**day,
            temperature_c=22.9,
            gel_grade=0,
            person="Mira O.",
            instrument="VIS-1",
            says=says if day == 7 else "",
        )
        for day in range(readings)
    )
    return TinPages(sample=sample, store="ROOM-23", temperature_c=23.0, says=says, readings=rows)


def dossier(
    example: ModuleType, *, name: str | None = None, tins: int = 3, readings: int = 8
) -> StudyDossier:
    report = example.report() if name is None else renamed(example, name)
    curve = example.master(10, blend_words=name or example.A5)
    rates = example.arrhenius_view(blend_words=name or example.A5)
    drawings = (
        Drawing(master_curve(curve), "Master curve.", master_curve_words(curve)),
        Drawing(arrhenius(rates), "Arrhenius plot.", arrhenius_words(rates)),
    )
    return StudyDossier(
        report=report,
        blends=tuple(
            BlendPages(
                drawings=drawings if blend == 0 else (),
                tins=tuple(
                    tin(example, f"{name or 'T'}-{blend}{place}", readings, name or "")
                    for place in range(tins)
                ),
            )
            for blend in range(len(report.verdicts))
        ),
    )


def renamed(example: ModuleType, name: str) -> Any:
    check = example.EvidenceLine(name="reach", passed=False, says=name, would_change=name)
    life = example.LifeLine(criterion="+20 %", says=name)
    verdict = example.verdict(
        blend_words=name, product_lots=(name,), says=name, lives=(life,), evidence=(check,)
    )
    happening = example.Happening(
        kind=name, at=example.AS_OF, words=f"{name}-00: {name}", reason=name, person=name
    )
    line = example.DesignLine(
        blend_words=name, store=name, temperature_c=5.0, tins=1, readings=2, last_day=3.0
    )
    return example.report(
        code=name, title=name, question=name, owner=name, limits_words=(name,), design=(line,),
        verdicts=(verdict,), happenings=(happening,), cautions=(name,),
    )  # fmt: skip


def test_a_page_has_no_script_no_address_and_a_strict_policy(example):
    html = study_page(dossier(example))
    assert "<script" not in html
    assert "default-src 'none'; style-src 'sha256-" in html
    assert " style=" not in html, "the policy allows the sheet of the page and no other style"
    asked = re.findall(r'(?:src|href|url)\s*[=(]\s*["\']?([^"\' )>]+)', html)
    assert all(target.startswith(("#", "data:,")) for target in asked), asked
    assert "sa" + "fe" not in html.lower()


def test_the_same_report_gives_the_same_page(example):
    assert study_page(dossier(example)) == study_page(dossier(example))


def test_what_people_type_is_shown_as_typed_and_never_acted_on(example):
    html = study_page(dossier(example, name=HOSTILE))
    assert "<script" not in html
    assert "<b>" not in html
    assert "{{ 7 * 7 }}" in html
    assert "\x1b" not in html
    assert "\u202e" not in html
    assert "&lt;b&gt;x&lt;/b&gt; &lt;/td&gt;&lt;script&gt;" in html


def test_a_name_that_nobody_gave_is_a_fault():
    import jinja2

    with pytest.raises(jinja2.UndefinedError):
        page("study.html", heading="x")


def test_numbers_lead_to_their_readings_and_happenings_to_their_tins(example):
    told = dossier(example)
    happening = example.Happening(kind="corrected", at=example.AS_OF, words="T-00: 412 → 421 mPa·s")
    report = example.report(happenings=(happening,))
    html = study_page(StudyDossier(report=report, blends=told.blends))
    assert '<a href="#b1-readings">365 d</a>' in html
    assert '<a href="#b1t1">T-00</a>: 412 → 421 mPa·s' in html
    assert 'id="b1t1">' in html


def test_a_study_without_any_blend_is_still_a_page(example):
    report = example.report(verdicts=(), design=(), happenings=(), cautions=())
    html = study_page(StudyDossier(report=report))
    assert "No blend has readings yet." in html
    assert "Nothing was missed" in html


def test_figures_of_one_page_share_their_letters_and_no_other_id(example):
    drawing = master_curve(example.master())
    shown = for_page([drawing, drawing, arrhenius(example.arrhenius_view())])
    ids = re.findall(r' id="([^"]+)"', shown.letters + "".join(shown.figures))
    assert len(ids) == len(set(ids))
    for figure in shown.figures:
        assert "<style" not in figure
        assert "<!--" not in figure
        assert "#22262a" not in figure.lower()
        assert "#ffffff" not in figure.lower()
        assert "currentColor" in figure
        used = set(re.findall(r'href="#([^"]+)"|url\(#([^)]+)\)', figure))
        assert {a or b for a, b in used} <= set(ids)
    assert for_page([]).letters == ""


def test_twelve_blends_of_five_stores_and_sixty_readings_make_a_page_of_bearable_size(example):
    curve, rates = example.master(50), example.arrhenius_view()
    report = example.report(verdicts=tuple(example.verdict() for _ in range(12)))
    started = time.monotonic()
    blend = BlendPages(
        drawings=(Drawing(master_curve(curve), "c", "a"), Drawing(arrhenius(rates), "c", "a")),
        tins=tuple(tin(example, f"T-{place}", 60) for place in range(5)),
    )
    html = study_page(StudyDossier(report=report, blends=(blend,) * 12))
    assert len(html.encode()) < 1_500_000
    assert time.monotonic() - started < 5.0


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with open_browser() as found:
        yield found


@pytest.fixture(scope="module", params=["plain", "hostile"])
def file(
    request: pytest.FixtureRequest, example: ModuleType, tmp_path_factory: pytest.TempPathFactory
) -> Path:
    name = None if request.param == "plain" else HOSTILE
    found = tmp_path_factory.mktemp("page") / f"{request.param}.html"
    found.write_text(study_page(dossier(example, name=name)), "utf-8")
    return found


@pytest.mark.parametrize(("width", "scheme", "media"), VIEWS)
def test_a_browser_shows_all_of_it_asks_for_nothing_and_finds_no_fault(browser, file, width, scheme, media):
    with opened(browser, file, width=width, scheme=scheme, media=media) as shown:
        assert faults_of(shown, everything=media == "print") == []
