"""From draft to statement, through the commands: who may, what is refused, what comes out, what is kept."""

from __future__ import annotations

import hashlib
import io
import json
import sqlite3
import zipfile
from pathlib import Path

import pytest
from pypdf import PdfReader

from stability.records.engine import open_records
from stability.records.statements import statement_rows, statement_steps
from stability.services.pdf_attachment import attachment_of
from tests.fleet import day
from tests.paper import assert_archival, pages_of, text_of
from tests.statement_desk import ANSWER, Desk, desk_in


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Desk:
    return desk_in(tmp_path, monkeypatch, capsys)


@pytest.fixture
def issued(desk: Desk) -> Desk:
    assert desk.draft(*ANSWER)[0] == 0
    code, _, err = desk.issue("--to", "Buyer Ltd", "--to", "stores@buyer.example")
    assert code == 0, err
    return desk


def _data(desk: Desk, name: str = "ST-01-v1.pdf") -> dict[str, object]:
    return json.loads(attachment_of((desk.folder / "out" / name).read_bytes()))


def test_a_draft_written_twice_is_the_same_bytes(desk):
    assert desk.draft(*ANSWER, file="one")[0] == desk.draft(*ANSWER, file="two")[0] == 0
    assert (desk.folder / "one").read_bytes() == (desk.folder / "two").read_bytes()


def test_an_open_question_must_be_answered_in_words_by_the_author(desk):
    code, _, err = desk.draft()
    assert code == 3
    assert "not answered: reach" in err
    assert '--answer reach="' in err
    assert not (desk.folder / "st.draft").exists()


def test_an_answer_to_what_nobody_asked_is_no_answer(desk):
    code, _, err = desk.draft(*ANSWER, "--answer", "weather=fine")
    assert code == 2
    assert "nobody asked: weather" in err


def test_a_refused_claim_leaves_no_draft(desk):
    code, _, err = desk.draft("--months", "9", *ANSWER)
    assert code == 3
    assert "passes with a reading at day 137 or later" in err
    assert not (desk.folder / "st.draft").exists()


def test_a_statement_is_issued_with_pdf_signature_and_recipients(issued):
    pdf = (issued.folder / "out" / "ST-01-v1.pdf").read_bytes()
    assert_archival(pdf)
    assert 1 <= len(pages_of(pdf)) <= 2
    text = text_of(pdf)
    for words in (
        "ST-01 version 1", "6 months", "Heron-A + xylene 20 %", "lined tin 250 mL", "23 °C",
        "viscosity 2 × the day-0 value", "the day of thinning", "Opened tins", "Warm days", "Not covered",
        "rung 2 of 4", "112 d", "Lena V.", "Tomas K.", "SDS", "relate only to the items tested",
        "retest or discard", "Valid until", "Decision rule", "practice borrowed from pharmaceutical guidance",
        "the claim stays far below the bound",
    ):  # fmt: skip
        assert words in text, words
    assert text.index("6 months") < text.index("Not covered") < text.index("Who answers for it")
    listed = issued.does("statement", "list")
    assert listed.split() == ["ST-01", "v1", "6", "months", "issued", "Buyer", "Ltd,", "stores@buyer.example"]


def test_what_is_attached_is_what_another_reader_of_pdf_finds(issued):
    pdf = (issued.folder / "out" / "ST-01-v1.pdf").read_bytes()
    (name, (content,)) = next(iter(PdfReader(io.BytesIO(pdf)).attachments.items()))
    assert name == "ST-01-v1.json"
    assert content == attachment_of(pdf)
    assert hashlib.sha256(content).hexdigest() in text_of(pdf)


def test_the_square_code_says_number_and_digest(issued):
    zxingcpp = pytest.importorskip("zxingcpp")
    image_of = pytest.importorskip("PIL.Image")
    from stability.reports.statement_page import statement_images

    data = _data(issued)
    content = attachment_of((issued.folder / "out" / "ST-01-v1.pdf").read_bytes())
    digest = hashlib.sha256(content).hexdigest()
    page = statement_images(data, content=content, digest=digest, dots_per_inch=200.0)[0]
    (found,) = zxingcpp.read_barcodes(image_of.open(io.BytesIO(page)))
    assert found.text == f"ST-01 v1 sha256:{digest}"


