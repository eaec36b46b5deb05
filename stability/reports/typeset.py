"""Typesetting: a template of the folder beside this file and plain data make a PDF.

What people typed reaches the page only as data, never as markup. The same input gives the same bytes; every
page is archival and tagged (PDF/A-3a and PDF/UA-1 together), with the fonts inside. A warning is a fault.
"""

from __future__ import annotations

import importlib.util
import json
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stability.board.text import clean
from stability.errors import InputError

if TYPE_CHECKING:
    import typst

__all__ = ["TEMPLATES", "DoesNotFitError", "page_images", "typeset", "unprintable"]

TEMPLATES = Path(__file__).parent / "templates"
NO_GLYPH = "\ufffd"
_MISFIT = "does not fit: "


class DoesNotFitError(InputError):
    """Something is too long for its place even at the smallest type; it is never cut."""


def typeset(
    template: str, data: Mapping[str, Any], *, at: datetime, files: Mapping[str, str] | None = None
) -> bytes:
    """Return a PDF of a template; `at` is the time it carries.

    In the template `json(bytes(sys.inputs.data))` is the data, cleaned of what cannot be shown;
    `sys.inputs.NAME` is a text of `files` as it is (a drawing, or an attachment).
    """
    made = _compile(template, data, at=at, files=files, format="pdf", pdf_standards=["a-3a", "ua-1"])
    return made[0]


def page_images(
    template: str,
    data: Mapping[str, Any],
    *,
    at: datetime,
    files: Mapping[str, str] | None = None,
    dots_per_inch: float = 150.0,
) -> tuple[bytes, ...]:
    """Return the same pages as PNG images."""
    return _compile(template, data, at=at, files=files, format="png", ppi=dots_per_inch)


def unprintable(data: Any) -> str:
    """Return the characters in the data that the fonts do not hold, each once; they print as one mark."""
    found = {sign for text in _texts(data) for sign in clean(text) if ord(sign) not in _drawn(text)}
    return "".join(sorted(found - {NO_GLYPH}))


def _compile(
    template: str, data: Mapping[str, Any], *, at: datetime, files: Mapping[str, str] | None, **how: Any
) -> tuple[bytes, ...]:
    import typst

    inputs = {**(files or {}), "data": json.dumps(_shown(data), ensure_ascii=False, allow_nan=False)}
    compiler = typst.Compiler(TEMPLATES / template, root=TEMPLATES, font_paths=_fonts(), sys_inputs=inputs)
    # a PDF tells time in whole seconds, and a finer time is refused
    second = at.astimezone(UTC).replace(microsecond=0)
    try:
        made, warnings = compiler.compile_with_warnings(timestamp=second, **how)
    except typst.TypstError as exc:
        _, misfit, name = exc.message.partition(_MISFIT)
        if misfit:
            raise DoesNotFitError(f"{name} does not fit its place at the smallest type") from None
        raise
    if warnings:
        raise RuntimeError(f"{template}: {'; '.join(warning.message for warning in warnings)}")
    if made is None:
        raise RuntimeError(f"{template}: nothing was made")
    return (made,) if isinstance(made, bytes) else tuple(made)


def _shown(value: Any) -> Any:
    """Return the data with every text cleaned, and a mark for what the fonts do not hold."""
    if isinstance(value, str):
        drawn = _drawn(value)
        return "".join(sign if ord(sign) in drawn else NO_GLYPH for sign in clean(value))
    if isinstance(value, Mapping):
        return {key: _shown(inner) for key, inner in value.items()}
    if isinstance(value, Sequence):
        return [_shown(inner) for inner in value]
    return value


def _texts(value: Any) -> list[str]:
    if isinstance(value, str):
        return [value]
    if isinstance(value, Mapping):
        value = list(value.values())
    return [text for inner in value for text in _texts(inner)] if isinstance(value, Sequence) else []


def _drawn(text: str) -> frozenset[int] | range:
    """Return the characters that can be drawn, by number; the fonts are read only where ASCII ends."""
    return range(0x20, 0x7F) if text.isascii() and text.isprintable() else _glyphs()


def _font_folder() -> Path:
    # found, not imported: that would cost a command 0.15 s
    found = importlib.util.find_spec("matplotlib")
    if found is None or found.origin is None:
        raise RuntimeError("the fonts that come with matplotlib are not there")
    return Path(found.origin).parent / "mpl-data" / "fonts" / "ttf"


@cache
def _fonts() -> typst.Fonts:
    # the folder holds others too: the templates name DejaVu Sans and allow no fallback
    import typst

    return typst.Fonts(
        include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(_font_folder())]
    )


@cache
def _glyphs() -> frozenset[int]:
    """Return what both weights of DejaVu Sans hold."""
    from matplotlib.ft2font import FT2Font

    folder = _font_folder()
    regular, bold = (
        FT2Font(str(folder / f"{name}.ttf")).get_charmap() for name in ("DejaVuSans", "DejaVuSans-Bold")
    )
    private = {*range(0xE000, 0xF900), *range(0xF0000, 0x110000)}  # forbidden in archival PDF
    return frozenset(regular.keys() & bold.keys()) - private
