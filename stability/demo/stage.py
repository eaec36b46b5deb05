"""The stage of the invented study: time, seed, stores, people, instruments, thinners, lots.

All names and numbers are invented; nothing here describes an existing product, laboratory or person.
Flash points are of the order found on safety data sheets, from memory, closed cup, °C.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from stability.demo.rows import InstrumentFactRow, InstrumentRow, LotRow, PersonRow, StoreRow, ThinnerRow

__all__ = [
    "CLOSED_DATES",
    "CUPS",
    "DAY_0",
    "INSTRUMENTS",
    "INVENTED",
    "LOTS",
    "NOW",
    "NOW_DAY",
    "PEOPLE",
    "SEED",
    "STORES",
    "STUDY_CODE",
    "THINNERS",
    "ZONE",
    "age_days",
    "instant",
]

INVENTED = "Invented demonstration data: no product, laboratory or person of this name exists."
SEED = 7417
STUDY_CODE = "S-07"
ZONE = ZoneInfo("Europe/Berlin")
DAY_0 = date(2025, 3, 4)
NOW_DAY = 175
CLOSED_DATES = (date(2025, 4, 21),)
"""Closed beside all weekends: Easter Monday, study day 48."""

_START = time(10, 0)


def instant(day: int, hour: int = 10, minute: float = 0.0) -> datetime:
    """Return the UTC instant of a wall-clock time on a study day; summer time moves no plan."""
    local = datetime.combine(DAY_0 + timedelta(days=day), time(hour), tzinfo=ZONE)
    local += timedelta(minutes=minute)
    return local.astimezone(UTC)


def age_days(at: datetime) -> float:
    """Return the time since the start of day 0 (10:00 local), [d], in true hours."""
    start = datetime.combine(DAY_0, _START, tzinfo=ZONE).astimezone(UTC)
    return (at - start) / timedelta(days=1)


NOW = instant(NOW_DAY)

STORES = (
    StoreRow(store="FRG-5", temperature_c=5.0, tolerance_c=3.0),
    StoreRow(store="ROOM-23", temperature_c=23.0, tolerance_c=2.0, humidity_pct=50.0),
    StoreRow(store="OVN-40", temperature_c=40.0, tolerance_c=1.5),
    StoreRow(store="OVN-50", temperature_c=50.0, tolerance_c=2.0),
    StoreRow(store="OVN-60", temperature_c=60.0, tolerance_c=1.5),
)

PEOPLE = (
    PersonRow(person="Mira O.", role="assistant", mail="mira.o@lab.example"),
    PersonRow(person="Jonas K.", role="assistant", mail="jonas.k@lab.example"),
    PersonRow(person="Lena V.", role="formulator", mail="lena.v@lab.example"),
    PersonRow(person="Tomas B.", role="qa", mail="tomas.b@lab.example"),
)

INSTRUMENTS = (
    InstrumentRow(instrument="VIS-1", kind="rotational", factor=6.0),
    InstrumentRow(instrument="CUP-4", kind="cup"),
    InstrumentRow(instrument="CUP-5", kind="cup"),
    InstrumentRow(instrument="BAL-2", kind="balance"),
    InstrumentRow(instrument="REF-1", kind="refractometer"),
    InstrumentRow(instrument="KF-1", kind="titrator"),
    InstrumentRow(instrument="TP-ref", kind="thermometer"),
)
CUPS = (
    InstrumentFactRow(instrument="CUP-4", at=instant(-1, 9, 10), follows="Ford 4"),
    InstrumentFactRow(instrument="CUP-5", at=instant(-1, 9, 10), follows="Ford 5"),
)


def _thinner(thinner: str, thinner_class: str, flash_c: float) -> ThinnerRow:
    sds = f"invented sheet for {thinner}: follow your supplier's own"
    return ThinnerRow(thinner=thinner, thinner_class=thinner_class, flash_c=flash_c, sds=sds)


THINNERS = (
    _thinner("xylene", "aromatic", 27.0),
    _thinner("light aromatic naphtha", "aromatic", 46.0),
    _thinner("1-methoxy-2-propanol", "glycol ether", 32.0),
    _thinner("1-methoxy-2-propyl acetate", "glycol ether acetate", 42.0),
    _thinner("n-propyl acetate", "ester", 13.0),
    _thinner("ethyl 3-ethoxypropionate", "ester", 59.0),
)


def _product_lot(lot: str) -> LotRow:
    return LotRow(lot=lot, kind="product", methoxy_mmol_g=4.5)


def _thinner_lot(lot: str, opened_on: date, water_ppm: float, acid_pct: float | None = None) -> LotRow:
    opened_at = datetime.combine(opened_on, time(9, 0), tzinfo=ZONE).astimezone(UTC)
    return LotRow(lot=lot, kind="thinner", opened_at=opened_at, water_ppm=water_ppm, acid_pct=acid_pct)


LOTS = (
    _product_lot("H-0417"),
    _product_lot("H-0442"),
    _product_lot("H-0468"),
    _product_lot("H-0390"),
    _thinner_lot("X-11", date(2025, 2, 24), 140.0),
    _thinner_lot("N-04", date(2025, 2, 24), 120.0),
    _thinner_lot("P-08", date(2025, 2, 25), 600.0),
    _thinner_lot("M-03", date(2025, 2, 25), 350.0, 0.006),
    _thinner_lot("R-19", date(2023, 9, 12), 920.0, 0.022),
    _thinner_lot("R-26", date(2025, 2, 26), 110.0, 0.004),
    _thinner_lot("E-02", date(2025, 2, 26), 300.0, 0.008),
)
