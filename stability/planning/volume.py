"""The volume budget of a tin: what a pull needs in it, what it still holds, and when that is too little.

Millilitres; ages are days since a sample was placed. What is drawn and not put back is gone; what is put
back leaves something in the cell, the cup and the vial. Planning figures (common practice, no source) unless
a tin's own weighings say more: 1 g is taken as 1 mL, 5 % off at most for these blends.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

__all__ = ["Drawing", "Pull", "VolumeBudget", "budget", "needed_ml", "pack_volume_ml"]

_DRAWN_ML: Mapping[str, float] = MappingProxyType({"gel": 10.0, "cure": 12.0, "colour": 10.0, "water": 2.0})
"""Gel: a 20 mL vial, half full; cure: four drawdowns of 3 mL; colour: a tube; water: a titration."""
_NEVER_PUT_BACK = frozenset({"cure", "water"})
_PACK = re.compile(r"(\d+(?:[.,]\d+)?) ?(mL|cl|l)\b", re.IGNORECASE)
_ML: Mapping[str, float] = MappingProxyType({"ml": 1.0, "cl": 10.0, "l": 1000.0})


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """What is drawn for viscosity, into a cell, a cup or both; what clings; whether the rest goes back."""

    cell_ml: float = 16.0
    cup_ml: float = 0.0
    fillings: int = 2
    clings_ml: float = 2.0
    put_back: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Pull:
    """One visit to a tin: at which age, and what is asked of it."""

    age_days: float
    checks: tuple[str, ...]
    done: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class VolumeBudget:
    """What a pull needs and the tin holds; `short_at_days` is the first open pull that gets too little."""

    needs_ml: float
    holds_ml: float | None
    short_at_days: float | None

    @property
    def short(self) -> bool:
        """Whether the pull in hand cannot be carried out."""
        return self.holds_ml is not None and self.holds_ml < self.needs_ml


def pack_volume_ml(pack: str | None) -> float | None:
    """Return the nominal volume that a pack's name gives, or None.

    >>> pack_volume_ml("lined tin 250 mL"), pack_volume_ml("can 0.5 L"), pack_volume_ml("drum")
    (250.0, 500.0, None)
    """
    found = _PACK.findall(pack or "")
    if len(found) != 1:
        return None
    number, unit = found[0]
    return float(number.replace(",", ".")) * _ML[unit.lower()]


def needed_ml(checks: Collection[str], drawing: Drawing) -> float:
    """Return what must be in a tin for one pull.

    >>> needed_ml(("viscosity", "gel"), Drawing())
    42.0
    """
    return sum(_drawn(check, drawing) for check in checks)


def budget(
    pulls: Sequence[Pull],
    age_days: float,
    drawing: Drawing,
    *,
    filled_ml: float | None,
    lost_ml: float | None,
) -> VolumeBudget:
    """Return the budget of a tin at the pull of an age; `pulls` are those done and those to come.

    `filled_ml` is what was filled in, `lost_ml` what weighings say has gone (None: planning figures).
    """
    here = [pull for pull in pulls if pull.age_days == age_days]
    needs = sum(needed_ml(pull.checks, drawing) for pull in here)
    if filled_ml is None:
        return VolumeBudget(needs_ml=needs, holds_ml=None, short_at_days=None)
    gone = [_gone_ml(pull.checks, drawing) for pull in pulls if pull.done]
    holds = max(filled_ml - (sum(gone) if lost_ml is None else lost_ml), 0.0)
    left, short_at = holds, None
    for pull in sorted(pulls, key=lambda pull: pull.age_days):
        if pull.done or pull.age_days < age_days:
            continue
        if left < needed_ml(pull.checks, drawing):
            short_at = pull.age_days
            break
        left -= _gone_ml(pull.checks, drawing)
    return VolumeBudget(needs_ml=needs, holds_ml=holds, short_at_days=short_at)


def _drawn(check: str, drawing: Drawing) -> float:
    if check == "viscosity":
        return drawing.cup_ml + drawing.cell_ml * drawing.fillings
    return _DRAWN_ML.get(check, 0.0)


def _gone_ml(checks: Collection[str], drawing: Drawing) -> float:
    gone = 0.0
    for check in checks:
        drawn = _drawn(check, drawing)
        gone += drawn if check in _NEVER_PUT_BACK or not drawing.put_back else min(drawing.clings_ml, drawn)
    return gone
