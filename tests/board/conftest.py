"""What the tests of the board share: golden texts and the invented views."""

from __future__ import annotations

import importlib.util
import os
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

GOLDEN = Path(__file__).parent.parent / "golden"


def load(name: str) -> ModuleType:
    """Return a module beside this file (the tests are no package)."""
    spec = importlib.util.spec_from_file_location(f"board_{name}", Path(__file__).with_name(f"{name}.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def example() -> ModuleType:
    """The invented board and tin."""
    return load("example")


@pytest.fixture(scope="session")
def rows() -> ModuleType:
    """The invented forecasts and the comparison."""
    return load("example_tables")


@pytest.fixture
def golden() -> Callable[[str, str], None]:
    """Compare a text with its golden file; GOLDEN=write makes the file anew."""

    def check(name: str, text: str) -> None:
        file = GOLDEN / name
        if os.environ.get("GOLDEN") == "write":
            file.write_text(text, encoding="utf-8", newline="\n")
        assert text == file.read_text(encoding="utf-8")

    return check
