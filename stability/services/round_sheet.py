"""The round sheet: each tin of a round with cell, spindle, volume and cautions, for terminal, paper and CSV.

The last value is not on it: a number at hand is a number copied. Viscosities are mPa·s, speeds rpm, volumes
mL, temperatures °C, durations minutes; ages are days since a sample was placed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from stability.bench.expected import Knot, interpolate_band
from stability.bench.rotational import COMFORTABLE_PCT, Setting, best_setting
from stability.planning.rounds import RoundLine
from stability.planning.volume import Drawing, Pull, VolumeBudget, budget, pack_volume_ml
from stability.planning.windows import CheckState
from stability.records.engine import Records
from stability.records.forecasts import band_before
from stability.records.history import SampleFacts
from stability.records.last_used import LastUsed, last_used
from stability.services.checks_round import Round, round_rows, state_word
from stability.services.instruments import means_for

if TYPE_CHECKING:
    import sqlalchemy as sa

    from stability.services.checks import Planned
    from stability.settings import RoundSettings, Settings

__all__ = ["RoundSheet", "SheetLine", "Way", "csv_rows", "notes_of", "sheet_of"]

_COUNTED = (CheckState.PLANNED, CheckState.DUE, CheckState.LATE, CheckState.DONE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """How a viscosity is to be measured: cell, spindle and speed, or cup; `advice` is what to mind."""

    cell: str | None = None
    cell_ml: float = 0.0
    spindle: str | None = None
    speed_rpm: float | None = None
    cup: str | None = None
    advice: str | None = None

    @property
    def words(self) -> str:
        """The way in words, without the advice."""
        speed = None if self.speed_rpm is None else f"{self.speed_rpm:g} rpm"
        spindle = f"spindle {self.spindle}" if self.spindle else None
        cup = f"cup {self.cup}" if self.cup else None
        return ", ".join(words for words in (self.cell, spindle, speed, cup) if words)


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetLine:
    """One tin on the sheet; `heed` are the numbers of the cautions that go with it."""

    line: RoundLine
    study: str
    state: str
    way: Way | None
    volume: VolumeBudget
    heed: tuple[int, ...]

    @property
    def volume_words(self) -> str:
        """What is needed and what is there, in words; nothing where nothing is drawn."""
        volume = self.volume
        if not volume.needs_ml:
            return ""
        if volume.holds_ml is None:
            return f"{volume.needs_ml:.0f} mL"
        if volume.short:
            return f"SHORT: {volume.needs_ml:.0f} mL wanted, about {volume.holds_ml:.0f} mL left"
        left = f"{volume.needs_ml:.0f} mL of about {volume.holds_ml:.0f} mL"
        runs_out = volume.short_at_days
        return left if runs_out is None else f"{left}, too little from day {runs_out:g} on"

    @property
    def notes(self) -> tuple[str, ...]:
        """How, how much, what to heed and how long, each in words."""
        heed = f"heed {', '.join(map(str, self.heed))}" if self.heed else ""
        way = self.way
        said = (way.words if way else "", way.advice or "" if way else "", self.volume_words, heed)
        return (*(words for words in said if words), f"{self.line.minutes:g} min")


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundSheet:
    """A round with all that is printed of it; the number of a caution is its place, from 1."""

    round: Round
    lines: tuple[SheetLine, ...]
    zone: ZoneInfo
    person: str
    until: date

    @property
    def today(self) -> date:
        """The local day of the round."""
        return self.round.as_of.astimezone(self.zone).date()

    @property
    def cautions(self) -> tuple[str, ...]:
        """The cautions with their numbers, then the standing line."""
        *numbered, standing = self.round.cautions
        return (*(f"{place}  {words}" for place, words in enumerate(numbered, start=1)), standing)


def sheet_of(
    records: Records, found: Round, *, settings: Settings, person: str, within_days: int
) -> RoundSheet:
    """Return the sheet of a round."""
    zone = ZoneInfo(settings.time_zone)
    today = found.as_of.astimezone(zone).date()
    tins = {check.sample.sample: check.sample for check in found.checks}
    numbers = {words: place for place, words in enumerate(found.cautions, start=1)}
    wanted = sorted({tins[line.sample].id for line in found.lines})
    by_tin: dict[int, list[Planned]] = {}
    for check in found.checks:
        by_tin.setdefault(check.sample.id, []).append(check)
    lines = []
    with records.reading() as connection:
        bench = _Bench(
            connection, found.as_of, settings.round, last_used(connection, wanted, as_of=found.as_of)
        )
        for line in found.lines:
            tin = tins[line.sample]
            way = bench.way(tin, line) if "viscosity" in line.checks else None
            lines.append(
                SheetLine(
                    line=line,
                    study=found.studies[line.sample],
                    state=state_word(line, today, zone),
                    way=way,
                    volume=bench.volume(tin, line, way, by_tin[tin.id]),
                    heed=tuple(numbers[words] for words in line.cautions),
                )
            )
    until = today + timedelta(days=within_days)
    return RoundSheet(round=found, lines=tuple(lines), zone=zone, person=person, until=until)


def notes_of(sheet: RoundSheet) -> Mapping[tuple[str, str], str]:
    """Return the notes of each tin and state, as the terminal shows them."""
    return {(one.line.sample, one.state): " · ".join(one.notes) for one in sheet.lines}


def csv_rows(sheet: RoundSheet) -> Sequence[Mapping[str, Any]]:
    """Return one row of plain values per tin and act, in walking order."""
    *numbered, _ = sheet.round.cautions
    rows = []
    for row, one in zip(round_rows(sheet.round), sheet.lines, strict=True):
        way, volume = one.way or Way(), one.volume
        further = {
            "checks": " ".join(row["checks"]),
            "due_at": row["due_at"].astimezone(sheet.zone).isoformat(timespec="minutes"),
            "cell": way.cell,
            "spindle": way.spindle,
            "speed_rpm": way.speed_rpm,
            "cup": way.cup,
            "needs_ml": volume.needs_ml,
            "holds_ml": None if volume.holds_ml is None else round(volume.holds_ml),
            "short_at_days": volume.short_at_days,
            "cautions": " ".join(numbered[place - 1] for place in one.heed),
        }
        rows.append(row | further)
    return rows


@dataclass(slots=True)
class _Bench:
    """What is on record of how tins were measured, asked once per sheet."""

    connection: sa.Connection
    as_of: datetime
    house: RoundSettings
    last: Mapping[int, LastUsed]

    def way(self, tin: SampleFacts, line: RoundLine) -> Way:
        """Return how a tin is to be measured: as the last time, unless the torque would leave its range."""
        last = self.last.get(tin.id, LastUsed())
        expected = self._expected(tin, line.age_days) or last.viscosity_mpas
        if last.cup and not last.spindle:
            return Way(cup=last.cup)
        setting = self._setting(last, expected)
        if setting is None:
            cell, spindle, speed = None, last.spindle, last.speed_rpm
        else:
            cell, spindle, speed = setting.cell, setting.spindle, setting.speed_rpm
        return Way(
            cell=cell or self.house.cell,
            cell_ml=(setting.volume_ml if setting else None) or self.house.cell_ml,
            spindle=spindle,
            speed_rpm=speed,
            cup=last.cup,
            advice=_advice(last, expected, setting),
        )

    def volume(
        self, tin: SampleFacts, line: RoundLine, way: Way | None, checks: Sequence[Planned]
    ) -> VolumeBudget:
        """Return the volume budget of a tin at the pull of a line."""
        by_age: dict[float, list[Planned]] = {}
        for check in checks:
            if check.state in _COUNTED:
                by_age.setdefault(check.due.age_days, []).append(check)
        pulls = [
            Pull(
                age_days=age_days,
                checks=tuple(check.kind for check in same),
                done=all(check.state is CheckState.DONE for check in same),
            )
            for age_days, same in by_age.items()
        ]
        house, lost_g = self.house, self.last.get(tin.id, LastUsed()).lost_g
        size = pack_volume_ml(tin.pack)
        drawing = Drawing(
            cell_ml=house.cell_ml if way is None else way.cell_ml,
            cup_ml=house.cup_ml if way is not None and way.cup else 0.0,
            fillings=house.fillings,
            put_back=house.put_back,
        )
        filled = None if size is None or tin.fill_pct is None else size * tin.fill_pct / 100
        lost = None if lost_g is None or not house.put_back else max(lost_g, 0.0)
        return budget(pulls, line.age_days, drawing, filled_ml=filled, lost_ml=lost)

    def _setting(self, last: LastUsed, expected: float | None) -> Setting | None:
        """Return the setting on record for what is expected; the one used last where it still lands well."""
        if last.instrument is None or expected is None:
            return None
        settings = means_for(self.connection, instrument=last.instrument, cup=None, at=self.as_of).settings
        low, high = COMFORTABLE_PCT
        used = [
            each
            for each in settings
            if (each.spindle, each.speed_rpm) == (last.spindle, last.speed_rpm)
            and low <= each.torque_pct(expected) <= high
        ]
        return used[0] if used else best_setting(expected, settings, spindle=last.spindle)

    def _expected(self, tin: SampleFacts, age_days: float) -> float | None:
        knots = [Knot(*knot) for knot in band_before(self.connection, tin.id, before=self.as_of)]
        band = interpolate_band(knots, age_days) if knots else None
        return None if band is None else math.exp(band.ln_mean)


def _advice(last: LastUsed, expected: float | None, setting: Setting | None) -> str | None:
    if last.spindle is None:
        return None
    if setting is not None:
        if setting.spindle != last.spindle:
            return f"other spindle than last time: read {last.spindle} too"
        changed = last.speed_rpm is not None and setting.speed_rpm != last.speed_rpm
        return f"last time {last.speed_rpm:g} rpm" if changed else None
    if expected is None or not last.torque_pct or not last.viscosity_mpas:
        return None
    torque_pct = last.torque_pct * expected / last.viscosity_mpas
    low, high = COMFORTABLE_PCT
    if torque_pct > high:
        return f"about {torque_pct:.0f} % torque to be expected: a lower speed"
    return f"about {torque_pct:.0f} % torque to be expected: a higher speed" if torque_pct < low else None
