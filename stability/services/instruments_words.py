"""Instruments in words: the list, a check with its limit, a control chart as text, what was touched.

Viscosities are mPa·s, deviations %; times are shown in the site's zone.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from zoneinfo import ZoneInfo

from stability.board.words import date_words
from stability.services.instruments_certify import CertifiedAs
from stability.services.instruments_check import Charted, Checked
from stability.services.instruments_list import InstrumentLine
from stability.services.release import Impact, Touched
from stability.units import significant

__all__ = [
    "certified_words",
    "chart_lines",
    "checked_lines",
    "counted",
    "list_lines",
    "moment_words",
    "touched_lines",
]

_HALF_WIDTH = 10


def moment_words(at: datetime, zone: ZoneInfo, *, day: bool = False) -> str:
    """Return an instant as one says it: "4 Mar 2025 09:45", or the day alone."""
    local = at.astimezone(zone)
    return date_words(local.date()) + ("" if day else f" {local:%H:%M}")


def counted(number: int, word: str) -> str:
    """Return so many of a thing.

    >>> counted(1, "reading"), counted(2, "reading")
    ('1 reading', '2 readings')
    """
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def list_lines(lines: tuple[InstrumentLine, ...], zone: ZoneInfo) -> Iterator[str]:
    """Yield one line per instrument: what it is, its certificate, its last check, what is held or waits."""
    for line in lines:
        parts = [line.words]
        if line.due_at is not None:
            lapsed = "certificate LAPSED" if line.lapsed else "certified until"
            parts.append(f"{lapsed} {moment_words(line.due_at, zone, day=True)}")
        if line.last_check is not None:
            check = line.last_check
            checked = moment_words(check.at, zone, day=True)
            parts.append(f"{check.kind.value} {check.off_pct:+.1f} % on {checked}")
        parts += [f"HELD: {line.held}"] if line.held else []
        parts += [counted(line.conditional, "conditional reading")] if line.conditional else []
        yield f"{line.card.instrument}: {'; '.join(parts)}"


def certified_words(filed: CertifiedAs, zone: ZoneInfo) -> str:
    """Return what a certificate says."""
    text = f"{filed.instrument} certified until {moment_words(filed.due_at, zone, day=True)}"
    if filed.as_found_pct is not None:
        verdict = "within" if filed.found_good else "BEYOND"
        text += f"; as found {filed.as_found_pct:+.2g} %, {verdict} ± {filed.tolerance_pct:g} %"
    return text + (f"; factor {filed.cup_factor:g}" if filed.cup_factor is not None else "")


def checked_lines(done: Checked) -> Iterator[str]:
    """Yield what a check says, then what its chart says where that speaks."""
    check = done.check
    what = "oil" if check.kind.value == "oil" else f"sentinel {check.standard}"
    verdict = "good" if check.good else "OFF"
    yield (
        f"{done.instrument}, {what}: {significant(check.read_mpas)} for {significant(check.expected_mpas)} "
        f"mPa·s, {check.off_pct:+.1f} %, limit ± {check.limit_pct:g} %: {verdict}"
    )
    if done.charted.chart.signal and check.good:
        yield f"the chart drifts: {done.charted.chart.signal}; look for the cause before a check is off"
    if done.hold is not None:
        yield f"readings with {done.instrument} are held: {done.hold.do_next}"


def chart_lines(charted: Charted, zone: ZoneInfo) -> Iterator[str]:
    """Yield the control chart: one line per check, its limits as bars, EWMA and both CUSUM sums beside it."""
    chart, last = charted.chart, charted.checks[-1]
    yield (
        f"{charted.instrument}, {charted.kind.value} checks since the last certificate; "
        f"limit ± {last.limit_pct:g} %, EWMA ± {chart.ewma_limit_pct:.2g} %, CUSUM {chart.decision:.2g}"
    )
    yield f"{'':17} {'off %':>7} {'EWMA':>7} {'CUSUM':>11}  {'low':<{_HALF_WIDTH}}|{'high':>{_HALF_WIDTH}}"
    rows = zip(charted.checks, chart.ewma_pct, chart.cusum_high, chart.cusum_low, strict=True)
    for check, average, high, low in rows:
        mark = "" if check.good else " OFF"
        sums = f"{high:.2f}/{low:.2f}"
        yield (
            f"{moment_words(check.at, zone):>17} {check.off_pct:+7.2f} {average:+7.2f} {sums:>11}  "
            f"{_picture(check.off_pct / check.limit_pct)}{mark}"
        )
    yield chart.signal or "no signal"


def _picture(share: float) -> str:
    """Return a place between the limits as a line of text; a check beyond them stands at the end."""
    place = round(max(-1.0, min(1.0, share)) * _HALF_WIDTH) + _HALF_WIDTH
    line = ["·"] * (2 * _HALF_WIDTH + 1)
    line[_HALF_WIDTH] = "|"
    line[place] = "x"
    return "".join(line)


def touched_lines(found: Impact, zone: ZoneInfo) -> Iterator[str]:
    """Yield what rests on instruments that were found out: readings, forecasts, statements."""
    waiting = len(found.conditional)
    yield f"{counted(len(found.readings), 'reading')} touched, {waiting} conditional"
    for reading in found.readings:
        state = "conditional" if reading.conditional else "released"
        yield f"  {_reading_words(reading, zone)}: {state}; {reading.instrument}: {'; '.join(reading.says)}"
    yield f"{counted(sum(each.count for _, each in found.forecasts), 'forecast')} touched"
    for words, forecast in found.forecasts:
        first = moment_words(forecast.first_at, zone, day=True)
        last = moment_words(forecast.last_at, zone, day=True)
        yield f"  {words}: {forecast.count}, {first} to {last}"
    yield f"{counted(len(found.statements), 'statement')} touched"
    for words, statement in found.statements:
        made = moment_words(statement.made_at, zone, day=True)
        step = f", {statement.step}" if statement.step else ""
        yield f"  {statement.number} version {statement.version}, {words}, made {made}{step}"


def _reading_words(reading: Touched, zone: ZoneInfo) -> str:
    value = "" if reading.viscosity_mpas is None else f" {significant(reading.viscosity_mpas)} mPa·s"
    grade = "" if reading.gel_grade is None or value else f" grade {reading.gel_grade}"
    return f"{reading.sample} {moment_words(reading.taken_at, zone)}{value}{grade}"
