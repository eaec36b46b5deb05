"""The commands around the records, as typed: init, study, person, import, export, backup, restore, doctor."""

# ruff: noqa: E501  (a line that is shown is easier to compare in one piece)

from __future__ import annotations

import json
from pathlib import Path

import pytest

from stability.cli.edge import run
from tests.tables import SAMPLES, STORES, STUDY

READINGS = "sample,taken_at,viscosity_mpas,entered_at\nT1,2025-03-11T10:00Z,398,2025-03-11T11:00Z\n"


@pytest.fixture
def lab(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Path:
    """A folder with a database and tables, where the commands are typed."""
    monkeypatch.chdir(tmp_path)
    for name, text in {"stores": STORES, "samples": SAMPLES, "readings": READINGS}.items():
        (tmp_path / f"{name}.csv").write_text(text)
    (tmp_path / "S-07.toml").write_text(STUDY)
    assert run(["init"]) == 0
    assert capsys.readouterr().out.startswith("database stability.db set up (schema ")
    return tmp_path


def test_a_folder_is_taken_in_and_what_was_done_is_said(
    lab: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["import", ".", "--person", "Mira"]) == 0
    out, err = capsys.readouterr()
    assert out == "study S-07: version 1\nstores: 2 added\nsamples: 2 added\nreadings: 1 added\n"
    assert err.startswith("note: thinner 'xylene' is not on record")
    assert run(["import", "readings.csv", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["changed"] is False
    assert data["tables"] == {"readings": {"added": 0, "unchanged": 1, "completed": 0}}


def test_bad_input_is_one_line_a_fault_a_hint_and_exit_code_2(
    lab: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (lab / "readings.csv").write_text(READINGS + "T1,2025-03-12T10:00Z,12a,\n" * 25)
    assert run(["import", "."]) == 2
    out, err = capsys.readouterr()
    lines = err.splitlines()
    assert out == ""
    assert lines[0] == (
        "error: readings.csv line 3, viscosity_mpas: '12a' is not a number; expected a number above 0, or >50000 for "
        "over-range"
    )  # fmt: skip
    assert lines[20] == "error: … and 5 more"
    assert lines[21].startswith("hint: ")
    assert len(lines) == 22
    assert run(["import", "nothing.csv"]) == 2
    assert "Traceback" not in capsys.readouterr().err


def test_a_study_is_filed_and_listed(lab: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["study"]) == 0
    assert "no study on record" in capsys.readouterr().out
    assert run(["study", "S-07.toml"]) == 0
    out, err = capsys.readouterr()
    assert out == "study S-07: version 1 filed\n"
    assert "OVN-50" in err
    assert run(["study", "S-07.toml"]) == 0
    assert capsys.readouterr().out == "study S-07: version 1 already on record, unchanged\n"
    assert run(["study", "--json"]) == 0
    (listed,) = json.loads(capsys.readouterr().out)["studies"]
    assert (listed["study"], listed["limits"]) == ("S-07", {"gel_grade": 2.0, "viscosity_ratio": 2.0})


def test_a_person_is_registered_changed_and_listed(lab: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["person", "Lena V."]) == 2
    assert run(["person", "Lena V.", "--role", "formulator", "--mail", "lena.v@lab.example"]) == 0
    assert run(["person", "Lena V.", "--role", "qa", "--account", "lena"]) == 0
    assert run(["person", "Mira O.", "--role", "assistant", "--account", "lena"]) == 2
    assert run(["person", "Mira O.", "--role", "assistant", "--mail", "nowhere"]) == 2
    capsys.readouterr()
    assert run(["person"]) == 0
    assert capsys.readouterr().out == "Lena V. (qa), lena.v@lab.example, account lena\n"


def test_what_is_exported_is_taken_in_by_a_new_database(
    lab: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["import", "."]) == 0
    for form in ("csv", "xlsx"):
        assert run(["export", f"out-{form}", "--format", form]) == 0
        assert run(["init", "--db", f"{form}.db"]) == 0
        assert run(["import", f"out-{form}", "--db", f"{form}.db"]) == 0
        assert run(["export", f"again-{form}", "--db", f"{form}.db"]) == 0
        assert (lab / f"again-{form}" / "readings.csv").read_bytes() == (
            lab / "out-csv" / "readings.csv"
        ).read_bytes()
    capsys.readouterr()
    assert run(["export", "third", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert (data["rows"], data["study_files"], data["files"]["readings.csv"]) == (5, 1, 1)


def test_a_copy_is_kept_and_restored_and_the_doctor_is_content(
    lab: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["import", "."]) == 0
    assert run(["backup", "copy.db"]) == 0
    assert run(["backup", "copy.db"]) == 2
    assert run(["restore", "copy.db", "--db", "restored.db"]) == 0
    assert run(["restore", "copy.db", "--db", "restored.db"]) == 2
    capsys.readouterr()
    assert run(["doctor", "--db", "restored.db", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["passed"] is True
    assert {check["name"] for check in data["checks"]} >= {
        "schema",
        "journal",
        "content",
        "clock",
        "calculation",
    }


def test_a_failed_check_is_exit_code_3(
    lab: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from stability.services import keep_checks

    monkeypatch.setattr(keep_checks, "calculation_fault", lambda: "two and two made five")
    assert run(["doctor"]) == 3
    out = capsys.readouterr().out
    assert "failed  calculation: two and two made five" in out
    assert out.rstrip().endswith("checks failed")
