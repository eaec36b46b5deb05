"""The views behind the figures: the master curve of a blend, and its stores on the Arrhenius line."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import sqlalchemy as sa

from stability.errors import InputError
from stability.records.engine import Records
from stability.reports.view import (
    ArrheniusView,
    BandPoint,
    MasterCurveView,
    MasterPoint,
    RatePoint,
    StoreLife,
)
from stability.services.blends import Blend, blends_of
from stability.services.forecast import BlendForecast, forecasts
from stability.services.lots import as_rows
from stability.services.tins import load_climate, tins_of
from stability.settings import Settings
from stability.units import GAS_CONSTANT_KJ, kelvin

__all__ = ["arrhenius_view", "master_curve_view", "write_figures"]

LONGEST_NAME = 120


def write_figures(
    records: Records, folder: Path, *, study: str, as_of: datetime, settings: Settings
) -> tuple[Path, ...]:
    """Write a master curve of every blend, and an Arrhenius figure where there is one, as SVG files.

    Raises
    ------
    InputError
        If the folder cannot be made or written to.
    """
    found = forecasts(records, as_of=as_of, settings=settings, study=study)
    written: dict[str, str] = {}
    for forecast in found:
        stem = _unused(_slug(forecast), written)
        for kind, drawing in _drawings(records, forecast, as_of=as_of, settings=settings):
            written[f"{stem}-{kind}.svg"] = drawing
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, drawing in written.items():
            (folder / name).write_text(drawing, "utf-8")
    except OSError as exc:
        raise InputError(
            f"figures {folder}: {exc.strerror or exc}", hint="name a folder to write to"
        ) from exc
    return tuple(folder / name for name in written)


def _drawings(
    records: Records, forecast: BlendForecast, *, as_of: datetime, settings: Settings
) -> Iterator[tuple[str, str]]:
    from stability.reports.figures import master_curve
    from stability.reports.rate_plot import arrhenius

    curve = master_curve_view(records, forecast, as_of=as_of, settings=settings)
    if curve.points:
        yield "master-curve", master_curve(curve)
    rates = arrhenius_view(forecast, invented=curve.invented)
    if rates.stores:
        yield "arrhenius", arrhenius(rates)


def _slug(forecast: BlendForecast) -> str:
    """Return a blend as the beginning of a file name: letters, digits and hyphens only."""
    parts = (forecast.study, forecast.key.words, forecast.pack or "", *forecast.product_lots)
    words = "-".join((*parts, *forecast.thinner_lots))
    return re.sub(r"[^a-z0-9]+", "-", words.lower()).strip("-")[:LONGEST_NAME] or "blend"


def _unused(stem: str, written: dict[str, str]) -> str:
    """Return the name, numbered where another blend has it already."""
    number, name = 1, stem
    while any(used.startswith((f"{name}-master", f"{name}-arrh")) for used in written):
        number += 1
        name = f"{stem}-{number}"
    return name


def master_curve_view(
    records: Records, forecast: BlendForecast, *, as_of: datetime, settings: Settings
) -> MasterCurveView:
    """Return all readings of a blend against their dose, with the fitted curve, limit and bounds."""
    row, parameters = forecast.row, forecast.extra.get("parameters")
    with records.reading() as connection:
        blend = next(
            b
            for b in as_rows(blends_of(connection, as_of=as_of, study=forecast.study), {forecast.blend_key})
            if b.key.text == forecast.blend_key
        )
        points = _points(blend, connection, parameters["energy"] if parameters else 0.0, as_of, settings)
    # a blend of which only the gel was looked for has a life and no curve
    limit = math.exp(parameters["a"] + parameters["ln_limit"]) if parameters and "a" in parameters else None
    ratio = row["limit_viscosity_ratio"]
    return MasterCurveView(
        study=forecast.study,
        blend_words=_words(forecast),
        storage_c=row["storage_c"],
        points=points,
        curve=tuple(
            BandPoint(
                dose_days=day,
                viscosity_mpas=math.exp(mean),
                lower_mpas=math.exp(low),
                upper_mpas=math.exp(high),
            )
            for day, mean, low, high in forecast.extra.get("curve", ())
        ),
        limit_mpas=limit,
        limit_words=f"limit: {ratio:g} × day 0" if ratio else "limit",
        life_days=row["life_days"],
        lower95_days=row["life_days_lower95"],
        today_days=(as_of - forecast.placed_at).total_seconds() / 86_400,
        target_life_days=forecast.target_life_days,
        invented="invented" in blend.study.title.lower(),
    )


def _words(forecast: BlendForecast) -> str:
    pack = f", {forecast.pack}" if forecast.pack else ""
    return f"{forecast.key.words}{pack}, lot {', '.join(forecast.product_lots)}"


def _points(
    blend: Blend, connection: sa.Connection, energy: float, as_of: datetime, settings: Settings
) -> tuple[MasterPoint, ...]:
    from stability.ageing.arrays import Kind
    from stability.ageing.dose import dose

    gap_days = settings.fit.logger_gap_hours / 24
    surroundings = load_climate(connection, blend.study.code, as_of=as_of, gap_days=gap_days)
    points = []
    for tin in tins_of(blend, surroundings, connection, gel_ratio=settings.fit.gel_ratio):
        for place, viscosity in enumerate(tin.viscosities_mpas):
            points.append(
                MasterPoint(
                    sample=tin.sample,
                    store=tin.store,
                    temperature_c=tin.temperature_c,
                    dose_days=float(dose(tin.days[place], tin.x[place], energy)),
                    viscosity_mpas=viscosity,
                    at_least=tin.kinds is not None and tin.kinds[place] != Kind.MEASURED,
                )
            )
    return tuple(points)


def arrhenius_view(forecast: BlendForecast, *, invented: bool = False) -> ArrheniusView:
    """Return each store's own life against the line that the fit draws through them."""
    row, lives = forecast.row, forecast.extra.get("store_lives", ())
    ratio = row["limit_viscosity_ratio"]
    return ArrheniusView(
        study=forecast.study,
        blend_words=_words(forecast),
        storage_c=row["storage_c"],
        limit_words=f"{ratio:g} × day 0" if ratio else "the limit",
        stores=tuple(StoreLife(**life) for life in lives),
        line=_line(forecast),
        energy_kj_mol=row["activation_energy_kj_mol"],
        energy_se_kj_mol=row["activation_energy_se_kj_mol"],
        invented=invented,
    )


def _line(forecast: BlendForecast) -> tuple[RatePoint, ...]:
    parameters = forecast.extra.get("parameters")
    if not parameters:
        return ()
    storage_k = kelvin(forecast.row["storage_c"])
    points = []
    for temperature_c in range(0, 66, 5):
        x = (1 / kelvin(temperature_c) - 1 / storage_k) / GAS_CONSTANT_KJ
        points.append(
            RatePoint(
                temperature_c=temperature_c, life_days=math.exp(parameters["u"] + parameters["energy"] * x)
            )
        )
    return tuple(points)
