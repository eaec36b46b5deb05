"""What is typed on the command line: numbers, words that are shown back, and how a caution is said."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from stability.cli.edge import one_line
from stability.cli.options import warn

__all__ = ["NUMBER", "Number", "caution", "say"]


if TYPE_CHECKING:
    _Type = click.ParamType[float]
else:
    _Type = click.ParamType  # not generic in all versions that will do


class Number(_Type):
    """A finite number with a decimal point."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the number, or fail with what was typed."""
        if not isinstance(value, str):
            return value
        from stability.services.entry import parse_number

        try:
            return parse_number(value)
        except ValueError as exc:
            self.fail(str(exc), param, ctx)


NUMBER = Number()


def say(text: str) -> None:
    """Print one line; what people typed into it cannot steer the terminal."""
    click.echo(one_line(text))


def caution(lines: Sequence[str]) -> None:
    """Say what to heed, beside the data."""
    for line in lines:
        warn(f"caution: {one_line(line)}")
