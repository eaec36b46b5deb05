"""Invented views for the tests of the board."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from stability.board.view import (
    AlertLine,
    BlendLine,
    BlendWord,
    BlindPeriod,
    BoardView,
    CurvePoint,
    EventLine,
    ReadingLine,
    SampleLine,
    SampleView,
    Severity,
    StatementLine,
    StoreLine,
    WorkLine,
)

AS_OF = datetime(2025, 8, 26, 8, 0, tzinfo=UTC)
STANDING = (
    "SDS, local code and licensed practice come first. "
    "No flash point is on record: treat every heated store as above it."
)
HOSTILE = "[bold red]tin[/] \x1b[2J\x1b]0;x\x07 \u202egnp.exe " + "n" * 200


def blend(thinner: str | None, word: BlendWord, **changes: object) -> BlendLine:
    values: dict[str, object] = {
        "study": "S-07",
        "blend_words": f"Heron-A + {thinner or 'nothing'}",
        "product": "Heron-A",
        "product_lots": ("H-0417",),
        "thinner": thinner,
        "thinner_lots": ("M-03",) if thinner else (),
        "level_pct": 20.0 if thinner else None,
        "pack": "lined tin 250 mL",
        "word": word,
        "outcome": "estimated",
        "life_days": 365.2,
        "lower95_days": 301.4,
        "upper95_days": 442.0,
        "age_days": 174.9,
        "life_used": 0.479,
        "limit_date": date(2026, 3, 4),
        "limit_date_early": date(2025, 12, 30),
        "limit_date_late": date(2026, 5, 20),
        "probability_before_target": 0.5,
        "target_life_days": 365.0,
    }
    return BlendLine(**(values | changes))  # type: ignore[arg-type]


def blends() -> tuple[BlendLine, ...]:
    far = {"limit_date": date(2033, 10, 18), "limit_date_early": date(2028, 11, 27), "limit_date_late": None}
    return (
        blend(
            "xylene",
            BlendWord.STEADY,
            life_days=3151.0,
            lower95_days=1364.0,
            life_used=0.055,
            probability_before_target=0.001,
            product_lots=("H-0417", "H-0442", "H-0468"),
            **far,
        ),
        blend("1-methoxy-2-propyl acetate", BlendWord.CREEPING, notes=("claim under review",)),
        blend(
            "1-methoxy-2-propyl acetate",
            BlendWord.LOST,
            pack="HDPE bottle 250 mL",
            life_days=198.4,
            lower95_days=161.0,
            life_used=0.88,
            limit_date=date(2025, 9, 18),
            limit_date_early=date(2025, 8, 20),
            limit_date_late=date(2025, 10, 30),
            probability_before_target=0.999,
        ),
        blend(
            "n-propyl acetate",
            BlendWord.LOST,
            outcome="limit_reached",
            life_days=171.0,
            lower95_days=160.0,
            life_used=1.02,
            probability_before_target=1.0,
        ),
        blend(
            "n-propyl acetate",
            BlendWord.TOO_EARLY,
            additive="vinyltrimethoxysilane 1 %",
            outcome="too_early",
            life_days=None,
            lower95_days=None,
            life_used=None,
            limit_date=None,
            limit_date_early=None,
            limit_date_late=None,
            probability_before_target=None,
            says="needs two temperatures with growth; next reading of ROOM-23 on 10 Sep 2025",
        ),
        blend("1-methoxy-2-propanol", BlendWord.STEADY, life_used=0.04, notes=("not curing",), **far),
        blend(
            None,
            BlendWord.STEADY,
            outcome="lower_bound_only",
            life_days=None,
            lower95_days=2120.0,
            life_used=None,
            limit_date=None,
            limit_date_early=date(2030, 12, 22),
            limit_date_late=None,
            probability_before_target=0.0001,
            says="the readings so far say at least 2120 d; no upper end",
        ),
    )


def board_view(**changes: object) -> BoardView:
    values: dict[str, object] = {
        "as_of": AS_OF,
        "zone_name": "Europe/Berlin",
        "title": "Thinners for a silyl-urethane crosslinker (S-07)",
        "work": (
            WorkLine(
                study="S-07",
                store="ROOM-23",
                checks=("viscosity", "gel"),
                samples=tuple(f"H417-{n:02d}" for n in range(1, 27)),
                state="due today",
                due_at=datetime(2025, 8, 26, 12, 0, tzinfo=UTC),
                minutes=84,
            ),
            WorkLine(
                study="S-07",
                store="OVN-40",
                checks=("viscosity", "gel", "appearance"),
                samples=("H417-31", "H417-32"),
                state="late",
                due_at=datetime(2025, 8, 24, 8, 0, tzinfo=UTC),
                minutes=9,
            ),
        ),
        "alerts": (
            AlertLine(
                id=7,
                kind="tins_disagree",
                words="tins disagree",
                subject_words="xylene 20 %, Heron-A, lined tin 250 mL, OVN-50",
                opened_at=datetime(2025, 4, 15, 9, 0, tzinfo=UTC),
                acknowledged_by="Mira O.",
                severity=Severity.NOTE,
                says="439 against 333 mPa·s in its twin: weigh the tin, look at the lid.",
            ),
            AlertLine(
                id=12,
                kind="heading_for_limit",
                words="heading for the limit",
                subject_words="1-methoxy-2-propyl acetate 20 %, Heron-A, HDPE bottle 250 mL",
                opened_at=datetime(2025, 6, 3, 9, 0, tzinfo=UTC),
                severity=Severity.NOW,
                limit_date=date(2025, 9, 18),
                says="P(limit before 365 d) is 0.99. The limit comes about 18 Sep 2025 "
                "(20 Aug – 30 Oct 2025). One more pull of H417-61 on Thursday would narrow the range most.",
            ),
        ),
        "blends": blends(),
        "stores": (
            StoreLine(
                store="OVN-40",
                temperature_c=40.0,
                last_c=41.6,
                last_at=AS_OF - timedelta(minutes=15),
                tolerance_c=1.5,
                samples=27,
                week_dose_days=3.34,
                word="too warm",
            ),
            StoreLine(
                store="ROOM-23",
                temperature_c=23.0,
                last_c=23.1,
                last_at=AS_OF - timedelta(minutes=15),
                tolerance_c=2.0,
                samples=33,
                week_dose_days=0.04,
                word="as set",
            ),
            StoreLine(store="FRG-5", temperature_c=5.0, samples=8, word="silent"),
        ),
        "statements": (
            StatementLine(
                number="ST-01 v1", words="xylene 20 %, lined tin: 6 months at 23 °C", state="issued"
            ),
            StatementLine(
                number="ST-02 v1",
                words="1-methoxy-2-propyl acetate 20 %, lined tin: 6 months at 23 °C, +50 %",
                state="not carried",
            ),
        ),
        "blind_periods": (
            BlindPeriod(
                from_at=datetime(2025, 7, 2, 10, 0, tzinfo=UTC), to_at=datetime(2025, 7, 4, 23, 0, tzinfo=UTC)
            ),
        ),
        "cautions": (STANDING,),
        "last_sweep_at": AS_OF - timedelta(minutes=2),
        "invented": True,
    }
    return BoardView(**(values | changes))  # type: ignore[arg-type]


def samples(number: int) -> tuple[SampleLine, ...]:
    return tuple(
        SampleLine(
            sample=f"H417-{n:02d}",
            study="S-07",
            blend_words="Heron-A + 20 % xylene",
            store="OVN-50" if n % 2 else "ROOM-23",
            temperature_c=50.0 if n % 2 else 23.0,
            age_days=56.0 + n,
            last_viscosity_mpas=10.0 ** (2 + n / 8),
            ratio=1.0 + n / 7,
            gel_grade=n // 9,
            life_used=0.03 * n,
            state="gelled" if n > 36 else "in store",
            ended=n > 36,
        )
        for n in range(1, number + 1)
    )


def sample_view(**changes: object) -> SampleView:
    placed = datetime(2025, 3, 4, 9, 0, tzinfo=UTC)

    def read(day: int, value: float | None, **more: object) -> ReadingLine:
        taken = placed + timedelta(days=day)
        low, high = 320 * 2 ** (day / 36) * 0.95, 320 * 2 ** (day / 36) * 1.05
        return ReadingLine(
            **{  # type: ignore[arg-type]
                "taken_at": taken,
                "entered_at": taken,
                "age_days": float(day),
                "viscosity_mpas": value,
                "temperature_c": 23.0,
                "gel_grade": 0,
                "expected_low_mpas": low,
                "expected_high_mpas": high,
                "operator": "Mira O.",
                **more,
            }
        )

    values: dict[str, object] = {
        "as_of": AS_OF,
        "zone_name": "Europe/Berlin",
        "sample": "H417-51",
        "study": "S-07",
        "blend_words": "1-methoxy-2-propyl acetate 20 %, Heron-A, lined tin 250 mL",
        "product_lot": "H-0417",
        "thinner_lot": "M-03",
        "store": "OVN-50",
        "temperature_c": 50.0,
        "placed_at": placed,
        "age_days": 58.0,
        "life_used": 1.03,
        "state": "in store",
        "limit_mpas": 640.0,
        "limit_date": date(2025, 4, 9),
        "next_check_at": AS_OF + timedelta(days=7),
        "expected_low_mpas": 880.0,
        "expected_high_mpas": 1010.0,
        "readings": (
            read(0, 320.0),
            read(7, 357.0),
            read(
                14,
                406.0,
                original_mpas=344.0,
                temperature_c=26.8,
                word="corrected",
                reason="read at 26.8 °C, brought to 23 °C at 4.4 %/°C",
            ),
            read(21, 481.0),
            read(
                28,
                246.0,
                counts=False,
                word="set aside",
                reason="row of the tin above",
                entered_at=placed + timedelta(days=33),
            ),
            read(35, 615.0),
            read(42, 695.0),
            read(56, 50000.0, over_range=True, gel_grade=4),
        ),
        "curve": tuple(
            CurvePoint(
                age_days=float(d),
                viscosity_mpas=320 * 2 ** (d / 36),
                lower_mpas=300 * 2 ** (d / 37),
                upper_mpas=345 * 2 ** (d / 35),
            )
            for d in range(0, 61, 2)
        ),
        "events": (
            EventLine(at=placed + timedelta(days=17), words="oven at 63 °C for 38 h: 3.0 d of life"),
            EventLine(at=placed + timedelta(days=33), words="day 28 read late", person="Jonas K."),
        ),
        "cautions": (STANDING,),
        "invented": True,
    }
    return SampleView(**(values | changes))  # type: ignore[arg-type]
