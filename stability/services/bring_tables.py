"""The rules of the small tables: what a store, a sample, a move, an outing, a calibration must satisfy."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from stability.records.tables.bench import Ending, Instrument, Person, Sample, SampleMove, Store, Thinner
from stability.records.tables.design import Lot
from stability.records.tables.instruments import (
    Calibration,
    CertificateDetail,
    CheckOil,
    InstrumentFact,
    OilCheck,
    ReadingRelease,
    SentinelCheck,
    SessionOverride,
    SpindleRange,
)
from stability.records.tables.measured import MethodChange, Outing
from stability.services import bring_instruments
from stability.services.bring_ledger import Ledger
from stability.services.bring_rows import Tell, Way, id_of, of_sample, own_time, take_rows
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
    own_time(ledger, values, "placed_at", tell, ahead=True)
    values["study_id"] = id_of(ledger, "study", values["study_id"], tell, column="study")
    values["store_id"] = id_of(ledger, "store", values["store_id"], tell, column="store")


def _move(ledger: Ledger, values: dict[str, Any], tell: Tell) -> None:
    own_time(ledger, values, "at", tell)
    of_sample(ledger, values, tell, "at")
    values["to_store_id"] = id_of(ledger, "store", values["to_store_id"], tell, column="to_store")


def _ending(ledger: Ledger, values: dict[str, Any], tell: Tell) -> None:
    own_time(ledger, values, "at", tell)
    sample = of_sample(ledger, values, tell, "at", may_end=True)
    last = ledger.last_readings.get(sample.id) if sample else None
    if last is not None and last > values["at"]:
        tell(
            "at",
            f"{iso(values['at'])} lies before the sample's reading of {iso(last)}; expected a later time",
        )


def _outing(ledger: Ledger, values: dict[str, Any], tell: Tell) -> None:
    own_time(ledger, values, "back_at", tell)
    of_sample(ledger, values, tell, "out_at")
    if values["back_at"] <= values["out_at"]:
        tell(
            "back_at",
            f"{iso(values['back_at'])} is not after out_at; expected a time after {iso(values['out_at'])}",
        )


def _change(ledger: Ledger, values: dict[str, Any], tell: Tell) -> None:
    own_time(ledger, values, "at", tell)
    if values["study"]:
        id_of(ledger, "study", values["study"], tell, column="study")


def _calibration(ledger: Ledger, values: dict[str, Any], tell: Tell) -> None:
    bring_instruments.by_instrument(ledger, values, tell)
    if values["due_at"] <= values["at"]:
        tell("due_at", f"{iso(values['due_at'])} is not after at; expected a time after {iso(values['at'])}")


def _lot(ledger: Ledger, values: dict[str, Any], tell: Tell) -> None:
    if values["opened_at"] is not None and values["opened_at"] > ledger.now:
        tell("opened_at", ledger.future(values["opened_at"]))


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
        "instrument_facts": Way(
            model=InstrumentFact,
            key=("instrument_id", "at"),
            renamed=_OF_INSTRUMENT,
            rule=bring_instruments.fact,
        ),
        "spindles": Way(
            model=SpindleRange,
            key=("instrument_id", "spindle", "speed_rpm", "at"),
            renamed=_OF_INSTRUMENT,
            rule=bring_instruments.spindle,
        ),
        "oils": Way(model=CheckOil, key=("oil",), rule=bring_instruments.oil),
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
            model=OilCheck,
            key=("instrument_id", "at"),
            renamed=_OF_INSTRUMENT,
            rule=bring_instruments.by_instrument,
        ),
        "certificates": Way(
            model=CertificateDetail,
            key=("instrument_id", "at"),
            renamed=_OF_INSTRUMENT,
            rule=bring_instruments.by_instrument,
        ),
        "sentinel_checks": Way(
            model=SentinelCheck,
            key=("instrument_id", "at"),
            renamed=_OF_INSTRUMENT,
            rule=bring_instruments.sentinel,
        ),
        "overrides": Way(
            model=SessionOverride,
            key=("instrument_id", "at"),
            renamed=_OF_INSTRUMENT,
            rule=bring_instruments.by_instrument,
        ),
        "releases": Way(
            model=ReadingRelease,
            key=("sample_id", "taken_at", "instrument_id", "at"),
            renamed={**_OF_SAMPLE, **_OF_INSTRUMENT},
            rule=bring_instruments.release,
        ),
    }
)
"""How each of the small tables is taken in."""
