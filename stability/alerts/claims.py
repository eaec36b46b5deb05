"""The rule for statements in force: one that today's evidence does not carry any more must be withdrawn."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from stability.alerts.findings import Finding, Kind, Severity, Subject

__all__ = ["ClaimLook", "claim_not_carried"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ClaimLook:
    """A statement in force held against today's evidence; no `reasons`: it is carried."""

    blend: Subject
    name: str
    number: str
    months: int
    worst_lot: str
    reasons: tuple[str, ...]
    recipients: tuple[str, ...]
    carried_months: int | None = None


def claim_not_carried(claims: Iterable[ClaimLook]) -> tuple[Finding, ...]:
    """Find statements whose months are not carried any more, with the failing line and who has them."""
    return tuple(
        Finding(
            kind=Kind.CLAIM_NOT_CARRIED,
            subject=claim.blend,
            severity=Severity.URGENT,
            says=(
                f"{claim.name} says {_months(claim.months)} and is not carried: {claim.reasons[0]}"
                f"{_worst(claim.worst_lot)}; received by {_who(claim.recipients)}"
            ),
            do_next=_do_next(claim),
            evidence=(
                *claim.reasons,
                *(f"recipient: {name}" for name in claim.recipients),
            ),
        )
        for claim in claims
        if claim.reasons
    )


def _worst(lot: str) -> str:
    return f" (worst lot {lot})" if lot else ""


def _months(months: int) -> str:
    return "1 month" if months == 1 else f"{months} months"


def _who(recipients: tuple[str, ...]) -> str:
    return ", ".join(recipients) or "nobody on record"


def _do_next(claim: ClaimLook) -> str:
    first = f"stability statement withdraw {claim.number} --reason TEXT writes the notice to each recipient"
    if claim.carried_months is None:
        return first
    return f"{first}; {_months(claim.carried_months)} can be drafted as the next version"
