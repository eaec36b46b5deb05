"""The round sheet: each tin with its way, volume and cautions, on the terminal, on paper and as rows."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest

from stability.chemistry.cautions import STANDING_LINE
from stability.records.engine import Records
from stability.records.instruments import cards, insert_row
from stability.records.tables.instruments import SpindleRange
from stability.services.checks_round import round_of
from stability.services.round_paper import round_images, round_pdf, round_unprintable
from stability.services.round_sheet import RoundSheet, csv_rows, notes_of, sheet_of
from stability.settings import RoundSettings, Settings
from tests.fleet import bring, day, readings, samples, set_up
from tests.paper import assert_archival, pages_of, text_of

HOSTILE = '<b>#[x]$*_@"</b>\\'
S2 = {"instrument": "VIS-1", "spindle": "S2", "speed_rpm": 60.0, "torque_pct": 55.0, "viscosity_mpas": 440.0}
AT = day(6)  # a Monday: the oven tins of day 7 come out today


def settings(**given) -> Settings:
    return Settings(time_zone="Europe/Berlin", round=RoundSettings(**given))


def sheet(records: Records, *, at=AT, within_days: int = 1, person: str = "Mira", **given) -> RoundSheet:
    found = round_of(records, as_of=at, settings=settings(**given), within_days=within_days)
    return sheet_of(records, found, settings=settings(**given), person=person, within_days=within_days)


def lab(records: Records, **tin) -> None:
    """Six tins that were read on day 0 and 3; the first one of the room with spindle and torque on day 0."""
    tins = [{"fill_pct": 80.0} | one | tin for one in samples()]
    set_up(records, tins=tins)
    read = readings(tins, life_days=400, until=3)
    for place, row in enumerate(read):
        if row["sample"] == "S-07-X231":
            read[place] = {**row, **S2}
    bring(records, day(4), readings=read, instruments=[{"instrument": "VIS-1", "kind": "rotational"}])


def ranges(records: Records, *full_scales: tuple[str, float, float], cell: str | None = "small cell") -> None:
    """Type the ranges of VIS-1: spindle, rpm, full scale."""
    with records.writing() as connection:
        number = cards(connection, at=AT)["VIS-1"].id
        for spindle, speed, full in full_scales:
            values = {"spindle": spindle, "speed_rpm": speed, "full_scale_mpas": full, "cell": cell}
            times = {"at": day(0), "entered_at": day(0)}
            insert_row(
                connection, SpindleRange, {"instrument_id": number, "volume_ml": 8.0, **values, **times}
            )


def one(found: RoundSheet, sample: str):
    return next(line for line in found.lines if line.line.sample == sample)


def test_a_tin_comes_with_its_cell_spindle_volume_and_minutes(on_sqlite):
    lab(on_sqlite)
    found = one(sheet(on_sqlite), "S-07-X231")
    assert found.way is not None
    assert found.way.words == "small-sample cell, spindle S2, 60 rpm"
    assert (found.volume.needs_ml, found.volume.holds_ml) == (32.0, 198.0)
    assert found.notes == (found.way.words, "32 mL of about 198 mL", "6 min")


def test_cell_and_volume_are_those_of_the_spindle_on_record(on_sqlite):
    lab(on_sqlite)
    ranges(on_sqlite, ("S2", 60.0, 800.0))
    found = one(sheet(on_sqlite), "S-07-X231")
    assert found.notes[:2] == ("small cell, spindle S2, 60 rpm", "16 mL of about 198 mL")


@pytest.mark.parametrize(
    ("full_scales", "words"),
    [
        pytest.param(
            [("S2", 60.0, 470.0), ("S2", 30.0, 940.0)], "last time 60 rpm", id="the speed, if it does"
        ),
        pytest.param([("S2", 60.0, 470.0), ("S3", 60.0, 900.0)], "read S2 too", id="else a bridge reading"),
    ],
)
def test_before_the_torque_leaves_its_range_another_setting_is_named(on_sqlite, full_scales, words):
    lab(on_sqlite)
    ranges(on_sqlite, *full_scales)
    way = one(sheet(on_sqlite), "S-07-X231").way
    assert way is not None
    assert words in (way.advice or "")
    assert (way.spindle, way.speed_rpm) == full_scales[1][:2]


def test_a_cup_takes_its_own_volume(on_sqlite):
    lab(on_sqlite)
    by_cup = {"viscosity_mpas": 400.0, "cup": "Ford 4", "efflux_s": 100.0, "density_g_ml": 1.0}
    bring(on_sqlite, day(5), readings=[{"sample": "S-07-X232", "taken_at": day(1), **by_cup}])
    found = one(sheet(on_sqlite), "S-07-X232")
    assert found.notes[0] == "cup Ford 4"
    assert found.volume.needs_ml == 100.0


def test_a_plan_that_cannot_be_carried_out_is_said(on_sqlite):
    lab(on_sqlite)
    found = sheet(on_sqlite, cell="600 mL beaker", cell_ml=600.0, fillings=1)
    assert "SHORT: 600 mL wanted, about 198 mL left" in one(found, "S-07-X231").notes
    assert "SHORT: 600 mL wanted" in text_of(round_pdf(found))
    runs_out = one(sheet(on_sqlite, put_back=False), "S-07-X231")
    assert "32 mL of about 168 mL, too little from day" not in runs_out.volume_words
    assert runs_out.volume.holds_ml == 168.0


def test_weighings_say_what_a_tin_still_holds(on_sqlite):
    lab(on_sqlite)
    weighed = [
        {"sample": "S-07-X231", "taken_at": day(age), "gel_grade": 0, "mass_g": mass}
        for age, mass in ((4, 243.0), (5, 218.5))
    ]
    bring(on_sqlite, day(5.1), readings=weighed)
    assert one(sheet(on_sqlite), "S-07-X231").volume.holds_ml == 175.5


def test_each_tin_names_the_cautions_that_go_with_it(on_sqlite):
    lab(on_sqlite)
    found = sheet(on_sqlite)
    assert found.cautions[-1] == STANDING_LINE
    hot = next(line for line in found.lines if line.line.store == "OVN-50")
    for number in hot.heed:
        assert found.cautions[number - 1].startswith(f"{number}  50 °C stock")
    assert one(found, "S-07-X231").heed == ()
    assert any("heed 1" in note for note in notes_of(found).values())


def test_rows_hold_the_same_as_the_sheet(on_sqlite):
    lab(on_sqlite)
    found = sheet(on_sqlite)
    rows = csv_rows(found)
    assert [row["sample"] for row in rows] == [line.line.sample for line in found.lines]
    row = next(row for row in rows if row["sample"] == "S-07-X231")
    assert (row["cell"], row["spindle"], row["speed_rpm"]) == ("small-sample cell", "S2", 60.0)
    assert (row["needs_ml"], row["holds_ml"], row["short_at_days"]) == (32.0, 198, None)
    hot = next(row for row in rows if row["store"] == "OVN-50")
    assert hot["cautions"].startswith("50 °C stock")


def test_no_value_of_earlier_days_is_on_the_sheet(on_sqlite):
    lab(on_sqlite)
    found = sheet(on_sqlite)
    assert "440" not in text_of(round_pdf(found))
    assert not any("440" in note for note in notes_of(found).values())


def test_the_paper_reads_from_the_heading_to_the_signature(on_sqlite):
    lab(on_sqlite)
    found = sheet(on_sqlite)
    text = text_of(round_pdf(found))
    order = [
        "Round sheet, Mon 10 Mar 2025",
        "by: Mira",
        "Heed 1 ",
        STANDING_LINE,
        "Before the first tin",
        "Take out today, Mon 10 Mar 2025",
        "OVN-40, 40 °C: tin, what for",
        "OVN-50, 50 °C: tin, what for",
        "Measure tomorrow, Tue 11 Mar 2025",
        "ROOM-23, 23 °C: tin, what, how",
        "S-07-X231",
        "S-07 · day 7 · viscosity",
        "done by ____",
    ]
    place = 0
    for words in order:
        found_at = text.find(words, place)
        assert found_at >= 0, f"{words!r} does not come after what stands before it"
        place = found_at + 1


def test_pages_are_numbered_dated_archival_and_the_same_again(on_sqlite):
    lab(on_sqlite)
    pdf = round_pdf(sheet(on_sqlite, within_days=60))
    pages = pages_of(pdf)
    assert len(pages) > 2
    for number, page in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in page
        assert "Round sheet, Mon 10 Mar 2025" in page
    assert_archival(pdf)
    assert pdf == round_pdf(sheet(on_sqlite, within_days=60))


def test_names_are_printed_as_typed_and_none_is_cut(on_sqlite):
    lab(on_sqlite, product=HOSTILE, thinner="W" * 60, product_lot=HOSTILE)
    found = sheet(on_sqlite, person=HOSTILE, cell="M" * 60)
    text = text_of(round_pdf(found))
    assert f"by: {HOSTILE}" in text
    assert f"{HOSTILE} + " in text
    squeezed = re.sub(r"\s", "", text)
    assert squeezed.count("W" * 60) == len(found.lines)
    assert "M" * 60 in squeezed
    assert round_unprintable(found) == ""


def test_nothing_due_is_a_page_too(on_sqlite):
    set_up(on_sqlite)
    text = text_of(round_pdf(sheet(on_sqlite)))
    assert "Nothing is due." in text
    assert STANDING_LINE in text


def test_fields_are_wide_enough_for_a_pencil(on_sqlite, tmp_path: Path):
    """The picture is white enough to write on: under 6 % of a page of the sheet is ink."""
    from PIL import Image

    lab(on_sqlite)
    for image in round_images(sheet(on_sqlite), dots_per_inch=50):
        grey = Image.open(io.BytesIO(image)).convert("L")
        dark = sum(count for level, count in enumerate(grey.histogram()) if level < 128)
        assert dark / (grey.width * grey.height) < 0.06
