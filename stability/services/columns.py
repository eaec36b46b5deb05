"""A column of a table in or out: how its cells are read and what is expected in them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

__all__ = [
    "Column",
    "Kind",
    "TableSpec",
    "moment",
    "named",
    "positive",
    "share",
    "text",
    "within",
    "word",
]


class Kind(StrEnum):
    """How a cell is read."""

    NAME = "name"  # one printable line
    TEXT = "text"  # free text, lines allowed
    NUMBER = "number"
    WHOLE = "whole number"
    INSTANT = "time"
    WORD = "word"  # one of a list
    VISCOSITY = "viscosity"  # a number above 0, or >number for over-range


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column: bounds include their ends, `above` and `below` do not."""

    name: str
    kind: Kind
    required: bool = False
    longest: int = 200
    words: tuple[str, ...] = ()
    least: float | None = None
    most: float | None = None
    above: float | None = None
    below: float | None = None

    @property
    def expects(self) -> str:
        """What is expected in a cell, for people."""
        if self.kind is Kind.WORD:
            return f"one of {', '.join(self.words)}"
        if self.kind is Kind.INSTANT:
            return "an ISO 8601 time such as 2025-03-04T10:00+01:00"
        if self.kind is Kind.VISCOSITY:
            return "a number above 0, or >50000 for over-range"
        if self.kind in (Kind.NAME, Kind.TEXT):
            return f"at most {self.longest} characters"
        return f"a {self.kind}{self._bounds}"

    @property
    def _bounds(self) -> str:
        if self.least is not None and self.most is not None:
            return f" from {self.least:g} to {self.most:g}"
        low = f" above {self.above:g}" if self.above is not None else ""
        low = f" of at least {self.least:g}" if self.least is not None else low
        high = f" below {self.below:g}" if self.below is not None else ""
        high = f" of at most {self.most:g}" if self.most is not None else high
        return " and".join(part for part in (low, high) if part)

    def admits(self, value: float) -> bool:
        """Say whether a finite number lies within the bounds."""
        return (
            (self.least is None or value >= self.least)
            and (self.most is None or value <= self.most)
            and (self.above is None or value > self.above)
            and (self.below is None or value < self.below)
        )


@dataclass(frozen=True, slots=True)
class TableSpec:
    """One table: its columns in order."""

    name: str
    columns: tuple[Column, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The names of the columns, in order."""
        return tuple(column.name for column in self.columns)

    @property
    def required(self) -> tuple[str, ...]:
        """The names of the columns that a header must have."""
        return tuple(column.name for column in self.columns if column.required)

    def column(self, name: str) -> Column:
        """Return a column by its name."""
        return next(column for column in self.columns if column.name == name)


def named(name: str, *, required: bool = False, longest: int = 200) -> Column:
    """Return a column of names: one printable line."""
    return Column(name=name, kind=Kind.NAME, required=required, longest=longest)


def text(name: str, longest: int, *, required: bool = False) -> Column:
    """Return a column of free text."""
    return Column(name=name, kind=Kind.TEXT, longest=longest, required=required)


def moment(name: str, *, required: bool = False) -> Column:
    """Return a column of times."""
    return Column(name=name, kind=Kind.INSTANT, required=required)


def word(name: str, *words: str, required: bool = False) -> Column:
    """Return a column of one of some words."""
    return Column(name=name, kind=Kind.WORD, words=words, required=required)


def positive(name: str, *, required: bool = False) -> Column:
    """Return a column of numbers above 0."""
    return Column(name=name, kind=Kind.NUMBER, above=0, below=1e300, required=required)


def within(name: str, least: float, most: float, *, required: bool = False) -> Column:
    """Return a column of numbers between two ends."""
    return Column(name=name, kind=Kind.NUMBER, least=least, most=most, required=required)


def share(name: str) -> Column:
    """Return a column of shares, from 0 to below 100 %."""
    return Column(name=name, kind=Kind.NUMBER, least=0, below=100)
