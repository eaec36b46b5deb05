"""A step that nobody recorded and the readings show refuses a statement, by name."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from stability.records.engine import Records
from stability.services import statement
from stability.services.statement import Asked, draft_statement
from tests.fleet import day
from tests.lab import SETTINGS, lab


@pytest.fixture
def records(tmp_path: Path) -> Iterator[Records]:
    found = lab(tmp_path)
    yield found
    found.close()


def test_a_step_found_in_the_readings_refuses_a_claim(records, monkeypatch):
    def stepped(*args: Any, **named: Any) -> Any:
        words = "from one day on (tins 42.0 d old and more) all readings lie 5.4 % higher"
        step = {"name": "unresolved_step", "passed": False, "p": 1e-6, "says": words}
        return [
            replace(f, row={**f.row, "evidence": [*f.row["evidence"][:-1], step]})
            for f in plain(*args, **named)
        ]

    plain = statement.forecasts
    monkeypatch.setattr(statement, "forecasts", stepped)
    view = draft_statement(records, Asked(thinner="xylene"), as_of=day(114), settings=SETTINGS)
    assert view.months is None
    (refusal,) = view.refusals
    assert refusal.reason.startswith("unresolved step")
    assert "bridge reading" in refusal.lifted_by
