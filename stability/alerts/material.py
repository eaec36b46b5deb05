"""Rules on the material: heading for the limit, limit reached, gelled, out of trend, tins apart, cure lost.

Each takes facts and returns findings; none reads a clock. Thresholds: see `Thresholds`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from itertools import pairwise

from stability.alerts.facts import Cell, CureFacts, Look, Thresholds, TinFacts, TinReading, TrendReading
from stability.alerts.findings import Finding, Kind, Severity, Subject
from stability.alerts.wording import day_words
from stability.units import significant

__all__ = [
    "cure_lost",
    "gelled",
    "heading_for_limit",
    "limit_reached",
    "out_of_trend",
    "tins_disagree",
]

DEFAULTS = Thresholds()


def heading_for_limit(
    look: Look,
    previous_probability: float | None,
    *,
    open_now: bool = False,
    thresholds: Thresholds = DEFAULTS,
) -> Finding | None:
    """Find that a blend will cross its limit before the target life.

    Opens above 0.95, or above 0.9 at this look and the one before; an open one stays until the probability
    falls below 0.5. A blend that has already crossed does not open one: `limit_reached` speaks.
    """
    p = look.probability
    if p is None:
        return None
    twice = previous_probability is not None and min(p, previous_probability) > thresholds.open_at_twice
    opens = (p > thresholds.open_at or twice) and not look.reached
    if not opens and not (open_now and p >= thresholds.close_below):
        return None
    return Finding(
        kind=Kind.HEADING_FOR_LIMIT,
        subject=look.subject,
        severity=Severity.WARNING,
        probability=p,
        priors_used=look.priors_used,
        limit_date=look.limit_date,
        limit_date_range=look.limit_date_range,
        says=_heading_words(look, p),
        do_next=(
            "look at the curve; one more reading of a tin at the storage temperature and one of the hottest "
            "store tells most; tell whoever was promised the target life"
        ),
        evidence=_look_evidence(look),
        opens=opens,
    )


def limit_reached(
    tins: Iterable[TinFacts], *, gel_grade_limit: int | None, thresholds: Thresholds = DEFAULTS
) -> tuple[Finding, ...]:
    """Find blends that crossed the viscosity limit at storage, and tins at the gel grade that ends them.

    Crossed is two readings in a row above the limit, or one 10 % above it. A hot tin that crosses the
    viscosity limit is data, not an alert. From grade 4 on `gelled` speaks instead.
    """
    found = []
    for tin in tins:
        crossed = _crossing(tin.readings, thresholds) if tin.at_storage else None
        graded = _first_graded(tin.readings, gel_grade_limit, thresholds.gelled_grade)
        if crossed is not None:
            found.append(_crossed_finding(tin, crossed))
        if graded is not None:
            found.append(_graded_finding(tin, graded))
    return _one_per_cause(found)


def gelled(tins: Iterable[TinFacts], *, thresholds: Thresholds = DEFAULTS) -> tuple[Finding, ...]:
    """Find blends of which a tin was graded 4 or worse: one finding per blend and store."""
    found = []
    for tin in tins:
        at = next((r for r in tin.readings if (r.gel_grade or 0) >= thresholds.gelled_grade), None)
        if at is None:
            continue
        subject = _in_store(tin.blend, tin.sample, tin.store)
        found.append(
            Finding(
                kind=Kind.GELLED,
                subject=subject,
                severity=Severity.URGENT,
                probability=1.0,
                limit_date=at.taken_at.date(),
                says=f"{tin.sample} gelled in {tin.store}: grade {at.gel_grade} on {day_words(at.taken_at)}",
                do_next="do not heat or pierce the tin; look at its twins today; dispose as the site says",
                cautions=tin.cautions,
                evidence=(_reading_words(tin.sample, at),),
            )
        )
    return _one_per_cause(found)


def out_of_trend(
    readings: Iterable[TrendReading], *, now: datetime, thresholds: Thresholds = DEFAULTS
) -> tuple[Finding, ...]:
    """Find readings outside the 99.7 % band of the fit without them, one finding per blend and store.

    Only what was entered within 7 days of being taken and is not older than 14 days: a history that is
    brought in raises none.
    """
    found = []
    for reading in readings:
        fresh = now - thresholds.trend_looks_back <= reading.taken_at <= now
        prompt = reading.entered_at - reading.taken_at <= thresholds.trend_entered_within
        low, high = reading.expected_low_mpas, reading.expected_high_mpas
        if not (fresh and prompt) or low <= reading.viscosity_mpas <= high:
            continue
        where = "above" if reading.viscosity_mpas > high else "below"
        left = reading.store_left_tolerance
        found.append(
            Finding(
                kind=Kind.OUT_OF_TREND,
                subject=_in_store(reading.blend, reading.sample, reading.store),
                severity=Severity.NOTE,
                says=(
                    f"{reading.sample} read {significant(reading.viscosity_mpas)} mPa·s on "
                    f"{day_words(reading.taken_at)}, {where} the expected "
                    f"{significant(low)}–{significant(high)}"
                    + (f" of an even {reading.store}, which left its tolerance meanwhile" if left else "")
                ),
                do_next=(
                    "no slip is needed to explain it: the next forecast counts the store's log; look there"
                    if left
                    else "first the slips: liquid temperature, factor of ten, row above, lid; then read again"
                ),
                evidence=(f"band of the fit without it: {significant(low)}–{significant(high)} mPa·s",),
            )
        )
    return _one_per_cause(found)


def tins_disagree(
    cells: Iterable[Cell], *, now: datetime, thresholds: Thresholds = DEFAULTS
) -> tuple[Finding, ...]:
    """Find twins that were read on one day of the last two weeks and lie more than 10 % apart."""
    found = []
    since = (now - thresholds.trend_looks_back).date()
    for cell in (each for each in cells if each.taken_on >= since):
        ranked = sorted(cell.viscosities_mpas, key=lambda pair: pair[1])
        if len(ranked) < 2 or ranked[-1][1] / ranked[0][1] <= 1 + thresholds.twins_differ_by:
            continue
        (low_tin, low), (high_tin, high) = ranked[0], ranked[-1]
        subject = _in_store(cell.blend, high_tin, cell.store)
        found.append(
            Finding(
                kind=Kind.TINS_DISAGREE,
                subject=replace(subject, matter=cell.taken_on.isoformat()),
                severity=Severity.WARNING,
                says=(
                    f"{high_tin} and {low_tin} lie {100 * (high / low - 1):.0f} % apart "
                    f"on day {cell.age_days:g}: "
                    f"{significant(high)} and {significant(low)} mPa·s"
                ),
                do_next="weigh both, density or refractive index, look at the lids; chemistry comes after",
                evidence=tuple(f"{tin}: {significant(value)} mPa·s" for tin, value in ranked),
            )
        )
    return _one_per_cause(found)


def cure_lost(cures: Iterable[CureFacts], *, thresholds: Thresholds = DEFAULTS) -> tuple[Finding, ...]:
    """Find blends that dry through slower than the day-0 control at the same humidity allows."""
    found = []
    for cure in cures:
        limit = thresholds.dry_through_ratio if cure.limit_ratio is None else cure.limit_ratio
        ratio = cure.dry_through_h / cure.control_h
        if ratio <= limit:
            continue
        words = " – viscosity within its limit: dead but fluid"
        fluid = cure.viscosity_of_limit is not None and cure.viscosity_of_limit < 1
        found.append(
            Finding(
                kind=Kind.CURE_LOST,
                subject=replace(cure.blend, sample=cure.sample),
                severity=Severity.WARNING,
                says=(
                    f"{cure.sample} dries through in {significant(cure.dry_through_h)} h at "
                    f"{cure.humidity_pct:g} % RH on day {cure.age_days:g}: {significant(ratio)} × the "
                    f"control, limit {limit:g} ×{words if fluid else ''}"
                ),
                do_next="cast a fresh control beside it, repeat; titrate the amine; viscosity is no verdict",
                evidence=(f"control {significant(cure.control_h)} h at {cure.humidity_pct:g} % RH",),
            )
        )
    return _one_per_cause(found)


def _heading_words(look: Look, p: float) -> str:
    chance = "more than 99 %" if p > 0.99 else f"{100 * p:.0f} %"
    words = f"{chance} chance of crossing the limit before {day_words(look.target_date)}"
    return f"{words}, probably about {day_words(look.limit_date)}" if look.limit_date else words


def _look_evidence(look: Look) -> tuple[str, ...]:
    own = []
    if look.readings:
        own.append(f"{look.readings} readings of {look.tins} tins")
    if look.life_days is not None:
        lower = look.life_days_lower95
        bound = "" if lower is None else f", at least {significant(lower)} d with 95 % confidence"
        target = "" if look.target_life_days is None else f"; target {look.target_life_days:g} d"
        own.append(f"life {significant(look.life_days)} d{bound}{target}")
    return (*own, *look.evidence)


def _crossing(readings: Sequence[TinReading], thresholds: Thresholds) -> TinReading | None:
    """Return the reading that makes the crossing certain."""
    numbers = [reading for reading in readings if reading.of_limit is not None]
    clear = [reading for reading in numbers if (reading.of_limit or 0) >= thresholds.limit_excess]
    second = [b for a, b in pairwise(numbers) if (a.of_limit or 0) > 1 and (b.of_limit or 0) > 1]
    return min((*clear[:1], *second[:1]), key=lambda reading: reading.taken_at, default=None)


def _first_graded(readings: Sequence[TinReading], limit: int | None, gelled_grade: int) -> TinReading | None:
    """Return the first reading at the grade that ends the tin, unless the tin went on to gel."""
    if limit is None or any((reading.gel_grade or 0) >= gelled_grade for reading in readings):
        return None
    return next((r for r in readings if r.gel_grade is not None and r.gel_grade >= limit), None)


def _crossed_finding(tin: TinFacts, at: TinReading) -> Finding:
    excess = 100 * ((at.of_limit or 1) - 1)
    return Finding(
        kind=Kind.LIMIT_REACHED,
        subject=replace(_in_store(tin.blend, tin.sample, tin.store), matter="viscosity"),
        severity=Severity.URGENT,
        probability=1.0,
        limit_date=at.taken_at.date(),
        says=(
            f"{tin.sample} in {tin.store} has crossed its viscosity limit: "
            f"{excess:.0f} % above on {day_words(at.taken_at)}"
        ),
        do_next="stop giving this blend out; look at every statement that rests on it; keep reading the twin",
        cautions=tin.cautions,
        evidence=(_reading_words(tin.sample, at),),
    )


def _graded_finding(tin: TinFacts, at: TinReading) -> Finding:
    return Finding(
        kind=Kind.LIMIT_REACHED,
        subject=replace(_in_store(tin.blend, tin.sample, tin.store), matter="gel grade"),
        severity=Severity.URGENT if tin.at_storage else Severity.WARNING,
        probability=1.0 if tin.at_storage else None,
        limit_date=at.taken_at.date(),
        says=f"{tin.sample} in {tin.store} has ended: gel grade {at.gel_grade} on {day_words(at.taken_at)}",
        do_next="let a second person grade it, photo with ruler and label; pull the twin early",
        cautions=tin.cautions,
        evidence=(_reading_words(tin.sample, at),),
    )


def _reading_words(sample: str, reading: TinReading) -> str:
    value = None if reading.viscosity_mpas is None else f"{significant(reading.viscosity_mpas)} mPa·s"
    grade = None if reading.gel_grade is None else f"grade {reading.gel_grade}"
    what = ", ".join(part for part in (value, grade) if part)
    return f"{day_words(reading.taken_at)}: {sample} {what}".rstrip()


def _in_store(blend: Subject, sample: str, store: str) -> Subject:
    return replace(blend, sample=sample, store=store)


def _one_per_cause(found: Iterable[Finding]) -> tuple[Finding, ...]:
    """Keep one finding per cause: the most severe, of equals the first; the others join its evidence."""
    kept: dict[str, Finding] = {}
    for finding in found:
        known = kept.get(finding.cause_key)
        if known is None:
            kept[finding.cause_key] = finding
            continue
        first, other = (known, finding) if known.severity >= finding.severity else (finding, known)
        more = tuple(words for words in (*other.evidence,) if words not in first.evidence)
        kept[finding.cause_key] = replace(first, evidence=first.evidence + more)
    return tuple(kept.values())