def test_the_data_hold_everything_the_claim_rests_on(issued):
    data = _data(issued)
    (lot,) = data["lots"]
    assert len(lot["readings"]) == 38
    assert {tin["store"] for tin in lot["tins"]} == {"ROOM-23", "OVN-40", "OVN-50"}
    assert data["calculation"]
    assert data["program"].startswith("stability ")
    assert {"corrections", "instruments", "calibrations", "facts", "bound_days"} <= set(data)
    assert "lena@lab.example" not in json.dumps(data)


def test_a_statement_on_record_is_written_again_byte_for_byte(issued):
    issued.does("statement", "write", "ST-01", "--out", "again")
    for name in ("ST-01-v1.pdf", "ST-01-v1.pdf.sig"):
        assert (issued.folder / "again" / name).read_bytes() == (issued.folder / "out" / name).read_bytes()


def test_author_and_approver_are_two_persons(desk):
    desk.does("person", "Lena V.", "--role", "qa", "--person", "Tomas K.")
    desk.does("statement", "key", "lena.key", "--passphrase-file", "pass", "--person", "Lena V.")
    assert desk.draft(*ANSWER)[0] == 0
    code, _, err = desk.issue(key="lena.key")
    assert code == 3
    assert "author and approver are two persons" in err


def test_only_quality_assurance_gets_a_key(desk):
    code, _, err = desk.types("statement", "key", "l.key", "--passphrase-file", "pass", "--person", "Lena V.")
    assert code == 2
    assert "only a person with the role qa signs" in err


def test_two_people_on_one_login_are_refused(desk):
    desk.does("person", "Tomas K.", "--account", "LAB", "--person", "Lena V.")
    code, _, err = desk.types("person", "Lena V.", "--account", "LAB", "--person", "Lena V.")
    assert code == 2
    assert "one account, one person" in err


def test_a_key_of_nobody_on_record_signs_nothing(desk):
    from stability.statements.signature import make_key

    (desk.folder / "stray.key").write_bytes(make_key("open sesame, please")[0])
    assert desk.draft(*ANSWER)[0] == 0
    code, _, err = desk.issue(key="stray.key")
    assert code == 2
    assert "belongs to nobody on record" in err


def test_a_wrong_passphrase_opens_nothing_and_a_key_is_never_overwritten(desk):
    (desk.folder / "pass").write_text("something else\n")
    assert desk.draft(*ANSWER)[0] == 0
    code, _, err = desk.issue()
    assert (code, "does not open" in err) == (2, True)
    code, _, err = desk.types(
        "statement", "key", "tomas.key", "--passphrase-file", "pass", "--person", "Tomas K."
    )
    assert (code, "never overwritten" in err) == (2, True)


def test_a_draft_changed_after_it_was_written_is_refused(desk):
    assert desk.draft(*ANSWER)[0] == 0
    file = desk.folder / "st.draft"
    file.write_bytes(file.read_bytes().replace(b'"months":6', b'"months":9'))
    code, _, err = desk.issue()
    assert code == 2
    assert "changed after it was written" in err


def test_a_second_version_needs_a_reason_and_replaces_the_first(issued):
    assert issued.draft(*ANSWER, "--number", "ST-01")[0] == 2
    issued.at(115)
    assert (
        issued.draft(*ANSWER, "--number", "ST-01", "--months", "3", "--reason", "shorter by caution")[0] == 0
    )
    code, out, err = issued.issue()
    assert code == 0, err
    assert "replaces ST-01 v1; to be told: Buyer Ltd, stores@buyer.example" in out
    assert "shorter by caution" in text_of((issued.folder / "out" / "ST-01-v2.pdf").read_bytes())
    letters = sorted((issued.folder / "out").glob("ST-01-v1-notice-*.txt"))
    assert len(letters) == 2
    records = open_records(str(issued.folder / "lab.db"))
    with records.reading() as connection:
        old, new = statement_rows(connection, as_of=day(116))
        assert (old.step, new.step) == ("superseded", "issued")
        assert [s.step for s in statement_steps(connection, old.id)] == ["issued", "superseded"]
        before = statement_rows(connection, as_of=day(114.5))
        assert [row.step for row in before] == ["issued"]
    records.close()


def test_the_same_draft_is_not_issued_twice(issued):
    code, _, err = issued.issue()
    assert code == 2
    assert "was issued meanwhile" in err


