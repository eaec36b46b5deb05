"""Whatever is typed into a round: it never ends with a fault of ours and stores nothing outside its rule."""

from __future__ import annotations

import contextlib
import io
import math
import sys
from collections.abc import Iterator
from datetime import datetime, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stability.cli.edge import run
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
LINES = st.lists(st.one_of(TINS_TYPED, ANSWERS, st.sampled_from(KNOWN)), min_size=20, max_size=20)


@pytest.fixture(scope="module")
def morning(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    made = round_bench(tmp_path_factory.mktemp("fuzz"))
    yield made
    made.records.close()


def typed(morning: Bench, lines: list[str], begin: datetime) -> None:
    now = begin

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
            exit_code = run(["log", "--round", "--person", "Mira", "--db", str(morning.path)])
    assert exit_code == 0, err.getvalue()
    assert "unexpected fault" not in err.getvalue()


def nothing_is_outside_its_rule(morning: Bench) -> None:
    for row in morning.rows("reading"):
        value = row["viscosity_mpas"]
        assert value is None or 0 < value < 1e300
        assert row["gel_grade"] is None or row["gel_grade"] in range(6)
        assert row["temperature_c"] is None or -50 <= row["temperature_c"] <= 150
        assert row["torque_pct"] is None or 10 <= row["torque_pct"] <= 100
        assert row["mass_g"] is None or (math.isfinite(row["mass_g"]) and row["mass_g"] >= 10)
        assert value is not None or row["gel_grade"] is not None or row["corrects_id"] is not None
        for name in ("note", "appearance", "reason"):
            assert row[name] is None or (row[name].isprintable() and len(row[name]) <= 2000)


def fuzzed(morning: Bench, examples: int) -> None:
    rounds = iter(range(10**6))

    @settings(max_examples=examples, suppress_health_check=list(HealthCheck))
    @given(LINES)
    def try_out(lines: list[str]) -> None:
        typed(morning, lines, DAY_21 + timedelta(seconds=20 * next(rounds)))

    before = len(morning.rows("reading"))
    try_out()
    assert len(morning.rows("reading")) > before + examples // 5, "too little got through to mean anything"
    nothing_is_outside_its_rule(morning)


def test_no_answer_breaks_a_round(morning: Bench) -> None:
    fuzzed(morning, 25)


@pytest.mark.slow
def test_ten_thousand_answers_break_no_round(morning: Bench) -> None:
    fuzzed(morning, 500)
