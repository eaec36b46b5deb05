"""What is filed around the readings: the study, the cast, logs, calibrations, oil checks, statements, sweeps.

Times are aware UTC instants made from wall-clock hours of the laboratory. Everything is invented.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from stability.demo.acts import (
    Act,
    CalibrationsFiled,
    InstrumentFactsFiled,
    InstrumentsFiled,
    LotsFiled,
    OilChecked,
    PeopleFiled,
    ReadingsReleased,
    SamplesPlaced,
    StatementAsked,
    StoresFiled,
    StudyFiled,
    Swept,
    TemperaturesLogged,
    TemperaturesRebased,
    ThinnersFiled,
)
from stability.demo.history import log_rows, rebased_rows
from stability.demo.measure import OIL_MPAS, oil_reading
from stability.demo.rows import CalibrationRow, SampleRow
from stability.demo.schedule import LATE_DAY, PLANNED_DAYS, Tin, placed_at, tins
from stability.demo.stage import (
    CUPS,
    INSTRUMENTS,
    INVENTED,
    LOTS,
    NOW,
    NOW_DAY,
    PEOPLE,
    STORES,
    STUDY_CODE,
    THINNERS,
    instant,
)

__all__ = [
    "beginning",
    "calibrations",
    "logs",
    "oil_checks",
    "placings",
    "statements",
    "study_toml",
    "sweeps",
]

_FORMULATOR, _QA, _ASSISTANT, _STAND_IN = "Lena V.", "Tomas B.", "Mira O.", "Jonas K."


def study_toml() -> str:
    """Return the study file; its first line says that it is invented."""
    plans = "\n".join(
        f'[plan.{store}]\ndays = {list(days)}\nchecks = ["viscosity", "gel"]'
        for store, days in PLANNED_DAYS.items()
    )
    return f"""# {INVENTED}
code = "{STUDY_CODE}"
title = "Thinners for a silyl-urethane crosslinker (invented demonstration)"
target_life_days = 365
storage_c = 23.0
owner = "lena.v@lab.example"

[limits]
viscosity_ratio = 2.0
gel_grade = 2
dry_through_ratio = 1.25

