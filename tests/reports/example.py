"""Invented views for the tests of figures and reports."""

from __future__ import annotations

import math
import random
from datetime import UTC, date, datetime

from stability.reports.view import (
    ArrheniusView,
    BandPoint,
    BlendVerdict,
    CapLine,
    DesignLine,
    EvidenceLine,
    Happening,
    LifeLine,
    MasterCurveView,
    MasterPoint,
    RatePoint,
    Refusal,
    StatementDraft,
    StoreLife,
    StudyReport,
)

STORES = (("FRG-5", 5.0), ("ROOM-23", 23.0), ("OVN-40", 40.0), ("OVN-50", 50.0), ("OVN-60", 60.0))


def law(dose_days: float, *, gel: float | None = None, start: float = 320.0, life: float = 365.0) -> float:
    if gel is None:
        return start * math.exp(math.log(2) * dose_days / life)
    return start * max(1 - min(dose_days / gel, 0.999), 1e-3) ** -1.5


def master(
    tins: int = 10,
    *,
    gel: float | None = None,
    names: tuple[tuple[str, float], ...] = STORES,
    start: float = 320.0,
    **changes: object,
) -> MasterCurveView:
    chance = random.Random(7417)  # noqa: S311
    points = []
    for tin in range(tins):
        store, temperature = names[tin % len(names)]
        speed = 2.0 ** ((temperature - 23) / 7)
        for day in (0, 7, 14, 28, 42, 56):
            dose = day * speed
            value = law(dose, gel=gel, start=start) * math.exp(chance.gauss(0, 0.02))
            over = gel is not None and dose > gel
            if dose < 800:
                points.append(
                    MasterPoint(
                        sample=f"T{tin:03d}",
                        store=store,
                        temperature_c=temperature,
                        dose_days=dose,
                        viscosity_mpas=100 * start if over else value,
                        at_least=over,
                        set_aside=tin == 3 and day == 28,
                    )
                )
    grid = [400 * i / 60 for i in range(61) if gel is None or 400 * i / 60 < gel]
    curve = tuple(
        BandPoint(
            dose_days=x,
            viscosity_mpas=law(x, gel=gel, start=start),
            lower_mpas=law(x, gel=gel, start=start) * math.exp(-0.0003 * x),
            upper_mpas=law(x, gel=gel, start=start) * math.exp(0.0004 * x),
        )
        for x in grid
    )
    values: dict[str, object] = {
        "study": "S-07",
        "blend_words": "1-methoxy-2-propyl acetate 20 %, Heron-A, lined tin 250 mL",
        "storage_c": 23.0,
        "points": tuple(points),
        "curve": curve if tins else (),
        "limit_mpas": 2 * start,
        "limit_words": "2× the day-0 value",
        "life_days": 365.2 if tins else None,
        "lower95_days": 301.4 if tins else None,
        "today_days": 174.9,
        "target_life_days": 365.0,
        "invented": True,
    }
    return MasterCurveView(**(values | changes))  # type: ignore[arg-type]


def arrhenius_view(stores: int = 5, **changes: object) -> ArrheniusView:
    def life(temperature: float) -> float:
        return 365.0 * math.exp(72 / 8.314462618e-3 * (1 / (temperature + 273.15) - 1 / 296.15))

    found = tuple(
        StoreLife(
            store=name,
            temperature_c=temperature,
            life_days=life(temperature) * (1.1 if temperature > 45 else 0.96),
            lower_days=None if temperature < 10 else 0.8 * life(temperature),
            upper_days=None if temperature < 10 else 1.3 * life(temperature),
            tins=2,
        )
        for name, temperature in STORES[:stores]
    )
    line = tuple(
        RatePoint(
            temperature_c=t,
            life_days=life(t),
            lower_days=life(t) * (0.9 - abs(t - 40) / 300),
            upper_days=life(t) * (1.1 + abs(t - 40) / 200),
        )
        for t in range(3, 63, 3)
    )
    values: dict[str, object] = {
        "study": "S-07",
        "blend_words": "1-methoxy-2-propyl acetate 20 %, Heron-A, lined tin 250 mL",
        "storage_c": 23.0,
        "limit_words": "2×",
        "stores": found,
        "line": line if stores else (),
        "energy_kj_mol": 72.1 if stores > 1 else None,
        "energy_se_kj_mol": 4.4 if stores > 1 else None,
        "invented": True,
    }
    return ArrheniusView(**(values | changes))  # type: ignore[arg-type]


AS_OF = datetime(2025, 8, 26, 8, 0, tzinfo=UTC)
STANDING = "SDS, local code and licensed practice come first."
A5 = "1-methoxy-2-propyl acetate 20 %, Heron-A, lined tin 250 mL"
EVIDENCE = (
    EvidenceLine(
        name="straight_arrhenius",
        passed=True,
        p=0.41,
        says="the lives of the five stores lie on one straight line",
    ),
    EvidenceLine(
        name="reach",
        passed=False,
        says="the longest dose seen is 0.48 of the dose at the claimed life",
        would_change="readings of ROOM-23 after day 274",
    ),
    EvidenceLine(name="two_clocks", passed=None, says="no outings on record to tell the clocks apart"),
)


