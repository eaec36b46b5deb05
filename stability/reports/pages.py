"""Pages for a browser: one file each, without script, address or foreign font.

What people typed reaches a page only as escaped and cleaned text. This module is the only door to jinja2.
"""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stability.board.text import NO_BREAK, TOGETHER, clean
from stability.reports.dossier import StudyDossier
from stability.reports.dossier_words import dossier_words
from stability.reports.inline_svg import for_page

if TYPE_CHECKING:
    import jinja2

__all__ = ["page", "study_page"]

TEMPLATES = Path(__file__).parent / "templates"


def page(template: str, /, **data: Any) -> str:
    """Return a page made of a template; a name that the template asks for and nobody gave is a fault."""
    return _environment().get_template(template).render(**data)


def study_page(dossier: StudyDossier) -> str:
    """Return the report of a study with its figures and readings as one page."""
    from markupsafe import Markup

    told = dossier_words(dossier)
    drawings = [drawing for blend in told["blends"] for drawing in blend["drawings"]]
    shown = for_page([drawing["svg"] for drawing in drawings])
    for drawing, svg in zip(drawings, shown.figures, strict=True):
        drawing["svg"] = Markup(svg)  # noqa: S704 - drawn by us, its words escaped there
    return page("study.html", letters=Markup(shown.letters), **told)  # noqa: S704


@cache
def _environment() -> jinja2.Environment:
    import jinja2

    made = jinja2.Environment(
        loader=jinja2.FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        finalize=_cleaned,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters |= {"together": _together, "digest": _digest}
    return made


def _together(text: str) -> str:
    """Keep numbers with their units and days with their months."""
    return TOGETHER.sub(NO_BREAK, text)


def _cleaned(value: Any) -> Any:
    """Return plain text cleaned of what could steer or turn round its neighbours."""
    return value if hasattr(value, "__html__") or not isinstance(value, str) else clean(value)


def _digest(sheet: str) -> str:
    """Return a style sheet's digest as a policy names it: the page may have this sheet and no other."""
    from markupsafe import Markup

    found = base64.b64encode(hashlib.sha256(sheet.encode()).digest()).decode()
    return Markup(f"'sha256-{found}'")  # noqa: S704 - base 64
