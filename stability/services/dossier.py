"""The report of a study with everything behind it: the figures of each blend and all readings of its tins."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from stability.records import history
from stability.records.engine import Records
from stability.reports.dossier import BlendPages, Drawing, ReadingRow, StudyDossier, TinPages
from stability.services.blends import Blend, blends_of, only_study
from stability.services.curves import arrhenius_view, master_curve_view
from stability.services.forecast import BlendForecast, forecasts
from stability.services.lots import as_rows
from stability.services.report import study_report
from stability.settings import Settings
from stability.units import SECONDS_PER_DAY

__all__ = ["study_dossier"]


def study_dossier(
    records: Records, *, study: str | None, as_of: datetime, settings: Settings
) -> StudyDossier:
    """Return the report of a study as known at an instant, with figures and readings.

    Raises
    ------
    InputError
        If there is no such study.
    """
    with records.reading() as connection:
        code = study or only_study(connection, as_of=as_of)
        lots = blends_of(connection, as_of=as_of, study=code)
        rows: dict[int, list[history.ReadingFacts]] = {}
        for reading in history.readings(connection, as_of=as_of, study=code, with_set_aside=True):
            rows.setdefault(reading.sample_id, []).append(reading)
    found = forecasts(records, as_of=as_of, settings=settings, study=code)
    blends = {b.key.text: b for b in as_rows(lots, {f.blend_key for f in found})}
    return StudyDossier(
        report=study_report(records, study=code, as_of=as_of, settings=settings, found=found),
        blends=tuple(
            BlendPages(
                drawings=_drawings(records, forecast, as_of=as_of, settings=settings),
                tins=_tins(blends[forecast.blend_key], rows),
            )
            for forecast in found
        ),
    )


def _drawings(
    records: Records, forecast: BlendForecast, *, as_of: datetime, settings: Settings
) -> tuple[Drawing, ...]:
    from stability.reports.figures import arrhenius, arrhenius_words, master_curve, master_curve_words

    drawn = []
    curve = master_curve_view(records, forecast, as_of=as_of, settings=settings)
    if curve.points:
        caption = (
            f"Master curve: every tin at its own heat dose, counted as days at {curve.storage_c:g} °C, "
            "with the fitted law, its band, the limit and today."
        )
        drawn.append(Drawing(master_curve(curve), caption, master_curve_words(curve)))
    rates = arrhenius_view(forecast, invented=curve.invented)
    if rates.stores:
        caption = "Arrhenius plot: the life that each store shows on its own, against the fitted line."
        drawn.append(Drawing(arrhenius(rates), caption, arrhenius_words(rates)))
    return tuple(drawn)


def _tins(blend: Blend, rows: Mapping[int, Sequence[history.ReadingFacts]]) -> tuple[TinPages, ...]:
    ordered = sorted(blend.samples, key=lambda s: (s.store_temperature_c, s.store, s.sample))
    return tuple(
        TinPages(
            sample=tin.sample,
            store=tin.store,
            temperature_c=tin.store_temperature_c,
            says=", ".join(words for words in (_twin(tin), tin.end_reason) if words),
            readings=tuple(_row(reading, tin) for reading in rows.get(tin.id, ())),
        )
        for tin in ordered
    )


def _twin(tin: history.SampleFacts) -> str:
    return "sealed twin" if tin.twin == "sealed" else ""


def _row(reading: history.ReadingFacts, tin: history.SampleFacts) -> ReadingRow:
    change = "set aside" if reading.set_aside else "corrected" if reading.corrected else ""
    if change:
        reason = f": {reading.reason}" if reading.reason else ""
        change = f"{change} by {reading.entered_by}{reason}"
    return ReadingRow(
        taken_at=reading.taken_at,
        age_days=(reading.taken_at - tin.placed_at).total_seconds() / SECONDS_PER_DAY,
        viscosity_mpas=reading.viscosity_mpas,
        over_range=reading.over_range,
        temperature_c=reading.temperature_c,
        gel_grade=reading.gel_grade,
        person=reading.operator,
        instrument=reading.cup or reading.instrument,
        says="; ".join(words for words in (change, reading.note) if words),
    )
