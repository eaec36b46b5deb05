"""A laboratory with one blend of a given life, as rows of the tables that come in; all is invented."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from stability.records.engine import Records
from stability.services.blends import blends_of
from stability.services.bring import bring_rows
from stability.services.forecast import BlendForecast
from stability.services.studies import file_study
from stability.settings import FileSettings, MailSettings, Settings

ZONE = ZoneInfo("Europe/Berlin")
PLACED = datetime(2025, 3, 4, 9, 0, tzinfo=UTC)  # a Tuesday, 10:00 in Berlin
STORES = {"ROOM-23": 23.0, "OVN-40": 40.0, "OVN-50": 50.0}
AGES = {"ROOM-23": (0, 7, 14, 28, 56, 90), "OVN-40": (0, 7, 14, 28, 56), "OVN-50": (0, 3, 7, 14, 21, 28)}
ENERGY_KJ_MOL, GAS_CONSTANT_KJ = 75.0, 8.314462618e-3
WOBBLE = (0.004, -0.011, 0.007, 0.013, -0.006, -0.009, 0.010, -0.003)


def study(code: str = "S-07", *, target_days: float = 365, plan: bool = True, extra: str = "") -> str:
    """Return a study file."""
    tables = [f"[plan.{store}]\ndays = {list(days)}\nchecks = ['viscosity']" for store, days in AGES.items()]
    return (
        f'code = "{code}"\ntitle = "invented"\ntarget_life_days = {target_days}\nstorage_c = 23.0\n'
        f'owner = "lena@lab.example"\n{extra}\n[limits]\nviscosity_ratio = 2.0\ngel_grade = 2\n'
        + ("\n".join(tables) + "\n" if plan else "")
    )


def day(age_days: float) -> datetime:
    """Return the instant of an age."""
    return PLACED + timedelta(days=age_days)


def viscosity(store: str, age_days: float, *, life_days: float, tin: int = 0) -> float:
    """Return the viscosity of one tin: exponential growth, doubled after `life_days` at 23 °C."""
    x = (1 / (STORES[store] + 273.15) - 1 / 296.15) / GAS_CONSTANT_KJ
    dose = age_days * math.exp(-ENERGY_KJ_MOL * x)
    wobble = WOBBLE[(int(age_days) + 3 * tin + len(store)) % len(WOBBLE)]
    return float(f"{400 * math.exp(math.log(2) * dose / life_days + wobble):.5g}")


def samples(code: str = "S-07", *, thinner: str = "xylene") -> list[dict[str, Any]]:
    """Return two tins in each store."""
    return [
        {
            "sample": f"{code}-{thinner[0].upper()}{store[-2:]}{tin}",
            "study": code,
            "product": "Heron-A",
            "product_lot": "H-0417",
            "thinner": thinner,
            "thinner_lot": "X-11",
            "level_pct": 20.0,
            "pack": "lined tin 250 mL",
            "store": store,
            "placed_at": PLACED,
        }
        for store in STORES
        for tin in (1, 2)
    ]


def readings(
    tins: Sequence[Mapping[str, Any]], *, life_days: float, until: float, since: float = -1.0
) -> list[dict[str, Any]]:
    """Return the planned readings of some tins with since < age <= until, entered an hour after."""
    return [
        {
            "sample": tin["sample"],
            "taken_at": day(age),
            "viscosity_mpas": viscosity(tin["store"], age, life_days=life_days, tin=place),
            "entered_at": day(age) + timedelta(hours=1),
        }
        for place, tin in enumerate(tins)
        for age in AGES[tin["store"]]
        if since < age <= until
    ]


def set_up(records: Records, *, text: str | None = None, tins: Sequence[Mapping[str, Any]] = ()) -> None:
    """File the study, the stores and some tins on day 0."""
    act = {"person": "Lena", "now": PLACED + timedelta(hours=1), "zone": ZONE}
    file_study(records, text or study(), **act)
    stores = [
        {"store": name, "temperature_c": temperature, "tolerance_c": 2.0}
        for name, temperature in STORES.items()
    ]
    bring_rows(records, {"stores": stores, **({"samples": list(tins)} if tins else {})}, **act)


def bring(records: Records, now: datetime, **tables: Sequence[Mapping[str, Any]]) -> None:
    """Take rows in as somebody would at `now`."""
    bring_rows(records, tables, person="Mira", now=now, zone=ZONE)


def settings_for(folder: Path, *, mail: MailSettings | None = None, **given: Any) -> Settings:
    """Return settings whose text file lies in a folder."""
    return Settings(
        time_zone="Europe/Berlin",
        file=FileSettings(path=folder / "alerts.txt"),
        mail=mail or MailSettings(),
        **given,
    )


def refresh_with(chance: Callable[[datetime], float | None], **row: Any) -> Callable[..., Any]:
    """Return a stand-in for the fit: every blend has the chance that `chance(now)` gives, and is frozen."""

    def refresh(records: Records, *, now: datetime, settings: Settings) -> tuple[BlendForecast, ...]:
        with records.reading() as connection:
            blends = [blend for blend in blends_of(connection, as_of=now) if blend.readings]
        found = []
        for blend in blends:
            if blend.study.closed_at is not None and blend.study.closed_at <= now:
                continue
            found.append(_forecast(blend, chance(now), row))
        return tuple(found)

    return refresh


def _forecast(blend: Any, chance: float | None, given: Mapping[str, Any]) -> BlendForecast:
    row = {
        "product_lots": [blend.key.product_lot],
        "thinner_lots": [blend.key.thinner_lot],
        "outcome": "too_early" if chance is None else "estimated",
        "initial_viscosity_mpas": 400.0,
        "probability_before_target": chance,
        "life_days": 300.0,
        "life_days_lower95": 250.0,
        "noise_pct": 1.0,
        "readings": 10,
        "tins": 6,
        "activation_energy_kj_mol": 75.0,
        "evidence": [],
        **given,
    }
    return BlendForecast(
        key=blend.key,
        target_life_days=blend.study.target_life_days,
        owner=blend.study.owner,
        placed_at=blend.placed_at,
        digest="0" * 64,
        changed=False,
        row=row,
        extra={"alert": {"probability": chance, "life_days": 300.0, "early_days": 250.0, "late_days": 380.0}},
    )
