"""Checking a statement without a database: any byte changed is found, and what is not known is said."""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest

from stability.cli.edge import run
from stability.services.pdf_attachment import attachment_of
from stability.services.statement_verify import verify
from stability.statements.record import canonical, digest_of
from stability.statements.sidecar import from_bytes, signed, to_bytes
from stability.statements.signature import fingerprint, make_key, open_key
from tests.statement_desk import ANSWER, PASSPHRASE, desk_in

PLACES = 40
"""Changed bytes tried in each file."""


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of a laboratory that issued ST-01, and withdrew ST-02."""
    folder = tmp_path_factory.mktemp("house")
    with pytest.MonkeyPatch.context() as patch:
        desk = desk_in(folder, patch, _NoCapture())
        for number in ("ST-01", "ST-02"):
            assert desk.draft(*ANSWER, "--number", number)[0] == 0
            assert desk.issue()[0] == 0
        desk.does("statement", "withdraw", "ST-02", "--reason", "a faster lot", "--person", "Tomas K.")
        desk.does("statement", "notices", "notices.json", "--key", "tomas.key", "--passphrase-file", "pass")
    return folder


class _NoCapture:
    """Stands in for the capture of one test where a module's fixture types."""

    class _Told:
        out = err = ""

    def readouterr(self) -> _Told:
        return self._Told()


@pytest.fixture
def away(house: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder with copies of what a customer has, on a machine without the database."""
    for file in (*(house / "out").iterdir(), house / "notices.json"):
        (tmp_path / file.name).write_bytes(file.read_bytes())
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("STABILITY_DB", raising=False)
    return tmp_path


def _typed(capsys: pytest.CaptureFixture[str], *more: str) -> tuple[int, str]:
    code = run(("statement", "verify", *more))
    told = capsys.readouterr()
    assert "Traceback" not in told.err
    return code, told.out + told.err


def _own(away: Path) -> str:
    return fingerprint(from_bytes((away / "ST-01-v1.pdf.sig").read_bytes()).public)


def _changes(content: bytes, seed: int) -> list[tuple[int, bytes]]:
    """Return copies with one byte changed each, at places of all parts."""
    draws = random.Random(seed)  # noqa: S311 - places, no secrets
    found = []
    for place in sorted({0, len(content) - 1, *draws.sample(range(len(content)), PLACES)}):
        other = bytearray(content)
        other[place] ^= 1 << draws.randrange(8)
        found.append((place, bytes(other)))
    return found


def test_without_a_database_a_key_and_notices_it_says_what_is_not_known(away, capsys):
    code, out = _typed(capsys, "ST-01-v1.pdf")
    assert code == 0
    assert "signed by Tomas K., key not checked" in out
    assert "withdrawal not known here" in out
    assert "calculated anew: 6 months, bound" in out
    assert out.rstrip().endswith("everything matches; not checked: key, withdrawal")
    assert not list(away.glob("*.db"))


def test_with_the_key_and_the_notices_nothing_is_left_open(away, capsys):
    code, out = _typed(capsys, "ST-01-v1.pdf", "--key", _own(away), "--notices", "notices.json")
    assert code == 0
    assert out.rstrip().endswith("everything matches")
    assert "in force as of" in out


def test_another_key_is_refused(away, capsys):
    code, out = _typed(capsys, "ST-01-v1.pdf", "--key", fingerprint("11" * 32))
    assert code == 3
    assert "not the key that was expected" in out


def test_a_withdrawn_statement_is_refused_with_its_reason(away, capsys):
    code, out = _typed(capsys, "ST-02-v1.pdf", "--notices", "notices.json")
    assert code == 3
    assert "withdrawn on 26 Jun 2025 09:00 UTC: a faster lot" in out
    assert "DO NOT USE" in out


def test_the_data_alone_are_checked_too(away, capsys):
    (away / "ST-01.json").write_bytes(attachment_of((away / "ST-01-v1.pdf").read_bytes()))
    code, out = _typed(capsys, "ST-01.json", "--signature", "ST-01-v1.pdf.sig", "--json")
    checks = {check["name"]: check["verdict"] for check in json.loads(out)["checks"]}
    assert code == 0
    assert (checks["PDF"], checks["data"], checks["claim"]) == ("open", "ok", "ok")


@pytest.mark.parametrize("name", ["missing.pdf", "notices.json"])
def test_a_file_that_is_not_there_leaves_with_two(away, capsys, name):
    code, out = _typed(capsys, name)
    assert code == 2
    assert out.startswith("error: ")


def test_any_byte_changed_in_the_pdf_is_found(away):
    file = away / "ST-01-v1.pdf"
    for place, content in _changes(file.read_bytes(), 1):
        file.write_bytes(content)
        assert "PDF" in {check.name for check in verify(file).failed} | {_not_pdf(content)}, place
        assert verify(file).failed, place


def _not_pdf(content: bytes) -> str:
    # a change in the first four bytes makes it no PDF at all: its data do not match then
    return "" if content.startswith(b"%PDF") else "PDF"


def test_any_byte_changed_in_the_signature_file_is_found(away):
    file = away / "ST-01-v1.pdf.sig"
    for place, content in _changes(file.read_bytes(), 2):
        file.write_bytes(content)
        assert "signature" in {check.name for check in verify(away / "ST-01-v1.pdf").failed}, place


def test_any_byte_changed_in_the_data_is_found(away):
    data = attachment_of((away / "ST-01-v1.pdf").read_bytes())
    for place, content in _changes(data, 3):
        (away / "d.json").write_bytes(content)
        found = verify(away / "d.json", signature=away / "ST-01-v1.pdf.sig")
        assert "data" in {check.name for check in found.failed}, place


def test_any_byte_changed_in_a_key_is_found(house):
    content = (house / "tomas.key").read_bytes()
    for _, changed in _changes(content, 4):
        with pytest.raises(Exception, match=r"key file|no JSON"):
            open_key(changed, PASSPHRASE)


def test_any_byte_changed_in_the_notices_is_found(away):
    file = away / "notices.json"
    for place, content in _changes(file.read_bytes(), 5):
        file.write_bytes(content)
        found = verify(away / "ST-01-v1.pdf", notices=file)
        assert "withdrawal" in {check.name for check in found.failed}, place


def test_a_claim_that_its_own_data_do_not_carry_is_found_whoever_signs_it(away):
    """A forger who signs with a key of his own still cannot make six months out of these readings nine."""
    data = json.loads(attachment_of((away / "ST-01-v1.pdf").read_bytes()))
    content, public = make_key(PASSPHRASE)
    for change, said in (({"months": 9}, "carry 6 months"), ({"bound_days": 900.0}, "give a bound of")):
        forged = canonical({**data, **change})
        (away / "f.json").write_bytes(forged)
        own = from_bytes((away / "ST-01-v1.pdf.sig").read_bytes())
        told = type(own)(
            **{name: getattr(own, name) for name in ("number", "version", "issued_at", "approver", "pdf")},
            months=change.get("months", 6),
            data=digest_of(forged),
        )
        (away / "f.json.sig").write_bytes(to_bytes(signed(told, open_key(content, PASSPHRASE))))
        found = verify(away / "f.json", key=fingerprint(public))
        assert [check.name for check in found.failed] == ["claim"]
        assert said in found.failed[0].says
