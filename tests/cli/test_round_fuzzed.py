"""Whatever is typed into a round: it never ends with a fault of ours and stores nothing outside its rule."""

from __future__ import annotations

import contextlib
import io
import math
import shutil
import sys
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stability.cli.edge import run
from stability.records.engine import open_records
from tests.builders import Bench
from tests.round_bench import DAY_21, TINS, code, round_bench

CODES = [code(name) for name in TINS]
TYPED = """
312 334 481 3120 23.1C 23 52 52% g0 g3 g5 thick strings - ? ok k u r undo back skip list bulged opened
m226.2/214 312/318 336@10 300@100 >50000 set cup VIS-1 S2 note quit 0 1e308 226.2 61.5s
"""
KNOWN = TYPED.split()
WORDS = st.one_of(
    st.sampled_from(KNOWN),
    st.text(max_size=6),
    st.from_regex(r"[gtm>]?-?[0-9]{1,6}(\.[0-9]{0,2})?[%CsgG/@]?[0-9]{0,4}", fullmatch=True),
)
ANSWERS = st.lists(WORDS, max_size=4).map(" ".join)
TINS_TYPED = st.tuples(st.sampled_from(CODES), st.just("") | ANSWERS).map(" ".join)
WHOLE = st.builds(
    "{} {} 23.{}C g{} m226.2".format,
    st.sampled_from(CODES),
    st.integers(250, 600),
    st.integers(0, 9),
    st.integers(0, 5),
)
REPLIES = st.sampled_from(["ok", "k why not", "u", "r", "312", "334", "-", "undo slip", "g0", "g2", "23.1C"])
LINES = st.lists(
    st.one_of(WHOLE, REPLIES, REPLIES, TINS_TYPED, ANSWERS, st.sampled_from(KNOWN)), min_size=20, max_size=20
)


@pytest.fixture(scope="module")
def morning(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = round_bench(tmp_path_factory.mktemp("fuzz"))
    made.records.close()
    return made.path


def typed(database: Path, lines: list[str]) -> None:
    now = DAY_21

    def clock() -> datetime:
        nonlocal now
        now += timedelta(milliseconds=300)
        return now

    out, err = io.StringIO(), io.StringIO()
    text = "\n".join(line.replace("\n", " ") for line in lines) + "\n"
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("STABILITY_TIME_ZONE", "Europe/Berlin")
        patch.setattr("stability.cli.round.now_utc", clock)
        patch.setattr(sys, "stdin", io.StringIO(text))
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            exit_code = run(["log", "--round", "--person", "Mira", "--db", str(database)])
    assert exit_code == 0, err.getvalue()
    assert "unexpected fault" not in err.getvalue()


def nothing_is_outside_its_rule(rows: list[dict[str, Any]]) -> None:
    for row in rows:
        value = row["viscosity_mpas"]
        assert value is None or 0 < value < 1e300
        assert row["gel_grade"] is None or row["gel_grade"] in range(6)
        assert row["temperature_c"] is None or -50 <= row["temperature_c"] <= 150
        assert row["torque_pct"] is None or 10 <= row["torque_pct"] <= 100
        assert row["mass_g"] is None or (math.isfinite(row["mass_g"]) and row["mass_g"] >= 10)
        assert value is not None or row["gel_grade"] is not None or row["corrects_id"] is not None
        for name in ("note", "appearance", "reason"):
            assert row[name] is None or (row[name].isprintable() and len(row[name]) <= 2000)


def fuzzed(morning: Path, examples: int) -> None:
    stored = 0

    @settings(max_examples=examples, suppress_health_check=list(HealthCheck))
    @given(LINES)
    def try_out(lines: list[str]) -> None:
        nonlocal stored
        database = morning.with_name("typed.db")
        shutil.copyfile(morning, database)
        typed(database, lines)
        records = open_records(str(database))
        rows = Bench(records, database).rows("reading")
        records.close()
        nothing_is_outside_its_rule(rows)
        stored += len(rows) - 18

    try_out()
    assert stored > examples // 10, "too little got through to mean anything"


def test_no_answer_breaks_a_round(morning: Path) -> None:
    fuzzed(morning, 40)


@pytest.mark.slow
def test_ten_thousand_answers_break_no_round(morning: Path) -> None:
    fuzzed(morning, 500)
