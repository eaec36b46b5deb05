"""`stability import FILE --map`: what is refused, and the questions at a terminal."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import click
import pytest

from stability.cli import bring_map
from stability.cli.edge import run
from tests.builders import BERLIN, Bench, bench

Shell = Callable[..., tuple[int, str, str]]


@pytest.fixture
def at_bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Bench]:
    made = bench(tmp_path)
    monkeypatch.setenv("STABILITY_DB", str(made.path))
    monkeypatch.setenv("STABILITY_TIME_ZONE", "Europe/Berlin")
    monkeypatch.chdir(tmp_path)
    yield made
    made.records.close()


@pytest.fixture
def shell(at_bench: Bench, capsys: pytest.CaptureFixture[str]) -> Shell:
    def call(text: str | bytes, *arguments: str, file: str = "own.csv") -> tuple[int, str, str]:
        Path(file).write_bytes(text if isinstance(text, bytes) else text.encode())
        code = run(["import", file, *arguments, "--person", "Mira"])
        return code, *capsys.readouterr()

    return call


def taken(made: Bench) -> list[tuple[str, float | None]]:
    """Return local time and viscosity of all readings, oldest first."""
    return [
        (row["taken_at"].astimezone(BERLIN).strftime("%Y-%m-%d %H:%M"), row["viscosity_mpas"])
        for row in made.rows("reading")
    ]


KEPT = "sample;date;visc cP\n0417-K;2025-03-05 10:00;278\n"


@pytest.mark.parametrize(
    ("sheet", "told"),
    [
        (
            "sample;date;visc cP;shelf\n0417-K;2025-03-06 10:00;279;A\n",
            "column 'shelf' is not in the mapping",
        ),
        ("sample;date;shelf\n0417-K;2025-03-06 10:00;279\n", "column 'visc cP' of the mapping is missing"),
        ("sample;date;visc cP\n0417-K;2025-03-06 10:00;1,234\n", "'1,234': 1.234 or 1234?"),
        (
            "sample;date;visc cP\n0417-K;03/04/2025 10:00;279\n",
            "'03/04/2025 10:00': 3 Apr 2025 or 4 Mar 2025?",
        ),
        ("sample;date;visc cP\n0417-K;2025-03-06;279\n", "'2025-03-06' has no time of the day"),
        ("sample;date;visc cP\n0417-K;2025-03-06 10:00;thick\n", "'thick' in place of a number"),
        ("sample;date;visc cP\n0417-K;2025-03-06 10:00;27x9\n", "line 2, visc cP: '27x9' is not a number"),
        ("sample;date;visc cP\n0417-K;soon;279\n", "line 2, date: 'soon' is not a date"),
        (
            "sample;date;visc cP\n0417-X;2025-03-06 10:00;279\n",
            "own.csv line 2, sample: sample '0417-X' is not on record",
        ),
        (
            "sample;date;visc cP\n0417-K;2025-03-06 10:00;-5\n",
            "own.csv line 2, viscosity_mpas: '-5' is out of",
        ),
        ("sample;date;visc cP\n0417-K;2025-03-06 10:00;279;1\n", "line 2: more cells than the header has"),
    ],
)
def test_a_file_that_the_mapping_does_not_read_is_refused_whole(
    at_bench: Bench, shell: Shell, sheet: str, told: str
) -> None:
    assert shell(KEPT, "--map", "kept", "--yes")[0] == 0
    before = [at_bench.rows("reading"), at_bench.rows("event"), Path("mappings/kept.toml").read_text("utf-8")]
    good = "0417-K;2025-03-07 10:00;280" + (";" if "shelf\n" in sheet and "cP" in sheet else "")
    code, out, err = shell(f"{sheet}{good}\n", "--map", "kept", "--yes")
    assert (code, out) == (2, "")
    assert told in err
    assert "Traceback" not in err
    after = [at_bench.rows("reading"), at_bench.rows("event"), Path("mappings/kept.toml").read_text("utf-8")]
    assert after == before


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--yes"], "error: --yes goes with --map"),
        (["--dates", "day first"], "error: --dates goes with --map"),
        (["--map", "../x", "--yes"], "error: mapping name '../x' cannot be used"),
        (["--map", "x", "--column", "none=sample"], "error: own.csv: no column 'none'"),
        (["--map", "x", "--column", "visc cP=viscosity"], "error: 'viscosity' is no column of readings"),
        (["--map", "x", "--column", "date=sample"], "error: columns 'sample' and 'date' are both sample"),
        (["--map", "x", "--word", "gel=thick"], "error: word 'gel' = 'thick'"),
        (["--map", "x", "--time-of-day", "noon"], "error: time of day 'noon'"),
        (["--map", "x", "--table", "nothing"], "error: 'nothing' is no table of ours"),
    ],
)
def test_answers_that_mean_nothing_are_refused(
    at_bench: Bench, shell: Shell, arguments: list[str], told: str
) -> None:
    code, _, err = shell(KEPT, *arguments)
    assert code == 2
    assert told in err
    assert at_bench.rows("reading") == []


class TestAtATerminal:
    """Answers typed one after the other; the order of questions is that of what they need."""

    @pytest.fixture
    def answer(self, monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
        class Terminal:
            def isatty(self) -> bool:
                return True

        def give(*answers: str) -> None:
            left = iter(answers)

            def prompt(_text: str, default: str | None = None, **_: Any) -> str:
                return next(left) or str(default)

            monkeypatch.setattr(bring_map, "sys", type("S", (), {"stdin": Terminal(), "stderr": Terminal()}))
            monkeypatch.setattr(click, "prompt", prompt)
            monkeypatch.setattr(click, "confirm", lambda *_, **__: next(left) == "y")

        return give

    SHEET = "Tin;Day of reading;Visc;Shelf\n0417-K;03/04/2025;1,278;A\n0418-M;04/04/2025;>2,000;B\n"

    def test_open_points_are_asked_and_the_mapping_is_named(
        self, at_bench: Bench, shell: Shell, answer: Callable[..., None]
    ) -> None:
        # which column is the date, unit, decimal mark, order of dates, time of the day, enter, yes, a name
        answer("1", "cP", "point", "month first", "", "", "y", "shelf round")
        code, out, err = shell(self.SHEET, "--map")
        assert (code, out) == (0, "readings: 2 added\n")
        assert "mapping kept: mappings/shelf round.toml" in err
        assert taken(at_bench) == [("2025-03-04 12:00", 1278.0), ("2025-04-04 12:00", 2000.0)]
        assert shell(self.SHEET, "--map", "shelf round", "--yes")[1] == "readings: 2 already on record\n"

    def test_a_wrong_answer_is_asked_again_and_a_column_can_be_changed(
        self, at_bench: Bench, shell: Shell, answer: Callable[..., None]
    ) -> None:
        answer("9", "1", "2", "2", "1", "11:00", "4", "appearance", "x", "", "y", "own")
        code, _, err = shell(self.SHEET, "--map")
        assert code == 0
        assert "a number from 1 to 4" in err
        assert [row["appearance"] for row in at_bench.rows("reading")] == ["A", "B"]

    def test_no_writes_nothing(self, at_bench: Bench, shell: Shell, answer: Callable[..., None]) -> None:
        answer("1", "cP", "point", "month first", "", "", "n")
        code, _, err = shell(self.SHEET, "--map")
        assert (code, err.splitlines()[-2]) == (2, "error: nothing was written")
        assert at_bench.rows("reading") == []
        assert not Path("mappings").exists()
