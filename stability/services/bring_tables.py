"""The rules of the small tables: what a store, a sample, a move, an outing, a calibration must satisfy."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from types import MappingProxyType
from typing import Any

from stability.records.intake import SampleOnRecord
from stability.records.tables.bench import Ending, Instrument, Person, Sample, SampleMove, Store, Thinner
from stability.records.tables.design import Lot
from stability.records.tables.measured import Calibration, MethodChange, OilCheck, Outing
from stability.services.bring_ledger import Ledger
from stability.services.bring_rows import Tell, Way, take_rows
from stability.services.faults import typed
from stability.services.instants import iso
from stability.services.sources import Sheet

__all__ = ["WAYS", "take_table"]


def take_table(ledger: Ledger, sheet: Sheet) -> None:
    """Take one of the small tables in, and let what it brought be found by the tables after it."""
    table = sheet.spec.name
    rows = take_rows(ledger, sheet, WAYS[table])
    if table in ("stores", "instruments", "thinners"):
        what = table.removesuffix("s")
        ledger.renew(what, [row[what] for row in rows if row[what]])
    elif table == "samples":
        ledger.renew_samples({row["sample"]: row["placed_at"] for row in rows if row["sample"]})
        _note_thinners(ledger, rows)
    elif table == "endings":
        ledger.renew_samples()


def _note_thinners(ledger: Ledger, rows: list[dict[str, Any]]) -> None:
    named = {row["thinner"] for row in rows if row["thinner"]}
    for thinner in sorted(named - set(ledger.ids("thinner"))):
        text = f"thinner {typed(thinner)} is not on record: without a flash point every heated store counts"
        ledger.notes.append(f"{text} as above it")


def _sample(ledger: Ledger, values: dict[str, Any], tell: Tell) -> None:
    _own_time(ledger, values, "placed_at", tell, ahead=True)
    values["study_id"] = _id(ledger, "study", values["study_id"], tell, column="study")
    values["store_id"] = _id(ledger, "store", values["store_id"], tell, column="store")


def _move(ledger: Ledger, values: dict[str, Any], tell: Tell) -> None:
    _own_time(ledger, values, "at", tell)
    _of_sample(ledger, values, tell, "at")
    values["to_store_id"] = _id(ledger, "store", values["to_store_id"], tell, column="to_store")


def _ending(ledger: Ledger, values: dict[str, Any], tell: Tell) -> None:
    _own_time(ledger, values, "at", tell)
    sample = _of_sample(ledger, values, tell, "at", may_end=True)
    last = ledger.last_readings.get(sample.id) if sample else None
    if last is not None and last > values["at"]:
        tell(
            "at",
            f"{iso(values['at'])} lies before the sample's reading of {iso(last)}; expected a later time",
        )


def _outing(ledger: Ledger, values: dict[str, Any], tell: Tell) -> None:
    _own_time(ledger, values, "back_at", tell)
    _of_sample(ledger, values, tell, "out_at")
    if values["back_at"] <= values["out_at"]:
        tell(
            "back_at",
            f"{iso(values['back_at'])} is not after out_at; expected a time after {iso(values['out_at'])}",
        )


def _change(ledger: Ledger, values: dict[str, Any], tell: Tell) -> None:
    _own_time(ledger, values, "at", tell)
    if values["study"]:
        _id(ledger, "study", values["study"], tell, column="study")


def _calibration(ledger: Ledger, values: dict[str, Any], tell: Tell) -> None:
    _own_time(ledger, values, "at", tell)
    values["instrument_id"] = _id(ledger, "instrument", values["instrument_id"], tell, column="instrument")
    if values["due_at"] <= values["at"]:
        tell("due_at", f"{iso(values['due_at'])} is not after at; expected a time after {iso(values['at'])}")


def _oil_check(ledger: Ledger, values: dict[str, Any], tell: Tell) -> None:
    _own_time(ledger, values, "at", tell)
    values["instrument_id"] = _id(ledger, "instrument", values["instrument_id"], tell, column="instrument")


def _lot(ledger: Ledger, values: dict[str, Any], tell: Tell) -> None:
    if values["opened_at"] is not None and values["opened_at"] > ledger.now:
        tell("opened_at", ledger.future(values["opened_at"]))


def _own_time(
    ledger: Ledger, values: dict[str, Any], column: str, tell: Tell, *, ahead: bool = False
) -> None:
    """Refuse the future; without `entered_at` the row is known at its own time, a sample may be before."""
    own: datetime = values[column]
    if own > ledger.now:
        tell(column, ledger.future(own))
    entered = values.get("entered_at")
    if entered is None:
        values["entered_at"] = own
    elif entered > ledger.now:
        tell("entered_at", ledger.future(entered))
    elif entered < own and not ahead:
        tell("entered_at", f"{iso(entered)} lies before {column}; expected a time from {iso(own)} on")


def _id(ledger: Ledger, what: str, name: str, tell: Tell, *, column: str) -> int:
    known = ledger.ids(what)
    if name not in known:
        tell(column, ledger.unknown(what, name, known))
    return known.get(name, 0)


def _of_sample(
    ledger: Ledger, values: dict[str, Any], tell: Tell, column: str, *, may_end: bool = False
) -> SampleOnRecord | None:
    """Put the sample's id in; refuse what happened before it was placed or after it ended."""
    code, moment = values["sample_id"], values[column]
    sample = ledger.samples.get(code)
    if sample is None:
        tell("sample", ledger.unknown("sample", code, ledger.samples))
        return None
    values["sample_id"] = sample.id
    if moment < sample.placed_at:
        tell(
            column,
            f"{iso(moment)} lies before the sample was placed; expected from {iso(sample.placed_at)} on",
        )
    if sample.ended_at is not None and moment > sample.ended_at and not may_end:
        tell(column, f"{iso(moment)} lies after the sample's ending; expected until {iso(sample.ended_at)}")
    return sample


