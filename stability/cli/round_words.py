"""The words of the guided round: its head, the next tin, the cards, the end."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from stability.services.round import Stop

__all__ = ["CARD_HEAD", "HELP", "QUESTIONS", "next_words", "outcome_words", "today_words"]

HELP = (
    "At 'tin': scan or type the code on the body, check character included; the",
    "answer may follow on the same line. Also: list, skip, undo WHY, quit,",
    "set VIS-1 S2 100, set cup ISO 4 0.981.",
    "345             viscosity, mPa·s          345 41.2       and torque, %",
    "345 348         two fillings (or 345/348) 336@10 300@100 two speeds",
    ">50000          over range                thick          no number can be read",
    "23.1C  41.2%    liquid °C, torque         61.5s          efflux time",
    "g3              gel grade, 0 to 5         m226.31/214.5  mass before/after, g",
    "- passes a question over; back leaves the tin; note TEXT; bulged, if the lid",
    "or the shape is not flat; ? shows the gel card where the grade is asked.",
)
CARD_HEAD = "Vial of 20 mL upside down at 23 °C for 30 s; stir rod; drawdown of 50 µm on glass:"

QUESTIONS = {
    "viscosity": "viscosity, mPa·s",
    "efflux time": "efflux time, s",
    "temperature": "in the liquid, °C",
    "grade": "gel grade, 0 to 5",
    "mass": "mass before opening / after closing, g",
    "appearance": "appearance",
}
"""What is asked, by what a bare number answers."""


def today_words(stops: Sequence[Stop], now: datetime, person: str) -> str:
    """Return the head of a round."""
    day = f"{now:%a} {now.day} {now:%b %Y}"
    if not stops:
        return f"Round of {day}: nothing to measure and nothing to take out today."
    minutes = sum(stop.line.minutes for stop in stops)
    counted = _counted(stops)
    return f"Round of {day}, {person}: {counted}, about {minutes:.0f} min. ? shows what can be typed."


def next_words(stop: Stop, left: int) -> str:
    """Return the tin whose turn it is: how many are left, code, blend, store, age, checks."""
    line = stop.line
    act = "take out for tomorrow" if stop.take_out else ", ".join(stop.checks)
    state = "" if stop.state in ("due today", "take out today") else f", {stop.state}"
    moved = ", moved" if line.moved else ""
    return (
        f"[{left} left] {stop.sample}  {line.words}, {line.store}, day {line.age_days:g}{state}{moved}: {act}"
    )


def outcome_words(measured: int, taken_out: int, left: Sequence[Stop]) -> str:
    """Return the end of a round."""
    done = f"{_tins(measured)} measured" + (f", {taken_out} taken out" if taken_out else "")
    if not left:
        return f"Done: {done}; nothing is left today."
    return f"Stopped: {done}; left: {_counted(left)}. stability log --round goes on there."


def _counted(stops: Sequence[Stop]) -> str:
    out = sum(stop.take_out for stop in stops)
    parts = [f"{_tins(len(stops) - out)} to measure"] if len(stops) > out else []
    parts += [f"{_tins(out)} to take out"] if out else []
    return ", ".join(parts)


def _tins(number: int) -> str:
    return f"{number} tin{'' if number == 1 else 's'}"
