"""The rules, all through one door: facts in, findings out, the time as an argument.

The facts are defined in `facts`, the words in `findings`, the rules themselves in `material` (what ages) and
`operations` (the house around it).
"""

from __future__ import annotations

from stability.alerts.facts import (
    BlindGap,
    CalibrationFacts,
    Cell,
    ChannelFacts,
    CureFacts,
    DueCheck,
    HoldFacts,
    Look,
    ProbeFacts,
    StoreLog,
    Thresholds,
    TinFacts,
    TinReading,
    TrendReading,
)
from stability.alerts.findings import Finding, Kind, Severity, Subject, cause_key, same_cause
from stability.alerts.instruments import calibration_lapsed, session_held
from stability.alerts.material import (
    cure_lost,
    gelled,
    heading_for_limit,
    limit_reached,
    out_of_trend,
    tins_disagree,
)
from stability.alerts.operations import (
    Excursion,
    blind_period,
    channel_dead,
    check_due,
    check_overdue,
    excursions,
    extra_days,
    probe_silent,
    store_excursion,
)

__all__ = [
    "BlindGap",
    "CalibrationFacts",
    "Cell",
    "ChannelFacts",
    "CureFacts",
    "DueCheck",
    "Excursion",
    "Finding",
    "HoldFacts",
    "Kind",
    "Look",
    "ProbeFacts",
    "Severity",
    "StoreLog",
    "Subject",
    "Thresholds",
    "TinFacts",
    "TinReading",
    "TrendReading",
    "blind_period",
    "calibration_lapsed",
    "cause_key",
    "channel_dead",
    "check_due",
    "check_overdue",
    "cure_lost",
    "excursions",
    "extra_days",
    "gelled",
    "heading_for_limit",
    "limit_reached",
    "out_of_trend",
    "probe_silent",
    "same_cause",
    "session_held",
    "store_excursion",
    "tins_disagree",
]
