"""What the tests of the reports share: golden texts and the invented views."""

from __future__ import annotations

import importlib.util
import os
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

GOLDEN = Path(__file__).parent.parent / "golden"


@pytest.fixture(scope="session")
def example() -> ModuleType:
    """The invented views beside this file (the tests are no package)."""
    place = Path(__file__).with_name("example.py")
    spec = importlib.util.spec_from_file_location("reports_example", place)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def golden() -> Callable[[str, str], None]:
    """Compare a text with its golden file; GOLDEN=write makes the file anew."""

    def check(name: str, text: str) -> None:
        file = GOLDEN / name
        if os.environ.get("GOLDEN") == "write":
            file.write_text(text, encoding="utf-8", newline="\n")
        assert text == file.read_text(encoding="utf-8")

    return check
