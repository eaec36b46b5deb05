"""Labels: every word fits whatever the names, the square code reads back, body and lid say the same tin."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
import zxingcpp
from PIL import Image

from stability.bench.labels import check_character
from stability.chemistry.cautions import STANDING_LINE
from stability.errors import InputError
from stability.services.labels import LabelSheet, TinLabel, tin_labels
from stability.settings import LabelSettings
from tests.fleet import PLACED, bring, day, samples, set_up
from tests.paper import assert_archival, pages_of, text_of

ONE = TinLabel(
    sample="4K7M-R",
    check=None,
    study="S-07",
    blend="Heron-A + 1-methoxy-2-propyl acetate 20 %",
    product_lot="H-0417",
    thinner_lot="M-03",
    pack="lined tin 250 mL",
    fill_pct=80.0,
    twin="opened",
    store="OVN-50",
    temperature_c=50.0,
    placed_at=PLACED,
    owner="lena@lab.example",
    hazards=("FLAMMABLE: thinner flashes at 42 °C", "SDS: sheet 3", STANDING_LINE),
)
HOSTILE = '<b>#[x]$*_@"</b>\\'
LONG = "3-methoxy-3-methyl-1-butyl acetate, urethane grade, drum 1234"[:60]
# A4 layouts that label makers print on their boxes (common practice, no source)
LAYOUTS = {
    "2 × 7, 99.1 × 38.1 mm": LabelSettings(),
    "3 × 7, 63.5 × 38.1 mm": LabelSettings(columns=3, margin_left_mm=7.25),
    "3 × 8, 70 × 37 mm": LabelSettings(
        rows=8, columns=3, margin_top_mm=0.5, margin_left_mm=0, gap_across_mm=0
    ),
    "2 × 4, 99.1 × 67.7 mm": LabelSettings(rows=4, margin_top_mm=13.1),
}


def sheet(*labels: TinLabel, **given) -> LabelSheet:
    given = {"layout": LabelSettings(), "zone_name": "Europe/Berlin", "person": "Mira", "at": day(1)} | given
    return LabelSheet(labels=labels, **given)


def squeezed(found: LabelSheet) -> str:
    """Return the text without blanks: a line may end after a hyphen, or within a word wider than it."""
    return text_of(found.pdf()).replace(" ", "")


def codes_on(found: LabelSheet) -> list[str]:
    """Read the square codes on the pages, left to right and down."""
    read = []
    for image in found.images(dots_per_inch=150):
        marks = zxingcpp.read_barcodes(Image.open(io.BytesIO(image)).convert("L"))
        read += sorted(marks, key=lambda m: (round(m.position.top_left.y / 40), m.position.top_left.x))
    return [mark.text for mark in read]


def test_a_tin_gets_one_label_for_its_body_and_one_for_its_lid():
    found = sheet(ONE)
    page = " ".join(pages_of(found.pdf())[0].split())
    assert page.count("4K7M-R Heron-A + 1-methoxy-2-propyl acetate 20 %") == 2
    body, lid = page.split(" body ")
    words = "S-07 · lots H-0417 / M-03 · lined tin 250 mL, fill 80 %, opened"
    assert words in body
    assert words not in lid
    for label in (body, lid):
        assert "OVN-50, 50 °C · start 4 Mar 2025 10:00" in label
        assert "FLAMMABLE: thinner flashes at 42 °C" in label
        assert STANDING_LINE in label
    assert "tare" in body
    assert lid.endswith("lid")


def test_the_square_code_is_the_code_on_record():
    tins = [replace(ONE, sample=code) for code in ("4K7M-R", "T-9", HOSTILE, "W" * 60, "Müller-7")]
    assert codes_on(sheet(*tins)) == [tin.sample for tin in tins for _ in range(2)]


def test_names_are_printed_as_typed():
    odd = replace(ONE, sample=HOSTILE, blend=f"{HOSTILE} + {HOSTILE} 20 %", store=HOSTILE, pack=HOSTILE)
    text = text_of(sheet(odd).pdf())
    assert text.count(HOSTILE) == 8
    assert f"{HOSTILE} + {HOSTILE} 20 %" in text


@pytest.mark.parametrize("name", LAYOUTS)
def test_names_of_sixty_characters_fit_the_usual_sheets_whole(name):
    long = replace(
        ONE, blend=f"{LONG} + {LONG[::-1]} 20 %", product_lot="L" * 20, thinner_lot="M" * 20, pack=LONG
    )
    found = sheet(long, layout=LAYOUTS[name])
    text = squeezed(found)
    assert text.count(f"{LONG}+{LONG[::-1]}20%".replace(" ", "")) == 2
    assert f"{LONG},fill80%".replace(" ", "") in text
    assert codes_on(found) == ["4K7M-R", "4K7M-R"]
    wide = replace(ONE, sample="W" * 60, blend="W" * 60 + " + " + "M" * 60)
    if found.layout.columns == 2:
        assert squeezed(sheet(wide, layout=found.layout)).count("W" * 60) == 4


def test_a_label_too_small_for_its_words_is_refused_not_cut():
    with pytest.raises(InputError, match=r"4K7M-R does not fit .* on 38.* × 21.* mm"):
        sheet(ONE, layout=LabelSettings(rows=13, columns=5, margin_top_mm=11)).pdf()
    with pytest.raises(InputError, match="margins and gaps leave"):
        sheet(ONE, layout=LabelSettings(rows=20, margin_top_mm=90)).pdf()


def test_used_places_stay_empty_and_sheets_are_counted():
    found = sheet(*[replace(ONE, sample=f"T-{n}") for n in range(7)], skip=3)
    assert found.sheets == 2
    assert len(pages_of(found.pdf())) == 2
    assert sheet(ONE, skip=2).images()[0] != sheet(ONE).images()[0]
    assert sheet(ONE, parts=("lid",)).sheets == 1


def test_sheets_are_archival_and_the_same_again():
    pdf = sheet(ONE, replace(ONE, sample="T-9")).pdf()
    assert_archival(pdf)
    assert pdf == sheet(ONE, replace(ONE, sample="T-9")).pdf()


def test_labels_come_from_the_records(on_sqlite):
    set_up(on_sqlite, tins=samples())
    thinner = {"thinner": "xylene", "class": "aromatic", "flash_c": 27.0, "sds": "sheet 1"}
    ending = {"sample": "S-07-X232", "at": day(2), "reason": "dropped"}
    bring(on_sqlite, day(3), thinners=[thinner], endings=[ending])
    found = tin_labels(on_sqlite, as_of=day(4))
    assert [label.sample for label in found] == sorted(
        tin["sample"] for tin in samples() if tin["sample"] != "S-07-X232"
    )
    hot = next(label for label in found if label.store == "OVN-50")
    assert hot.blend == "Heron-A + xylene 20 %"
    assert hot.hazards[0] == "FLAMMABLE: thinner flashes at 27 °C"
    assert any("PRESSURE" in words for words in hot.hazards)
    assert hot.hazards[-2:] == ("SDS: sheet 1", STANDING_LINE)
    cool = next(label for label in found if label.store == "ROOM-23")
    assert not any("PRESSURE" in words for words in cool.hazards)
    assert {label.check for label in found} <= {None, *(check_character(label.sample) for label in found)}
    ended = tin_labels(on_sqlite, as_of=day(4), samples=["S-07-X232"])
    assert [label.sample for label in ended] == ["S-07-X232"]


def test_samples_that_are_not_there_are_named(on_sqlite):
    set_up(on_sqlite, tins=samples())
    with pytest.raises(InputError, match="'S-07-X23' is not on record") as raised:
        tin_labels(on_sqlite, as_of=day(4), samples=["S-07-X23"])
    assert "did you mean" in (raised.value.hint or "")
    with pytest.raises(InputError, match="no sample to label"):
        tin_labels(on_sqlite, as_of=day(4), store="FRG-5")
