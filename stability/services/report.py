"""The report of one study: question, design, verdicts, lives, evidence, and everything that happened."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta

import sqlalchemy as sa

from stability.chemistry.cautions import STANDING_LINE
from stability.errors import InputError
from stability.records import history
from stability.records.engine import Records
from stability.records.happenings import blind_periods, check_marks, corrections
from stability.reports.view import BlendVerdict, DesignLine, EvidenceLine, Happening, LifeLine, StudyReport
from stability.services.blends import CALCULATION, Blend, BlendKey, blends_of, only_study
from stability.services.cure import cure_verdict, cures_of
from stability.services.forecast import BlendForecast, forecasts
from stability.services.lots import as_rows
from stability.services.state import blend_word
from stability.services.would_change import WOULD_CHANGE
from stability.settings import Settings

__all__ = ["study_report"]

LATE_ENTRY = timedelta(days=1)
OTHER_LIMITS = (("+20 %", 1.2), ("+50 %", 1.5), ("2×", 2.0))


def study_report(
    records: Records,
    *,
    study: str | None,
    as_of: datetime,
    settings: Settings,
    found: Sequence[BlendForecast] | None = None,
) -> StudyReport:
    """Return the report of a study as known at an instant; `found` are its forecasts where they are at hand.

    Raises
    ------
    InputError
        If there is no such study.
    """
    with records.reading() as connection:
        code = study or only_study(connection, as_of=as_of)
        facts = next(iter(history.studies(connection, as_of=as_of, code=code)), None)
        if facts is None:
            raise InputError(f"study {code!r} is not on record", hint="stability study lists all")
    if found is None:
        found = forecasts(records, as_of=as_of, settings=settings, study=code)
    with records.reading() as connection:
        blends = as_rows(blends_of(connection, as_of=as_of, study=code), {f.blend_key for f in found})
        happened = _happenings(connection, facts, blends, as_of)
        cures = {b.key.text: cure_verdict(b, cures_of(connection, b, as_of=as_of)) for b in blends}
    lives = _lives(records, found, code=code, as_of=as_of, settings=settings)
    notes = {key: (verdict.words,) for key, verdict in cures.items() if verdict is not None}
    return StudyReport(
        code=facts.code,
        title=facts.title,
        question=f"Does each blend keep for {facts.target_life_days:g} days at {facts.storage_c:g} °C?",
        as_of=as_of,
        zone_name=settings.time_zone,
        calculation_version=CALCULATION,
        owner=facts.owner,
        target_life_days=facts.target_life_days,
        storage_c=facts.storage_c,
        limits_words=_limits_words(facts),
        design=_design(blends),
        verdicts=tuple(_verdict(f, facts, lives[f.blend_key], notes.get(f.blend_key, ())) for f in found),
        happenings=happened,
        cautions=(STANDING_LINE,),
        invented="invented" in facts.title.lower(),
    )


def _words(key: BlendKey, product_lots: Sequence[str]) -> str:
    """Return a blend so that no other reads the same: with its pack and the lots of the product."""
    pack = f", {key.pack}" if key.pack else ""
    return f"{key.words}{pack} ({', '.join(product_lots)})"


def _limits_words(facts: history.StudyFacts) -> tuple[str, ...]:
    words = {
        "viscosity_ratio": "viscosity {:g} × the day-0 value",
        "viscosity_max_mpas": "viscosity {:g} mPa·s",
        "gel_grade": "gel grade {:g} or worse ends a sample",
        "dry_through_ratio": "dry-through time {:g} × the day-0 control",
    }
    return tuple(words[name].format(value) for name, value in sorted(facts.limits.items()))


def _design(blends: Sequence[Blend]) -> tuple[DesignLine, ...]:
    lines = []
    for blend in blends:
        for store in sorted({s.store for s in blend.samples}):
            tins = [s for s in blend.samples if s.store == store]
            own = [(r, s) for s in tins for r in blend.readings.get(s.id, ())]
            lines.append(
                DesignLine(
                    blend_words=_words(blend.key, blend.product_lots),
                    store=store,
                    temperature_c=tins[0].store_temperature_c,
                    tins=len(tins),
                    readings=len(own),
                    last_day=max(
                        ((r.taken_at - s.placed_at).total_seconds() / 86_400 for r, s in own), default=0.0
                    ),
                )
            )
    return tuple(lines)


def _lives(
    records: Records, found: Sequence[BlendForecast], *, code: str, as_of: datetime, settings: Settings
) -> Mapping[str, tuple[LifeLine, ...]]:
    lines: dict[str, list[LifeLine]] = {f.blend_key: [] for f in found}
    unread = {f.blend_key for f in found if _gel_only(f)}
    for words, ratio in OTHER_LIMITS:
        for f in forecasts(records, as_of=as_of, settings=settings, study=code, limit_ratio=ratio):
            if f.blend_key in unread:
                continue
            lines[f.blend_key].append(
                LifeLine(
                    criterion=words,
                    life_days=f.row["life_days"],
                    lower95_days=f.row["life_days_lower95"],
                    upper95_days=f.row["life_days_upper95"],
                    says=f.row["says"],
                )
            )
    for f in found:
        gel = f.row["gel_life_days"]
        says = None if gel is not None else "no gel point in the fit"
        line = LifeLine(criterion="gel", life_days=gel, says=says)
        if f.blend_key in unread:
            # the gel ends the life: its bounds are the life's
            lower, upper = f.row["life_days_lower95"], f.row["life_days_upper95"]
            line = replace(line, lower95_days=lower, upper95_days=upper, says=f.row["says"])
        lines[f.blend_key].append(line)
    return {key: tuple(of_blend) for key, of_blend in lines.items()}


def _gel_only(forecast: BlendForecast) -> bool:
    """Say whether not one viscosity stands behind a forecast, and no viscosity limit ends its life."""
    row = forecast.row
    limited = row["limit_viscosity_ratio"] or row["limit_viscosity_max_mpas"]
    return not limited and row["initial_viscosity_mpas"] is None


def _verdict(
    forecast: BlendForecast, facts: history.StudyFacts, lives: tuple[LifeLine, ...], notes: tuple[str, ...]
) -> BlendVerdict:
    row = forecast.row
    ratio = row["limit_viscosity_ratio"]
    return BlendVerdict(
        blend_words=_words(forecast.key, forecast.product_lots),
        word=blend_word(forecast).value,
        outcome=forecast.outcome,
        storage_c=facts.storage_c,
        limit_words=f"{ratio:g} × the day-0 viscosity" if ratio else _other_limit(facts.limits),
        target_life_days=facts.target_life_days,
        product_lots=forecast.product_lots,
        thinner_lots=forecast.thinner_lots,
        life_days=row["life_days"],
        lower95_days=row["life_days_lower95"],
        lower95_next_tin_days=row["life_days_lower95_next_tin"],
        upper95_days=row["life_days_upper95"],
        limit_date=date.fromisoformat(row["limit_date"]) if row["limit_date"] else None,
        probability_before_target=row["probability_before_target"],
        says=row["says"],
        notes=notes,
        energy_kj_mol=row["activation_energy_kj_mol"],
        energy_se_kj_mol=row["activation_energy_se_kj_mol"],
        tins=row["tins"],
        readings=row["readings"],
        gelled_tins=row["gelled_tins"],
        lives=lives,
        evidence=tuple(
            EvidenceLine(
                name=e["name"],
                passed=e["passed"],
                says=e["says"],
                p=e["p"],
                would_change=None if e["passed"] else WOULD_CHANGE.get(e["name"]),
            )
            for e in row["evidence"]
        ),
    )


def _other_limit(limits: Mapping[str, float]) -> str:
    grade = limits.get("gel_grade")
    if "viscosity_max_mpas" in limits or grade is None:
        return "the viscosity limit"
    return f"gel grade {grade:g}"


def _happenings(
    connection: sa.Connection, facts: history.StudyFacts, blends: Sequence[Blend], as_of: datetime
) -> tuple[Happening, ...]:
    names = {s.id: s.sample for blend in blends for s in blend.samples}
    found = [
        Happening(kind=mark.kind, at=mark.due_at, words=f"{names[mark.sample_id]}: {mark.words}")
        for mark in check_marks(connection, tuple(names))
    ]
    for change in corrections(connection, tuple(names), as_of=as_of):
        found.append(
            Happening(
                kind="set aside" if change.set_aside else "corrected",
                at=change.entered_at,
                words=f"{names[change.sample_id]}, reading of {change.taken_at:%Y-%m-%d}: {change.words}",
                reason=change.reason,
                person=change.entered_by,
            )
        )
    for blend in blends:
        for of_tin in blend.readings.values():
            found += [
                Happening(
                    kind="late entry",
                    at=r.first_entered_at,
                    words=f"{names[r.sample_id]}: taken {r.taken_at:%Y-%m-%d}",
                    person=r.operator,
                )
                for r in of_tin
                if r.first_entered_at - r.taken_at > LATE_ENTRY
            ]
    found += [
        Happening(
            kind="blind",
            at=until,
            words=f"nothing was watched for {(until - since).total_seconds() / 3600:.0f} h",
        )
        for since, until in blind_periods(connection, as_of=as_of)
        if until >= facts.entered_at
    ]
    return tuple(sorted(found, key=lambda h: (h.at, h.kind, h.words)))
