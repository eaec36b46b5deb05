"""Watching statements in force: each is judged anew at every look, by its own lots and by what others show.

The lots of a statement must carry it as they did when it was issued. Another lot of the same blend and pack
speaks against it where its own forecast ends before the claim does: a lot that is merely young does not.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from stability.alerts.claims import ClaimLook, claim_not_carried
from stability.alerts.findings import Finding, Subject
from stability.errors import InputError
from stability.records.engine import Records
from stability.records.statements import StatementRow, statement_rows
from stability.services.blends import BlendKey
from stability.services.claims import LotEvidence
from stability.services.facts import subject_of
from stability.services.forecast import BlendForecast
from stability.services.statement import Asked, prepare
from stability.settings import Settings
from stability.statements.record import parsed
from stability.units import DAYS_PER_MONTH, significant

__all__ = ["Against", "asked_again", "claim_findings", "what_speaks_against"]


@dataclass(frozen=True, slots=True)
class Against:
    """What speaks against a claim, the lot that is worst, and how many months all lots carry."""

    reasons: tuple[str, ...]
    worst_lot: str
    carried_months: int | None


def asked_again(asked: dict[str, object]) -> Asked:
    """Return what was asked for out of the data of a statement."""
    lots = asked["lots"]
    return Asked(**{**asked, "lots": tuple(lots) if isinstance(lots, list) else ()})  # type: ignore[arg-type]


def what_speaks_against(  # noqa: PLR0913 - the claim, its lots, and the world around it
    records: Records,
    asked: Asked,
    months: int,
    blend_keys: Collection[str],
    *,
    now: datetime,
    settings: Settings,
    known: Sequence[BlendForecast] = (),
) -> Against:
    """Return what speaks against a claim of some months on these lots, as known now; no reasons: nothing."""
    keys = [BlendKey.read(text) for text in sorted(blend_keys)]
    names = {name for key in keys for name in (key.product_lot, key.thinner_lot) if name}
    own = prepare(
        records,
        replace(asked, lots=tuple(sorted(names)) or asked.lots, months=months),
        as_of=now,
        settings=settings,
        known=known,
    )
    every = prepare(records, replace(asked, lots=(), months=None), as_of=now, settings=settings, known=known)
    reasons = [f"{refusal.reason} ({refusal.lifted_by})" for refusal in own.found.refusals]
    worst = own.evidence.lots[0] if reasons else None
    for lot in every.evidence.lots:
        ends = None if lot.forecast.blend_key in blend_keys else _ends_days(lot)
        if ends is not None and ends < months * DAYS_PER_MONTH:
            worst = worst or lot
            reasons.append(
                f"lot {_lot(lot)} is forecast to reach its limit after {significant(ends)} d, "
                f"{months} months are {months * DAYS_PER_MONTH:.0f} d"
            )
    return Against(tuple(reasons), _lot(worst) if worst else "", every.found.months)


def claim_findings(
    records: Records, known: Sequence[BlendForecast], *, now: datetime, settings: Settings
) -> tuple[Finding, ...]:
    """Return a finding for every statement in force that is not carried any more."""
    with records.reading() as connection:
        live = [row for row in statement_rows(connection, as_of=now) if row.live]
    return claim_not_carried([_look(records, row, known, now=now, settings=settings) for row in live])


def _look(
    records: Records,
    row: StatementRow,
    known: Sequence[BlendForecast],
    *,
    now: datetime,
    settings: Settings,
) -> ClaimLook:
    about = Subject()
    try:
        data = parsed(row.payload.encode("utf-8"), f"the data of {row.name}")
        key = BlendKey(**data["lots"][0]["key"])
        about = replace(subject_of(key), product_lots=(), thinner_lots=())
        found = what_speaks_against(
            records,
            asked_again(data["asked"]),
            row.months,
            list(data["digests"]),
            now=now,
            settings=settings,
            known=known,
        )
    except (InputError, KeyError, IndexError, TypeError) as exc:
        found = Against((f"it cannot be judged: {exc}",), "", None)
    return ClaimLook(
        blend=replace(about, matter=row.name),
        name=row.name,
        number=row.number,
        months=row.months,
        worst_lot=found.worst_lot,
        reasons=found.reasons,
        recipients=row.recipients,
        carried_months=found.carried_months,
    )


def _ends_days(lot: LotEvidence) -> float | None:
    """Return when a lot is forecast to end, or was seen to; None where it says nothing yet, [d]."""
    life = lot.forecast.row["life_days"]
    if lot.forecast.outcome == "limit_reached":
        return min((days for days in (life, lot.bound_days) if days is not None), default=0.0)
    return None if lot.forecast.outcome == "too_early" else life


def _lot(lot: LotEvidence) -> str:
    return ", ".join(lot.forecast.product_lots)