{plans}
"""


def beginning() -> Iterator[Act]:
    """Yield what is filed the day before the first tin, cast and study, and the stand-in set later."""
    yield PeopleFiled(rows=PEOPLE, person=_QA, entered_at=instant(-1, 9, 0))
    yield StoresFiled(rows=STORES, person=_QA, entered_at=instant(-1, 9, 5))
    yield InstrumentsFiled(rows=INSTRUMENTS, person=_QA, entered_at=instant(-1, 9, 10))
    yield InstrumentFactsFiled(rows=CUPS, person=_QA, entered_at=instant(-1, 9, 10))
    yield ThinnersFiled(rows=THINNERS, person=_FORMULATOR, entered_at=instant(-1, 9, 20))
    yield LotsFiled(rows=LOTS, person=_FORMULATOR, entered_at=instant(-1, 9, 25))
    yield StudyFiled(code=STUDY_CODE, text=study_toml(), person=_FORMULATOR, entered_at=instant(-1, 9, 30))
    # the missed round of day 28 is what gave the assistant a stand-in
    covered = tuple(replace(row, stand_in=_STAND_IN) for row in PEOPLE if row.person == _ASSISTANT)
    yield PeopleFiled(rows=covered, person=_FORMULATOR, entered_at=instant(29, 11))


def placings() -> Iterator[Act]:
    """Yield the tins set down on each starting day."""
    for start_day in sorted({tin.arm.start_day for tin in tins()}):
        yield SamplesPlaced(
            rows=tuple(_sample_row(tin) for tin in tins() if tin.arm.start_day == start_day),
            person=_ASSISTANT,
            entered_at=instant(start_day),
        )


def _sample_row(tin: Tin) -> SampleRow:
    return SampleRow(
        sample=tin.code,
        study=STUDY_CODE,
        product=tin.arm.product,
        product_lot=tin.arm.product_lot,
        thinner=tin.arm.thinner,
        thinner_lot=tin.arm.thinner_lot,
        level_pct=tin.arm.level_pct,
        additive=tin.arm.additive,
        additive_pct=tin.arm.additive_pct,
        pack=tin.arm.pack,
        fill_pct=80.0,
        store=tin.store,
        placed_at=placed_at(tin),
        twin="sealed" if tin.sealed else "opened",
        entered_at=placed_at(tin),
    )


def calibrations() -> Iterator[Act]:
    """Yield the certificates; that of VIS-1 lapses on day 84 and comes back on day 91."""
    others = [row.instrument for row in INSTRUMENTS if row.instrument != "VIS-1"]
    rows = [_certificate(name, (-22, 343), None) for name in others]
    rows.append(_certificate("VIS-1", (-280, 84), 0.2))
    yield CalibrationsFiled(rows=tuple(rows), person=_QA, entered_at=instant(-1, 9, 40))
    back = _certificate("VIS-1", (91, 455), 0.8)
    yield CalibrationsFiled(rows=(back,), person=_QA, entered_at=instant(91, 9, 30))
    yield ReadingsReleased(
        instrument="VIS-1",
        from_at=instant(84, 0),
        to_at=instant(91, 9),
        reason="certified on day 91, as found +0.8 %, within 1 %",
        person=_QA,
        entered_at=instant(91, 11),
    )


def _certificate(instrument: str, valid: tuple[int, int], as_found_pct: float | None) -> CalibrationRow:
    """Return a certificate of one study day that holds until the morning of another."""
    day, due_day = valid
    return CalibrationRow(
        instrument=instrument,
        at=instant(day, 9),
        due_at=instant(due_day, 0),
        as_found_pct=as_found_pct,
        certificate=f"invented-{instrument}-{instant(day, 9):%Y}",
    )


def oil_checks(days: Iterable[int]) -> Iterator[Act]:
    """Yield the certified oil read before each session."""
    for day in sorted(set(days)):
        at = instant(day, 9, 45)
        yield OilChecked(
            instrument="VIS-1",
            at=at,
            certified_mpas=OIL_MPAS,
            read_mpas=oil_reading(day),
            operator=_STAND_IN if day == LATE_DAY else _ASSISTANT,
            entered_at=at,
        )


def logs() -> Iterator[Act]:
    """Yield the loggers' files, in each Tuesday before the sweep, and the re-based stretch of OVN-40."""
    for row in STORES:
        days = {*range(7, NOW_DAY, 7), *([95] if row.store == "OVN-40" else [])}
        ends = [instant(day, 19, 30) if day != 95 else instant(day) for day in sorted(days)]
        begins_at = instant(0)
        for ends_at in [*ends, NOW]:
            yield TemperaturesLogged(
                store=row.store,
                rows=log_rows(row.store, begins_at, ends_at),
                person=_ASSISTANT,
                entered_at=ends_at,
            )
            begins_at = ends_at
    yield TemperaturesRebased(
        store="OVN-40",
        rows=rebased_rows("OVN-40", 1.6, instant(60), instant(95)),
        reason="reference probe on day 95: true 41.6 °C at a display of 40.0 since about day 60",
        person=_QA,
        entered_at=instant(95, 12),
    )


def statements() -> Iterator[Act]:
    """Yield the shelf-life statements asked for, with what ought to come of each."""
    asked = (
        ("ST-01", 1, "A2", 2.0, 6, 90, "refused", "2 × 84 days of real time do not reach 6 months"),
        ("ST-01", 1, "A2", 2.0, 6, 112, "signed", "provisional, 2 × 112 days of real time"),
        ("ST-02", 1, "A5", 1.5, 6, 112, "signed", "provisional, lot H-0417 only, to +50 %"),
        ("ST-01", 2, "A2", 2.0, 9, 169, "proposed", "2 × real time, three lots pooled"),
        ("ST-02", 1, "A5", 1.5, 6, 169, "not carried", "lot H-0442 reaches +50 % before 6 months"),
        ("ST-02", 2, "A5", 1.5, 3, 169, "proposed", "worst lot governs; replaces version 1"),
    )
    for minute, (statement, version, arm, ratio, months, day, expected, says) in enumerate(asked):
        yield StatementAsked(
            statement=statement,
            version=version,
            arm=arm,
            limit_viscosity_ratio=ratio,
            months=months,
            expected=expected,
            says=says,
            person=_QA,
            entered_at=instant(day, 16, minute),
        )


def sweeps() -> Iterator[Act]:
    """Yield one look a week on Tuesday evening after the session, and the last one now."""
    for day in range(0, NOW_DAY, 7):
        yield Swept(entered_at=instant(day, 20))
    yield Swept(entered_at=NOW)
