"""Invented rows for the tests of the tables."""

from __future__ import annotations

from stability.board.view import CompareLine, CompareView

STANDING = "SDS, local code and licensed practice come first."


def forecast_row(**changes: object) -> dict[str, object]:
    row: dict[str, object] = {
        "study": "S-07",
        "product": "Heron-A",
        "product_lots": ["H-0417"],
        "thinner": "1-methoxy-2-propyl acetate",
        "thinner_lots": ["M-03"],
        "level_pct": 20.0,
        "additive": None,
        "pack": "lined tin 250 mL",
        "storage_c": 23.0,
        "limit_viscosity_ratio": 2.0,
        "target_life_days": 365,
        "outcome": "estimated",
        "says": None,
        "life_days": 365.2,
        "life_days_lower95": 301.4,
        "life_days_lower95_next_tin": 289.0,
        "life_days_upper95": 442.0,
        "probability_before_target": 0.50,
        "limit_date": "2026-03-04",
        "gel_life_days": None,
        "activation_energy_kj_mol": 72.1,
        "activation_energy_se_kj_mol": 4.4,
        "order_m": 0.1,
        "self_acceleration_b": 0.4,
        "initial_viscosity_mpas": 320.4,
        "noise_pct": 2.1,
        "tin_spread_pct": 3.3,
        "tins": 10,
        "readings": 78,
        "gelled_tins": 0,
        "priors_used": False,
        "evidence": [
            {"name": "straight_arrhenius", "passed": True, "p": 0.41, "says": "the stores lie on one line"},
            {
                "name": "reach",
                "passed": False,
                "p": None,
                "says": "the longest dose seen is 0.48 of the claimed life, so the claim rests on the law",
            },
        ],
    }
    return row | changes


EMPTY_FORECAST = dict.fromkeys(
    (  # noqa: SIM905 - a list of names reads better
        "thinner level_pct additive pack limit_viscosity_ratio life_days life_days_lower95 limit_date "
        "life_days_lower95_next_tin life_days_upper95 probability_before_target gel_life_days "
        "activation_energy_kj_mol activation_energy_se_kj_mol order_m self_acceleration_b "
        "initial_viscosity_mpas noise_pct tin_spread_pct"
    ).split()
)


def comparison() -> CompareView:
    return CompareView(
        title="Thinners for Heron-A, 2× at 23 °C, worst lot",
        reference_words="xylene 20 %",
        lines=(
            CompareLine(
                rank=2,
                blend_words="1-methoxy-2-propanol 20 %, Heron-A, lined tin 250 mL",
                months=9,
                lower95_days=290.0,
                ratio=0.62,
                ratio_lower=0.4,
                ratio_upper=0.97,
                cure_word="fails",
                rung=2,
                flash_words="32 °C",
                remark="dry-through ×1.43 after 56 days",
            ),
            CompareLine(
                rank=1,
                blend_words="xylene 20 %, Heron-A, lined tin 250 mL",
                months=12,
                lower95_days=1364.0,
                ratio=1.0,
                cure_word="passes",
                rung=2,
                flash_words="25 °C",
            ),
            CompareLine(
                rank=None,
                blend_words="n-propyl acetate 20 %, Heron-A, lined tin 250 mL",
                remark="an ester: not recommendable yet, the test takes 12 weeks",
            ),
        ),
        first_choice="xylene 20 % in a lined tin: 12 months at 23 °C",
        fallback="thin at the point of use",
        do_not="n-propyl acetate from the open drum: gelled after 27 days at 50 °C",
        cautions=(STANDING,),
    )
