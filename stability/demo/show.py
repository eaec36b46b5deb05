"""What the demo leaves in its folder: texts and pictures, made only of what the tool knows by then.

Two runs write the same bytes: every instant comes from the scenario, none from the clock.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from stability.demo.stage import NOW, STUDY_CODE
from stability.services.forecast import BlendForecast, forecasts

__all__ = ["Drawings", "write_sample_output"]

PICTURED = (("1-methoxy-2-propyl acetate", "creeping"), ("n-propyl acetate", "lost"))
"""Thinners whose master curve is drawn, and the word that chooses the blend."""

Drawings = Mapping[str, Callable[..., str]]


def write_sample_output(
    records: Any, settings: Any, folder: Path, board: Any, draw: Drawings
) -> tuple[str, ...]:
    """Write board, forecast, comparison, report and pictures; return the names of the files.

    `draw` has the functions that turn views into text: board, board_svg, board_page, forecast, compare,
    report, report_page, answer_page, master_curve, arrhenius.
    """
    from stability.demo.truth import WAREHOUSE_C
    from stability.services.answer import Warehouse, answer_sheet
    from stability.services.compare import compare
    from stability.services.dossier import study_dossier
    from stability.services.statement import Asked

    found = forecasts(records, as_of=NOW, settings=settings, study=STUDY_CODE)
    compared = compare(records, study=STUDY_CODE, as_of=NOW, settings=settings)
    dossier = study_dossier(records, study=STUDY_CODE, as_of=NOW, settings=settings)
    asked = Asked(study=STUDY_CODE, thinner="xylene", level_pct=20.0)
    answer = answer_sheet(records, asked, Warehouse(WAREHOUSE_C, 6), as_of=NOW, settings=settings)
    texts = {
        "board.txt": draw["board"](board),
        "board.svg": draw["board_svg"](board),
        "board.html": draw["board_page"](board),
        "forecast.txt": draw["forecast"]([f.row for f in found]),
        "compare.txt": draw["compare"](compared),
        "report.txt": draw["report"](dossier.report),
        "answer.html": draw["answer_page"](answer),
        "report.html": draw["report_page"](dossier),
        **_pictures(records, settings, found, draw),
    }
    for name, text in texts.items():
        (folder / name).write_text(text, "utf-8")
    return tuple(texts)


def _pictures(
    records: Any, settings: Any, found: Sequence[BlendForecast], draw: Drawings
) -> Mapping[str, str]:
    from stability.services.curves import arrhenius_view, master_curve_view
    from stability.services.state import blend_word

    pictures: dict[str, str] = {}
    for thinner, word in PICTURED:
        chosen = next(
            (f for f in found if f.thinner == thinner and f.additive is None and blend_word(f) == word), None
        )
        if chosen is None:
            continue
        name = thinner.replace(" ", "-")
        view = master_curve_view(records, chosen, as_of=NOW, settings=settings)
        pictures[f"master-curve-{name}.svg"] = draw["master_curve"](view)
        pictures[f"arrhenius-{name}.svg"] = draw["arrhenius"](arrhenius_view(chosen))
    return pictures
