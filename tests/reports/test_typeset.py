"""Typesetting: data is never markup, the same input gives the same bytes, a warning is a fault."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from stability.reports import typeset as room
from stability.reports.typeset import DoesNotFitError, page_images, typeset, unprintable
from tests.paper import assert_archival, text_of

AT = datetime(2025, 3, 4, 9, tzinfo=UTC)
SAY = '#import "house.typ": *\n#show: plain\n#set document(title: data.title)\n#data.says\n'
HOSTILE = (
    "<b>bold</b> #panic() [batch 7] $x^2$ *s* _e_ `raw` @ref <label> \\n \\u{41} ~ -- ... // /* */ \"q\" 's' "
    "#sys.inputs = heading - item + 1. x / t: {{ }} %s ${x} &amp; Müller ×10 ≥ 3 µm"
)


@pytest.fixture
def say(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder of templates of our own, with one that says what it is given."""
    (tmp_path / "house.typ").write_text((room.TEMPLATES / "house.typ").read_text("utf-8"), "utf-8")
    (tmp_path / "say.typ").write_text(SAY, "utf-8")
    monkeypatch.setattr(room, "TEMPLATES", tmp_path)
    return tmp_path


def test_what_people_type_is_printed_as_typed(say):
    pdf = typeset("say.typ", {"title": "t", "says": HOSTILE}, at=AT)
    assert text_of(pdf) == HOSTILE


def test_a_page_is_made_at_any_instant_and_carries_its_second(say):
    data = {"title": "t", "says": "x"}
    within = AT + timedelta(microseconds=999_999)
    assert typeset("say.typ", data, at=within) == typeset("say.typ", data, at=AT)


def test_a_page_is_archival_and_tagged(say):
    assert_archival(typeset("say.typ", {"title": "t", "says": "x"}, at=AT))


def test_what_would_steer_or_turn_round_its_neighbours_is_shown_as_a_mark(say):
    pdf = typeset("say.typ", {"title": "t", "says": "a\x1b[2J\u202eb\u200dc\x00d"}, at=AT)
    assert text_of(pdf) == "a\ufffd[2J\ufffdb\ufffdc\ufffdd"


def test_what_the_font_does_not_hold_is_a_mark_and_is_named(say):
    data = {"title": "t", "says": ["x"], "inner": {"a": "中a", "b": ["\ue000", "ω"]}}
    assert unprintable(data) == "中"
    assert text_of(typeset("say.typ", {"title": "t", "says": "中 ω Ж"}, at=AT)) == "\ufffd ω Ж"


def test_the_same_input_gives_the_same_bytes_in_any_process_and_zone(say):
    data = {"title": "t", "says": HOSTILE}
    first = typeset("say.typ", data, at=AT)
    assert first == typeset("say.typ", data, at=AT.astimezone(timezone(timedelta(hours=5))))
    assert first != typeset("say.typ", data, at=AT + timedelta(seconds=1))
    code = (
        "import sys, pathlib, datetime; from stability.reports import typeset as t\n"
        f"t.TEMPLATES = pathlib.Path({str(say)!r})\n"
        f"at = datetime.datetime.fromisoformat({AT.isoformat()!r})\n"
        f"sys.stdout.buffer.write(t.typeset('say.typ', {data!r}, at=at))"
    )
    again = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True).stdout
    assert again == first


def test_a_warning_of_the_typesetter_is_a_fault(say):
    (say / "say.typ").write_text(SAY + '#text(font: "No Such Font", "x")\n', "utf-8")
    with pytest.raises(RuntimeError, match="no such font"):
        typeset("say.typ", {"title": "t", "says": "x"}, at=AT)


def test_a_picture_without_words_for_it_is_a_fault(say):
    (say / "say.typ").write_text(SAY + '#image(bytes(sys.inputs.pic), format: "svg")\n', "utf-8")
    svg = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><path d="M0 0h9v9z"/></svg>'
    with pytest.raises(RuntimeError, match="alt"):
        typeset("say.typ", {"title": "t", "says": "x"}, at=AT, files={"pic": svg})


def test_a_file_can_be_carried_along_as_it_is(say):
    from io import BytesIO

    from pypdf import PdfReader

    carried = '{"a":\t"\u202e中"}'
    attach = (
        '#pdf.attach("data.json", bytes(sys.inputs.raw), relationship: "data", '
        'mime-type: "application/json", description: "d")'
    )
    (say / "say.typ").write_text(SAY + attach + "\n", "utf-8")
    pdf = typeset("say.typ", {"title": "t", "says": "x"}, at=AT, files={"raw": carried})
    assert PdfReader(BytesIO(pdf)).attachments["data.json"] == [carried.encode()]
    assert_archival(pdf)


def test_what_is_too_long_for_its_place_is_a_fault_that_names_it(say):
    fit = '#fitted("tin 7", 20mm, 3mm, (9pt, 5pt), width => breakable(data.says, width))\n'
    (say / "say.typ").write_text(SAY + fit, "utf-8")
    typeset("say.typ", {"title": "t", "says": "short"}, at=AT)
    with pytest.raises(DoesNotFitError, match="tin 7 does not fit"):
        typeset("say.typ", {"title": "t", "says": "W" * 60}, at=AT)


def test_pages_come_as_pictures_too(say):
    images = page_images("say.typ", {"title": "t", "says": "x"}, at=AT, dots_per_inch=30)
    assert [image[:4] for image in images] == [b"\x89PNG"]