def verdict(**changes: object) -> BlendVerdict:
    values: dict[str, object] = {
        "blend_words": A5,
        "word": "creeping",
        "outcome": "estimated",
        "storage_c": 23.0,
        "limit_words": "2× the day-0 value",
        "target_life_days": 365.0,
        "product_lots": ("H-0417",),
        "thinner_lots": ("M-03",),
        "life_days": 365.2,
        "lower95_days": 301.4,
        "lower95_next_tin_days": 289.0,
        "upper95_days": 442.0,
        "limit_date": date(2026, 3, 4),
        "probability_before_target": 0.5,
        "energy_kj_mol": 72.1,
        "energy_se_kj_mol": 4.4,
        "tins": 10,
        "readings": 78,
        "lives": (
            LifeLine(criterion="+20 %", life_days=96.1, lower95_days=85.2, upper95_days=108.0),
            LifeLine(criterion="+50 %", life_days=213.4, lower95_days=182.0, upper95_days=250.0),
            LifeLine(criterion="2×", life_days=365.2, lower95_days=301.4, upper95_days=442.0),
            LifeLine(criterion="gel", says="no gel point in this fit"),
        ),
        "evidence": EVIDENCE,
    }
    return BlendVerdict(**(values | changes))  # type: ignore[arg-type]


def report(**changes: object) -> StudyReport:
    stores = (("ROOM-23", 23.0, 3), ("OVN-50", 50.0, 3))
    values: dict[str, object] = {
        "code": "S-07",
        "title": "Thinners for a silyl-urethane crosslinker",
        "question": "Does each blend stay below twice its day-0 viscosity for 365 d at 23 °C, and which "
        "thinner may be recommended?",
        "as_of": AS_OF,
        "zone_name": "Europe/Berlin",
        "calculation_version": "stability 0.1.0, law 1",
        "owner": "Lena V.",
        "target_life_days": 365.0,
        "storage_c": 23.0,
        "limits_words": ("viscosity 2× the day-0 value", "gel grade 2", "dry-through 1.25×"),
        "design": tuple(
            DesignLine(blend_words=blend, store=store, temperature_c=t, tins=n, readings=26, last_day=168.0)
            for blend in (A5, "neat, Heron-A, lined tin 250 mL")
            for store, t, n in stores
        ),
        "verdicts": (
            verdict(),
            verdict(
                blend_words="n-propyl acetate 20 %, Heron-A, lined tin 250 mL",
                word="lost",
                outcome="limit_reached",
                life_days=171.0,
                lower95_days=160.0,
                priors_used=True,
                gelled_tins=5,
            ),
            verdict(
                blend_words="neat, Heron-A, lined tin 250 mL",
                word="steady",
                outcome="lower_bound_only",
                life_days=None,
                lower95_days=2120.0,
                upper95_days=None,
                limit_date=None,
                lives=(),
                energy_kj_mol=None,
                evidence=(),
            ),
            verdict(
                blend_words="ethyl 3-ethoxypropionate 20 %, Heron-A, lined tin 250 mL",
                word="too early",
                outcome="too_early",
                says="needs readings at a second temperature",
                notes=("not curing",),
                lives=(),
                evidence=(),
            ),
        ),
        "happenings": (
            Happening(
                kind="corrected",
                at=datetime(2025, 4, 30, 8, tzinfo=UTC),
                words="H417-08 day 56: 357 read as 246 mPa·s, now 357",
                reason="readings of two tins exchanged; the refractive index confirms",
                person="Mira O.",
            ),
            Happening(
                kind="missed", at=datetime(2025, 4, 1, 8, tzinfo=UTC), words="OVN-50, 4 tins, done on day 33"
            ),
            Happening(
                kind="set aside",
                at=datetime(2025, 4, 15, 8, tzinfo=UTC),
                words="H417-12 day 42: 439 mPa·s against 333 in its twin",
                reason="2.3 % of its mass lost through the lid",
            ),
            Happening(
                kind="late entry",
                at=datetime(2025, 7, 22, 8, tzinfo=UTC),
                words="H417-44 day 140, entered 10 days later",
                person="Jonas K.",
            ),
        ),
        "cautions": (STANDING, "No flash point is on record: treat every heated store as above it."),
        "digest": "sha256:5f2c…e91a",
        "invented": True,
    }
    return StudyReport(**(values | changes))  # type: ignore[arg-type]


def draft(**changes: object) -> StatementDraft:
    values: dict[str, object] = {
        "number": "ST-02 v2",
        "study": "S-07",
        "drafted_at": AS_OF,
        "zone_name": "Europe/Berlin",
        "drafted_by": "Lena V.",
        "blend_words": A5,
        "pack_words": "lined tin 250 mL, 20 % ullage, laboratory air",
        "storage_words": "23 ± 2 °C, dry, dark, unopened, upright",
        "criterion_words": "viscosity below 1.5× the day-0 value",
        "method_words": "rotational, 23 °C, two determinations",
        "asked_months": 6,
        "months": 3,
        "rung": 2,
        "rung_words": "heat at two or more temperatures and three months of real time, agreeing; provisional",
        "caps": (
            CapLine(words="lower 95 % bound, worst lot H-0442", months=5.21),
            CapLine(words="2 × real time", months=11.04),
            CapLine(words="real time + 12 months", months=17.5),
        ),
        "refusals": (
            Refusal(
                reason="the lower bound of lot H-0442 (158 d) is shorter than 6 months",
                lifted_by="two more readings of H-0442 in ROOM-23 after day 182",
            ),
        ),
        "evidence": EVIDENCE,
        "lots_words": "H-0417, H-0442, H-0468 (not pooled: their slopes differ)",
        "real_time_days": 168.0,
        "temperatures_words": "5, 23, 40, 50 and 60 °C",
        "lower95_days": 158.4,
        "not_covered": (
            "other lots of the thinner",
            "other packs",
            "other levels",
            "pigments or catalysts added",
        ),
        "recipients": ("Sales office", "Customer laboratory"),
        "replaces": "ST-02 v1",
        "calculation_version": "stability 0.1.0, law 1",
        "cautions": (STANDING,),
        "invented": True,
    }
    return StatementDraft(**(values | changes))  # type: ignore[arg-type]
