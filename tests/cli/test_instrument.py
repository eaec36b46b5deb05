"""`stability instrument` and `release` as typed, and the bench's own accidents through the commands.

E2, E10 and E11 are events of the invented laboratory: a warm tin, a lapsed certificate, a wrong cup.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from stability.cli.edge import run
from tests.builders import Bench, bench
from tests.lab import lab

Shell = Callable[..., tuple[int, str, str]]


def shell_in(monkeypatch: pytest.MonkeyPatch, path: Path, capsys: pytest.CaptureFixture[str]) -> Shell:
    monkeypatch.setenv("STABILITY_DB", str(path))
    monkeypatch.setenv("STABILITY_TIME_ZONE", "Europe/Berlin")

    def call(*arguments: str) -> tuple[int, str, str]:
        code = run([*arguments])
        return code, *capsys.readouterr()

    return call


@pytest.fixture
def at_bench(tmp_path: Path) -> Iterator[Bench]:
    made = bench(tmp_path)
    yield made
    made.records.close()


@pytest.fixture
def shell(at_bench: Bench, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Shell:
    return shell_in(monkeypatch, at_bench.path, capsys)


BY = ("--person", "Mira O.")
XYLENE = ("statement", "draft", "S-07", "--thinner", "xylene", "--months", "6")


def test_e10_readings_of_a_lapsed_certificate_block_a_statement_until_qa_releases_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    lab(tmp_path).close()
    shell = shell_in(monkeypatch, tmp_path / "lab.db", capsys)
    qa = ("--person", "Tomas B.")
    assert shell("person", "Tomas B.", "--role", "qa", *qa)[0] == 0
    shell("instrument", "add", "VIS-1", "--kind", "rotational", *qa)
    first = ("--at", "2024-06-01", "--due", "2025-06-20", "--as-found", "0.2")
    code, out, _ = shell("instrument", "certify", "VIS-1", *first, *qa)
    assert (code, out) == (0, "VIS-1 certified until 20 Jun 2025; as found +0.2 %, within ± 1 %\n")
    assert shell(*XYLENE)[0] == 0, "before the reading nothing stands against six months"
    reading = (
        "log",
        "S-07-X231",
        "434",
        "--instrument",
        "VIS-1",
        "--at",
        "2025-06-25T10:00",
        "--keep",
        "as read",
    )
    assert shell(*reading, *BY)[0] == 0

    code, out, _ = shell(*XYLENE)
    assert code == 3
    assert "1 conditional readings" in out
    back = ("--at", "2025-06-26", "--due", "2026-06-26", "--as-found", "+0.8", "--by", "Calibration Lab")
    code, out, _ = shell("instrument", "certify", "VIS-1", *back, *qa)
    assert out == "VIS-1 certified until 26 Jun 2026; as found +0.8 %, within ± 1 %\n"
    assert shell(*XYLENE)[0] == 3, "the certificate alone releases nothing"
    code, out, _ = shell("release")
    assert "S-07-X231 25 Jun 2025 10:00 434 mPa·s: conditional; VIS-1: its calibration had lapsed" in out

    code, _, err = shell("release", "VIS-1", "--reason", "within 1 %", "--person", "Nobody")
    assert (code, err.splitlines()[0]) == (2, "error: person 'Nobody' is not on record")
    code, out, _ = shell("release", "VIS-1", "--reason", "certified, as found +0.8 %, within 1 %", *qa)
    assert code == 0
    assert out.startswith("1 reading released by Tomas B.: certified, as found +0.8 %, within 1 %")
    code, out, _ = shell(*XYLENE)
    assert "conditional" not in out
    assert code == 0
    code, _, err = shell("release", "VIS-1", "--reason", "again", *qa)
    assert (code, err.splitlines()[0]) == (2, "error: no reading that is meant is conditional")


def test_e11_the_wrong_cup_s_seconds_contradict_the_spindle_and_the_right_cup_is_named(
    at_bench: Bench, shell: Shell
) -> None:
    for cup, follows in (("CUP-4", "Ford 4"), ("CUP-5", "Ford 5")):
        assert shell("instrument", "add", cup, "--kind", "cup", "--follows", follows, *BY)[0] == 0
    entry = ("log", "0418-M", "322", "--instrument", "VIS-1", "--at", "2025-06-24T10:00", "--density", "1.0")
    code, out, err = shell(*entry, "--cup", "CUP-4", "--efflux", "28", *BY)
    assert (code, out) == (2, "")
    assert err.splitlines() == [
        "error: viscosity 322 mPa·s, but 28 s from CUP-4 gives 90.5 mPa·s",
        "hint: 28 s would fit CUP-5: was that the cup?; CUP-4 would take about 88 s",
    ]
    assert at_bench.rows("reading") == []
    code, _, _ = shell(*entry, "--cup", "cup-4", "--efflux", "87", *BY)
    assert code == 0
    assert [(row["cup"], row["efflux_s"]) for row in at_bench.rows("reading")] == [("CUP-4", 87.0)]


def test_e2_a_warm_tin_is_told_by_its_temperature_with_the_value_at_23_beside_the_raw_one(
    at_bench: Bench, shell: Shell
) -> None:
    tin = "0417-K"  # an ester at 20 %, 50 °C
    shell("log", tin, "320", "--temp", "23.0", "--at", "2025-03-04T10:30", *BY)
    shell("log", tin, "357", "--temp", "23.0", "--at", "2025-03-11T10:00", *BY)
    warm = ("log", tin, "344", "--temp", "26.8", "--at", "2025-03-18T10:00")
    code, out, err = shell(*warm, "--strict", *BY)
    assert (code, out) == (2, "")
    assert "the liquid is at 26.8 °C: repeat at 23 °C; at 23 °C this would be about 407 mPa·s" in err
    assert len(at_bench.rows("reading")) == 2
    code, out, err = shell(*warm, *BY)
    assert code == 0
    assert "344 mPa·s" in out
    assert err.startswith("doubt: the liquid is at 26.8 °C: repeat at 23 °C")
    assert at_bench.rows("reading")[-1]["viscosity_mpas"] == 344, "the raw value stays"
    code, out, err = shell("log", tin, "408", "--temp", "23.0", "--at", "2025-03-19T10:00", *BY)
    assert code == 0
    assert "doubt" not in err


def test_a_bad_oil_ends_with_exit_code_3_and_so_does_a_reading_while_it_holds(
    at_bench: Bench, shell: Shell
) -> None:
    shell("instrument", "oil", "C-100", "--certified", "350", "--limit", "1.5", *BY)
    check = ("instrument", "check", "VIS-1")
    code, out, _ = shell(*check, "351", "--oil", "C-100", "--at", "2025-03-10T09:00", *BY)
    assert (code, out) == (0, "VIS-1, oil: 351 for 350 mPa·s, +0.3 %, limit ± 1.5 %: good\n")
    code, out, _ = shell(*check, "357", "--at", "2025-03-11T09:00", *BY)
    assert code == 3
    assert out.splitlines()[0] == "VIS-1, oil: 357 for 350 mPa·s, +2.0 %, limit ± 1.5 %: OFF"
    reading = ("log", "0418-M", "310", "--instrument", "VIS-1", "--at", "2025-03-11T10:00")
    code, out, err = shell(*reading, *BY)
    assert (code, out) == (3, "")
    assert err.splitlines()[0].startswith("error: the session with VIS-1 is held: the check oil read 357")
    code, _, err = shell("instrument", "override", "VIS-1", "--reason", "cold bottle", *BY)
    assert code == 0
    assert "its readings stay conditional" in err
    assert shell(*reading, *BY)[0] == 0
    assert "HELD" not in shell("instrument", "list")[1]


def test_under_ten_per_cent_torque_the_command_names_spindle_and_speed(shell: Shell) -> None:
    shell(
        "instrument", "add", "VIS-2", "--kind", "rotational", "--torque-constant", "1", "--spindle", "S3=10",
        "--spindle", "S2@20=2000", "--speeds", "2,20", "--cell", "SSA", "--volume", "8", *BY,
    )  # fmt: skip
    entry = ("log", "0418-M", "--instrument", "VIS-2", "--spindle", "S3", "--at", "2025-03-11T10:00")
    code, _, err = shell(*entry, "--speed", "2", "--torque", "4.2", *BY)
    assert code == 2
    assert err.splitlines()[-1] == "hint: spindle S3 in SSA at 20 rpm (about 42 % torque), to land at 20–90 %"
    code, out, _ = shell(*entry, "--speed", "20", "--torque", "42", *BY)
    assert code == 0
    assert "2100 mPa·s; ± 50 mPa·s by the torque sensor" in out


def test_outside_a_cup_s_window_the_laboratory_s_other_cup_is_named(shell: Shell) -> None:
    for cup, follows in (("CUP-4", "Ford 4"), ("CUP-5", "Ford 5")):
        shell("instrument", "add", cup, "--kind", "cup", "--follows", follows, *BY)
    entry = ("log", "0418-M", "--at", "2025-03-11T10:00", "--density", "1", "--cup", "CUP-4")
    code, _, err = shell(*entry, "--efflux", "120", *BY)
    assert code == 2
    assert err.splitlines() == [
        "error: 120 s is outside the window of Ford 4, 20 to 100 s",
        "hint: CUP-5 would take about 39 s",
    ]


def test_a_chart_is_drawn_and_given_as_data(shell: Shell) -> None:
    for day, read in (("10", "351"), ("11", "353"), ("12", "343.5")):
        shell("instrument", "check", "VIS-1", read, "--certified", "350", "--at", f"2025-03-{day}T09:00", *BY)
    code, out, _ = shell("instrument", "chart", "VIS-1")
    assert code == 0
    assert out.splitlines()[2:5] == [
        "10 Mar 2025 09:00   +0.29   +0.09   0.00/0.00  ··········|x·········",
        "11 Mar 2025 09:00   +0.86   +0.32   0.36/0.00  ··········|···x······",
        "12 Mar 2025 09:00   -1.86   -0.34   0.00/1.36  ·x········|··········",
    ]
    assert out.splitlines()[-1] == "no signal"
    data = json.loads(shell("instrument", "chart", "VIS-1", "--json")[1])
    assert [each["good"] for each in data["checks"]] == [True, True, True]
    assert data["signal"] is None


def test_touched_and_list_are_data_too(shell: Shell) -> None:
    shell("instrument", "certify", "VIS-1", "--at", "2025-03-01", "--due", "2025-03-08", *BY)
    shell("log", "0418-M", "310", "--instrument", "VIS-1", "--at", "2025-03-11T10:00", *BY)
    data = json.loads(shell("instrument", "touched", "VIS-1", "--json")[1])
    assert [(each["sample"], each["conditional"]) for each in data["readings"]] == [("0418-M", True)]
    (line,) = json.loads(shell("instrument", "list", "--json")[1])["instruments"]
    assert (line["instrument"], line["lapsed"], line["conditional_readings"]) == ("VIS-1", True, 1)
    then = json.loads(shell("release", "VIS-1", "--json", "--as-of", "2025-03-10")[1])
    assert then["readings"] == []


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (
            ("instrument", "check", "VIS-9", "350", "--certified", "350"),
            "instrument 'VIS-9' is not on record",
        ),
        (("instrument", "check", "VIS-1", "nan"), "'nan' is not a finite number"),
        (("instrument", "check", "VIS-1", "0", "--certified", "350"), "a check reading is a positive number"),
        (("instrument", "add", "V", "--kind", "rotational", "--spindle", "S3"), "is not NAME=FACTOR"),
        (("instrument", "add", "V", "--kind", "rotational", "--spindle", "S3=x"), "'x' is not a number"),
        (("instrument", "add", "\x1b[31m", "--kind", "cup"), r"\x1b[31m"),
        (("instrument", "certify", "VIS-1", "--due", "2020-01-01"), "is due after its own day"),
        (("instrument", "certify", "VIS-1", "--due", "2099-01-01", "--at", "2098-01-01"), "in the future"),
        (("instrument", "override", "VIS-1", "--reason", "x"), "no session with VIS-1 is held"),
        (("release", "VIS-9"), "instrument 'VIS-9' is not on record"),
        (("release", "--reason", "x"), "which readings?"),
        (("release", "VIS-1", "--reason", "x", "--as-of", "2025-03-10"), "a release is made now"),
    ],
)
def test_bad_input_is_one_line_and_nothing_is_written(
    at_bench: Bench, shell: Shell, arguments: tuple[str, ...], told: str
) -> None:
    before = {name: len(at_bench.rows(name)) for name in ("instrument", "oil_check", "calibration", "event")}
    person = () if arguments[-1] in ("VIS-9",) else BY
    code, out, err = shell(*arguments, *person)
    assert (code, out) == (2, "")
    assert told in err
    assert "\x1b" not in err
    assert before == {name: len(at_bench.rows(name)) for name in before}
