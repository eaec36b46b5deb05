"""The report of a study on paper (PDF): the words of the page, the figures, and a copy of the data."""

from __future__ import annotations

import json
from typing import Any

from stability.board.view import to_json
from stability.reports.dossier import StudyDossier
from stability.reports.dossier_words import dossier_words
from stability.reports.typeset import typeset

__all__ = ["study_pdf"]


def study_pdf(dossier: StudyDossier) -> bytes:
    """Return the report as an archival, tagged PDF; the report itself is carried along as JSON."""
    told: dict[str, Any] = dossier_words(dossier)
    files: dict[str, str] = {}
    for blend in told["blends"]:
        for drawing in blend["drawings"]:
            drawing["name"] = f"figure{len(files) + 1}"
            files[drawing["name"]] = drawing.pop("svg")
    files["copy"] = json.dumps(to_json(dossier.report), ensure_ascii=False, allow_nan=False, indent=1)
    return typeset("study.typ", told, at=dossier.report.as_of, files=files)