_OF_SAMPLE = {"sample": "sample_id"}
_OF_INSTRUMENT = {"instrument": "instrument_id"}

WAYS: Mapping[str, Way] = MappingProxyType(
    {
        "stores": Way(
            model=Store, key=("store",), completes=True, remedy="another temperature is another store"
        ),
        "thinners": Way(model=Thinner, key=("thinner",), renamed={"class": "thinner_class"}, completes=True),
        "lots": Way(model=Lot, key=("kind", "lot"), rule=_lot, completes=True),
        "people": Way(
            model=Person,
            key=("person",),
            completes=True,
            remedy="stability person NAME changes a role or a mail",
        ),
        "instruments": Way(
            model=Instrument,
            key=("instrument",),
            completes=True,
            remedy="another range is another instrument: give it a name of its own",
        ),
        "samples": Way(
            model=Sample,
            key=("sample",),
            renamed={"study": "study_id", "store": "store_id"},
            rule=_sample,
            remedy="a code names one sample for ever; stability move changes its store",
        ),
        "moves": Way(
            model=SampleMove,
            key=("sample_id", "at"),
            renamed={"sample": "sample_id", "to_store": "to_store_id"},
            rule=_move,
        ),
        "endings": Way(model=Ending, key=("sample_id",), renamed=_OF_SAMPLE, rule=_ending),
        "outings": Way(model=Outing, key=("sample_id", "out_at"), renamed=_OF_SAMPLE, rule=_outing),
        "changes": Way(
            model=MethodChange,
            key=("at", "what", "study", "instrument"),
            defaults={"study": "", "instrument": ""},
            rule=_change,
        ),
        "calibrations": Way(
            model=Calibration, key=("instrument_id", "at"), renamed=_OF_INSTRUMENT, rule=_calibration
        ),
        "oil_checks": Way(
            model=OilCheck, key=("instrument_id", "at"), renamed=_OF_INSTRUMENT, rule=_oil_check
        ),
    }
)
"""How each of the small tables is taken in."""