def test_a_withdrawal_writes_a_notice_for_each_recipient_and_happens_once(issued):
    issued.does("statement", "receive", "ST-01", "Third Ltd", "--person", "Lena V.")
    out = issued.does(
        "statement", "withdraw", "ST-01", "--reason", "another lot is faster", "--person", "Tomas K.",
        "--out", "told",
    )  # fmt: skip
    assert "3 to be told" in out
    letters = [file.read_text() for file in sorted((issued.folder / "told").iterdir())]
    assert [text.splitlines()[0].removeprefix("To: ") for text in letters] == [
        "Buyer Ltd",
        "stores@buyer.example",
        "Third Ltd",
    ]
    assert all("another lot is faster" in text and "withdrawn" in text for text in letters)
    again = issued.types("statement", "withdraw", "ST-01", "--reason", "x", "--person", "Tomas K.")
    assert (again[0], "withdrawn already" in again[2]) == (2, True)
    late = issued.types("statement", "receive", "ST-01", "Fourth Ltd", "--person", "Lena V.")
    assert (late[0], "nobody should receive it any more" in late[2]) == (2, True)


@pytest.mark.parametrize("table", ["statement", "statement_event", "statement_recipient"])
def test_a_signed_statement_cannot_be_edited_or_deleted(issued, table):
    connection = sqlite3.connect(issued.folder / "lab.db")
    for act in (f"UPDATE {table} SET id = id + 100", f"DELETE FROM {table}"):  # noqa: S608 - names above
        with pytest.raises(sqlite3.DatabaseError, match="append-only"):
            connection.execute(act.format(table))
    connection.close()


def test_the_audit_pack_holds_every_file_with_its_digest_and_answers_every_question(issued):
    out = issued.does("audit", "ST-01", "--out", "packs")
    assert "begin with index.html" in out
    folder = issued.folder / "packs" / "audit-ST-01-v1"
    listed = {
        row["file"]: row["sha256"] for row in json.loads((folder / "manifest.json").read_text())["files"]
    }
    there = {str(file.relative_to(folder)) for file in folder.rglob("*") if file.is_file()}
    assert set(listed) == there - {"manifest.json"}
    assert all(hashlib.sha256((folder / n).read_bytes()).hexdigest() == d for n, d in listed.items())
    page = (folder / "index.html").read_text()
    for words in (
        "8.5.4", "7.1.5", "7.5", "8.7", "7.5.1", "7.5.2", "7.8.2", "7.8.8", "7.11", "ALCOA+",
        "Tomas K.", "Buyer Ltd", "calculated anew: 6 months", "every seal fits",
    ):  # fmt: skip
        assert words in page, words
    assert "<script" not in page
    rows = (folder / "tables" / "readings.csv").read_text().splitlines()
    assert len(rows) == 1 + 38
    assert not [name for name in listed if "passphrase" in name]
    with zipfile.ZipFile(issued.folder / "packs" / "audit-ST-01-v1.zip") as book:
        assert set(book.namelist()) == there
    first = (issued.folder / "packs" / "audit-ST-01-v1.zip").read_bytes()
    issued.does("audit", "ST-01", "--out", "again")
    assert (issued.folder / "again" / "audit-ST-01-v1.zip").read_bytes() == first
    assert issued.types("audit", "ST-01", "--out", "packs")[0] == 2
    assert issued.types("audit", "ST-77", "--out", "x")[0] == 2


def test_a_recipient_with_an_address_is_told_by_mail_once(issued, monkeypatch):
    monkeypatch.setenv("STABILITY_MAIL__HOST", "mail.lab.example")
    monkeypatch.setenv("STABILITY_MAIL__SENDER", "stability@lab.example")
    out = issued.does(
        "statement", "withdraw", "ST-01", "--reason", "another lot is faster", "--person", "Tomas K.",
        "--out", "told",
    )  # fmt: skip
    assert "2 to be told, 1 by mail" in out
    connection = sqlite3.connect(issued.folder / "lab.db")
    rows = connection.execute("SELECT receiver, payload FROM outbox WHERE key LIKE 'statement-%'").fetchall()
    connection.close()
    ((receiver, payload),) = rows
    assert receiver == "stores@buyer.example"
    assert "ST-01 v1: withdrawn" in json.loads(payload)["subject"]
    assert "another lot is faster" in json.loads(payload)["body"]
