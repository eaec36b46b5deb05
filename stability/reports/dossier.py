"""Everything that the printed report of a study shows: the report, its figures, and every reading.

Ages are days since the tin was placed, temperatures °C, viscosities mPa·s; instants are aware UTC.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from stability.reports.view import StudyReport

__all__ = ["BlendPages", "Drawing", "ReadingRow", "StudyDossier", "TinPages"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingRow:
    """One reading as it counts, or as it was set aside; `says` tells of corrections."""

    taken_at: datetime
    age_days: float
    viscosity_mpas: float | None = None
    over_range: bool = False
    temperature_c: float | None = None
    gel_grade: int | None = None
    person: str | None = None
    instrument: str | None = None
    says: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TinPages:
    """One tin with all its readings; `says` tells how it ended, or that it is a sealed twin."""

    sample: str
    store: str
    temperature_c: float
    says: str = ""
    readings: tuple[ReadingRow, ...] = ()


@dataclass(frozen=True, slots=True)
class Drawing:
    """One figure: an SVG element, what stands under it, and words for who cannot see it."""

    svg: str
    caption: str
    alt: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BlendPages:
    """What stands behind one verdict of the report, in its order."""

    drawings: tuple[Drawing, ...] = ()
    tins: tuple[TinPages, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyDossier:
    """The report with what stands behind each of its verdicts."""

    report: StudyReport
    blends: tuple[BlendPages, ...] = ()
