"""Which thinner: blends of one study side by side, ranked by the lower bound of their lives.

Cure and the ester rule come before the rank: a blend that no longer dries, or an ester without its own
finished test, is shown with its reason and never recommended.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from stability.board.words import at_least_words
from stability.chemistry.cautions import STANDING_LINE
from stability.errors import InputError
from stability.records.engine import Records
from stability.records.materials import ThinnerFacts, thinners
from stability.services.blends import blends_of, only_study
from stability.services.claims import LotEvidence, evidence_of, judged, lot_evidence
from stability.services.cure import CureVerdict
from stability.services.forecast import BlendForecast, forecasts
from stability.services.lots import as_rows
from stability.services.state import LOST_ABOVE
from stability.settings import Settings

__all__ = ["Compared", "Comparison", "compare", "flash_class"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """One blend in the comparison; `rank` is None for what may not be ranked, `remark` says why.

    `months` are those that a statement of this lot alone would carry, None where it would be refused.
    """

    rank: int | None
    forecast: BlendForecast
    lower95_days: float | None
    months: int | None
    ratio: float | None
    ratio_lower: float | None
    ratio_upper: float | None
    cure: CureVerdict | None
    flash_c: float | None
    flash_class: str | None
    thinner_class: str | None
    rung: int
    capped_by: str | None
    remark: str | None

    @property
    def named(self) -> str:
        """The blend in its pack."""
        return f"{self.forecast.key.words}, {self.forecast.pack or 'pack not given'}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """All blends of a study, ranked; the three closing lines name blends in words."""

    study: str
    title: str
    reference: BlendForecast | None
    lines: tuple[Compared, ...]
    first_choice: str
    fallback: str
    do_not: str
    cautions: tuple[str, ...] = (STANDING_LINE,)


def compare(
    records: Records, *, study: str | None, as_of: datetime, settings: Settings, reference: str | None = None
) -> Comparison:
    """Rank the blends of a study.

    Raises
    ------
    InputError
        If there is no such study with readings, or no blend with the reference thinner.
    """
    if study is None:
        with records.reading() as connection:
            study = only_study(connection, as_of=as_of)
    found = forecasts(records, as_of=as_of, settings=settings, study=study)
    if not found:
        raise InputError(f"study {study!r} has no readings to compare", hint="stability study lists all")
    with records.reading() as connection:
        known = thinners(connection)
        rows = as_rows(blends_of(connection, as_of=as_of, study=study), {f.blend_key for f in found})
        blends = {b.key.text: b for b in rows}
        lots = {f.blend_key: lot_evidence(connection, blends[f.blend_key], f, as_of=as_of) for f in found}
    against = _reference(found, known, reference)
    ratios = _ratios(found, against)
    title = next(iter(blends.values())).study.title
    lines = [_line(lots[f.blend_key], known, ratios) for f in found]
    lines.sort(key=lambda line: (line.remark is not None, -(line.lower95_days or 0.0)))
    ranked = _with_ranks(lines)
    return Comparison(
        study=study,
        title=title,
        reference=against,
        lines=ranked,
        first_choice=_choice(ranked, 1),
        fallback=_choice(ranked, 2),
        do_not=_do_not(ranked),
    )


def _reference(
    found: Sequence[BlendForecast], known: Mapping[str, ThinnerFacts], asked: str | None
) -> BlendForecast | None:
    """Return the blend all others are held against: of the thinner asked for, else the first aromatic one."""
    if asked is not None:
        matching = [f for f in found if f.thinner == asked]
        if not matching:
            names = ", ".join(sorted({f.thinner or "none" for f in found}))
            raise InputError(f"no blend with the thinner {asked!r} here", hint=f"there are: {names}")
        return matching[0]
    aromatic = [f for f in found if f.thinner and _class(known, f.thinner) == "aromatic"]
    return next(iter([f for f in aromatic if _log_life(f)] or aromatic), None)


def _class(known: Mapping[str, ThinnerFacts], thinner: str) -> str | None:
    return known[thinner].thinner_class if thinner in known else None


def _log_life(forecast: BlendForecast) -> tuple[float, float, float] | None:
    kept: Mapping[str, Any] = forecast.extra.get("log_life") or {}
    if forecast.row["life_days"] is None or not kept:
        return None
    return float(kept["u"]), float(kept["se"]), float(kept["df"])


def _ratios(
    found: Sequence[BlendForecast], against: BlendForecast | None
) -> Mapping[str, tuple[float, float, float]]:
    """Return life ratios to the reference with 95 % intervals that hold for all of them together."""
    base = None if against is None else _log_life(against)
    others = [(f, life) for f in found if f is not against and (life := _log_life(f))]
    if base is None or not others:
        return {}
    from stability.ageing.compare import LogLife, ratios_of_lives

    rows = ratios_of_lives(LogLife(*base), [LogLife(*life) for _, life in others])
    return {
        f.blend_key: (r.ratio, r.lower, r.upper)
        for (f, _), r in zip(others, rows, strict=True)
        if r.ratio is not None and r.lower is not None and r.upper is not None
    }


def _line(
    lot: LotEvidence, known: Mapping[str, ThinnerFacts], ratios: Mapping[str, tuple[float, float, float]]
) -> Compared:
    forecast, cure = lot.forecast, lot.cure
    thinner = known.get(forecast.thinner or "")
    evidence = evidence_of([lot], known=known, pack=forecast.pack)
    carried = judged(evidence)
    ratio = ratios.get(forecast.blend_key)
    return Compared(
        rank=None,
        forecast=forecast,
        lower95_days=forecast.row["life_days_lower95_next_tin"],
        months=carried.months,
        ratio=ratio[0] if ratio else None,
        ratio_lower=ratio[1] if ratio else None,
        ratio_upper=ratio[2] if ratio else None,
        cure=cure,
        flash_c=thinner.flash_c if thinner else None,
        thinner_class=thinner.thinner_class if thinner else None,
        flash_class=flash_class(thinner.flash_c if thinner else None),
        rung=int(carried.rung),
        capped_by=carried.binding.words if carried.binding and carried.months is not None else None,
        remark=_remark(lot, thinner),
    )


def _remark(lot: LotEvidence, thinner: ThinnerFacts | None) -> str | None:
    forecast, cure = lot.forecast, lot.cure
    if forecast.outcome == "too_early":
        return f"too early: {forecast.row['says']}"
    if forecast.outcome == "limit_reached":
        return "limit reached at the storage temperature"
    if cure is not None and cure.lost:
        return cure.words
    if thinner is None or not thinner.is_ester or lot.finished:
        return None
    early = "not recommendable yet: an ester without a finished test of this blend"
    weeks = math.ceil((forecast.target_life_days - lot.real_time_days) / 7)
    return (
        f"{early}, test takes {weeks} weeks" if weeks > 0 else f"{early}, its cure after storage is missing"
    )


def flash_class(flash_c: float | None) -> str | None:
    """Return the class of a flash point, by the bounds in common use; what it means is the SDS's to say.

    >>> [flash_class(c) for c in (None, 13.0, 27.0, 60.0, 61.0)]
    [None, 'below 23 °C', '23 to 60 °C', '23 to 60 °C', 'above 60 °C']
    """
    if flash_c is None:
        return None
    return "below 23 °C" if flash_c < 23 else "23 to 60 °C" if flash_c <= 60 else "above 60 °C"


def _with_ranks(lines: Sequence[Compared]) -> tuple[Compared, ...]:
    from dataclasses import replace

    places = iter(range(1, len(lines) + 1))
    return tuple(replace(line, rank=next(places)) if line.remark is None else line for line in lines)


def _choice(lines: Sequence[Compared], place: int) -> str:
    """Return the first blend of the ranking, or the next one that is not merely another lot of it."""
    ranked: dict[str, Compared] = {}
    for line in lines:
        if line.rank is not None:
            ranked.setdefault(line.named, line)
    if len(ranked) < place:
        return "none of these blends carries a recommendation yet"
    line = list(ranked.values())[place - 1]
    if line.months is None:
        return f"{line.named}: at least {at_least_words(line.lower95_days)}, no months yet (rung {line.rung})"
    months = f"{line.months} month{'' if line.months == 1 else 's'}"
    return f"{line.named}: {months} (rung {line.rung}), held back by {line.capped_by}"


def _do_not(lines: Sequence[Compared]) -> str:
    worst = [f"{line.named} ({reason})" for line in lines if (reason := _why_not(line))]
    return "; ".join(dict.fromkeys(worst)) if worst else "none"


def _why_not(line: Compared) -> str | None:
    chance = line.forecast.alert_probability
    if line.cure is not None and line.cure.lost:
        return line.cure.words
    if line.forecast.outcome == "limit_reached":
        return "limit reached"
    if chance is not None and chance > LOST_ABOVE:
        return "will not last to the target"
    return None
