"""The answer to a customer: the claim's bound and caps, lived through his own warehouse month by month.

Lives are days, temperatures °C, energies kJ/mol.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from stability.board.words import at_least_words
from stability.errors import InputError
from stability.planning.season import CONVENTION, kinetic_mean_c, lives_by_month, monthly_rates
from stability.records.engine import Records
from stability.reports.answer import AnswerSheet, MonthLine
from stability.services.blends import AT_STORAGE_C, CALCULATION
from stability.services.claims import LotEvidence
from stability.services.statement import Asked, Prepared, prepare
from stability.settings import Settings
from stability.statements.claim import round_down

__all__ = ["Warehouse", "answer_sheet"]

Z_95_ONE_SIDED = 1.645
COLDEST_C, HOTTEST_C = -40.0, 80.0
DO = (
    "keep the tins closed, upright, dry and dark; use the oldest first",
    "thin only what you use this week where you can: unthinned it keeps longest",
)
DO_NOT = (
    "do not thin a thickened tin again: that hides the growth and does not undo it",
    "do not change pack, thinner, its drum or its level: nothing here holds for another",
    "do not close a tin that is half used and count on this figure: it holds for unopened tins",
)
CHECK = (
    "run it through your cup: longer than the seconds on the label by half, and it has grown by half",
    "look for strings, specks and skin on a glass rod",
    "draw it on glass and leave it overnight beside one from a fresh tin: both must dry",
)


@dataclass(frozen=True, slots=True)
class Warehouse:
    """Where the tins stand: twelve monthly means, January first, and the month of filling asked for."""

    means_c: tuple[float, ...]
    filled: int | None = None

    def __post_init__(self) -> None:
        faults = [
            f"mean of month {place}: {mean:g} °C, expected {COLDEST_C:g} to {HOTTEST_C:g}"
            for place, mean in enumerate(self.means_c, start=1)
            if not COLDEST_C <= mean <= HOTTEST_C
        ]
        if len(self.means_c) != 12:
            faults.append(f"{len(self.means_c)} monthly means, expected 12, January first")
        if faults:
            raise InputError(*faults, hint='for example --means "20 22 25 29 33 36 38 37 33 29 24 21"')


def answer_sheet(
    records: Records,
    asked: Asked,
    warehouse: Warehouse | None,
    *,
    as_of: datetime,
    settings: Settings,
) -> AnswerSheet:
    """Return the sheet for one blend; without a warehouse it is the study's storage temperature all the year.

    Raises
    ------
    InputError
        If the study, blend, pack or lots are not on record, or more than one blend could be meant.
    """
    ready = prepare(records, asked, as_of=as_of, settings=settings)
    worst = ready.evidence.lots[0]
    means = warehouse.means_c if warehouse else (worst.blend.study.storage_c,) * 12
    lines, reasons = _lines(ready, means)
    return AnswerSheet(
        study=ready.view.study,
        blend_words=ready.view.blend_words,
        pack_words=ready.view.pack_words,
        criterion_words=ready.view.criterion_words,
        lots_words=ready.view.lots_words,
        evidence_words=_evidence_words(ready),
        filled=warehouse.filled if warehouse else None,
        lines=lines,
        convention=CONVENTION,
        yearly_words=_yearly(ready.evidence.lots, means),
        reasons=reasons,
        capped_by=None if reasons or ready.found.binding is None else ready.found.binding.words,
        do=DO,
        do_not=DO_NOT,
        check=CHECK,
        call_words=f"{worst.blend.study.owner}; tell of any tin that thickens early, its lot and filling",
        as_of=as_of,
        zone_name=settings.time_zone,
        calculation_version=CALCULATION,
        cautions=ready.view.cautions,
        invented=ready.view.invented,
    )


def _lines(ready: Prepared, means: Sequence[float]) -> tuple[tuple[MonthLine, ...], tuple[str, ...]]:
    """Return a line per month of filling, and the reasons why no months may be promised."""
    reasons = [f"{r.reason} – {r.lifted_by}" for r in ready.found.refusals]
    worst = ready.evidence.lots[0]
    energies = _energies(ready.evidence.lots, means)
    tested = ready.evidence.facts.temperatures_c
    if tested and max(means) > max(tested) + AT_STORAGE_C:
        reasons.append(
            f"the warehouse reaches {max(means):g} °C, the warmest store tested has {max(tested):g} °C"
            " – tins in a store as warm as the warehouse"
        )
    if energies is None:
        reasons.append("how much heat shortens the life is not known – tins in a second store")
    bound = worst.bound_days
    if energies is None or bound is None:
        return (), tuple(reasons)
    storage_c, cap = worst.blend.study.storage_c, ready.found.cap_days
    lives, capped = (
        lives_by_month(dose, means, storage_c=storage_c, energies_kj_mol=energies)
        for dose in (bound, bound if cap is None else min(bound, cap))
    )
    lines = []
    for month, (days, carried) in enumerate(zip(lives, capped, strict=True), start=1):
        # in a cooler place a claim grows no longer than the statement that stands behind it
        most = min(d for d in (carried, cap, float("inf")) if d is not None)
        months = None if reasons else round_down(min(most, 20 * 365.0)) or 0
        lines.append(MonthLine(month=month, mean_c=means[month - 1], days=days, months=months))
    return tuple(lines), tuple(reasons)


def _evidence_words(ready: Prepared) -> str:
    at = f"at {ready.evidence.facts.storage_c:g} °C"
    return f"rung {int(ready.found.rung)} of 4; {at} {ready.found.may_be_written}"


def _energy(lots: Sequence[LotEvidence]) -> tuple[float, float] | None:
    """Return the activation energy that the lots share and its standard error: the chemistry is one."""
    rows = [lot.forecast.row for lot in lots]
    found = [
        (row["activation_energy_kj_mol"], row["activation_energy_se_kj_mol"])
        for row in rows
        if row["activation_energy_kj_mol"] is not None and row["activation_energy_se_kj_mol"]
    ]
    if not found:
        return None
    weight = sum(se**-2 for _, se in found)
    return sum(energy * se**-2 for energy, se in found) / weight, weight**-0.5


def _energies(lots: Sequence[LotEvidence], means: Sequence[float]) -> tuple[float, ...] | None:
    """Return both ends of the activation energy (90 %); where no month leaves the storage temperature any."""
    storage_c, found = lots[0].blend.study.storage_c, _energy(lots)
    if found is not None:
        energy, half = found[0], Z_95_ONE_SIDED * found[1]
        return (max(energy - half, 1.0), energy + half)
    return (75.0,) if all(abs(mean - storage_c) < 0.05 for mean in means) else None


def _yearly(lots: Sequence[LotEvidence], means: Sequence[float]) -> str:
    """Say what one yearly mean would promise for every month: the answer that this sheet is not."""
    found, bound, storage_c = _energy(lots), lots[0].bound_days, lots[0].blend.study.storage_c
    if found is None or bound is None or max(means) - min(means) < 0.05:
        return "The warehouse is taken to have one temperature all the year."
    energy, half = found[0], Z_95_ONE_SIDED * found[1]
    mean = kinetic_mean_c(means, energy)
    (rate,) = monthly_rates([mean], storage_c=storage_c, energy_kj_mol=energy)
    return (
        f"The activation energy of all lots together, {energy:.0f} ± {half:.0f} kJ/mol, is taken at the end "
        "that gives the shorter life; the worst lot's lower bound counts. One yearly kinetic mean "
        f"({mean:.1f} °C) would say {at_least_words(bound / rate)} for every month and hide the season."
    )
