"""Figures inside a page: the letters of all of them shared, ids of their own, colours of the page.

Black, greys and the paper become colours of the page, so that a figure follows light, dark and print.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["PageFigures", "for_page"]

_COLOURS = {
    "#22262a": "currentColor",
    "#6b7076": "var(--grey)",
    "#d5dadf": "var(--band)",
    "#dddfe1": "var(--rule)",
    "#ffffff": "var(--paper)",
}
_GLYPH = re.compile(r'<path id="(DejaVuSans[^"]*)"[^>]*/>')
_ALIKE = re.compile(r'(?:<use [^>]*? style="([^"]*)"/>)(?:\s*<use [^>]*? style="\1"/>)+')
_DIGITS = re.compile(
    r"\b([1-9]\d*\.\d\d)\d+"
)  # a hundredth of a point is enough, but not for a scale below 1
_STYLE = re.compile(r' style="([^"]*)"')
_OWN_ID = re.compile(r'(id="|href="#|url\(#)([mp][0-9a-f]{10})')


@dataclass(frozen=True, slots=True)
class PageFigures:
    """The figures of one page in their order, and the letters they share (once per page, before them)."""

    letters: str
    figures: tuple[str, ...]


def for_page(drawings: Sequence[str]) -> PageFigures:
    """Return SVG elements so that they may stand together in one page."""
    letters: dict[str, str] = {}
    figures = tuple(_figure(svg, number, letters) for number, svg in enumerate(drawings, start=1))
    shapes = _short_letters("".join(letters[name] for name in sorted(letters)))
    hidden = f'<svg class="letters" aria-hidden="true" focusable="false"><defs>{shapes}</defs></svg>'
    return PageFigures(hidden if letters else "", figures)


def _figure(svg: str, number: int, letters: dict[str, str]) -> str:
    for found in _GLYPH.finditer(svg):
        letters.setdefault(found.group(1), _tight(found.group()))
    text = _GLYPH.sub("", svg)
    # a style sheet inside a drawing would rule the whole page; comments repeat what was typed
    text = re.sub(r"<style.*?</style>|<!--.*?-->", "", text, flags=re.DOTALL)
    text = re.sub(r'(<g) id="(?![mp][0-9a-f]{10}")[^"]*"', r"\1", text)
    text = re.sub(r"<defs>\s*</defs>", "", text)
    text = _OWN_ID.sub(rf"\g<1>f{number}-\2", text)
    text = _ALIKE.sub(_with_one_style, _DIGITS.sub(r"\1", text))
    # a page is mostly letters: each is one short element
    text = text.replace("xlink:href", "href")
    text = re.sub(r'(<use href="#DejaVuSans[^"]*") transform="translate\(([\d.-]+) 0\)"', r'\1 x="\2"', text)
    text = _short_letters(text)
    text = _STYLE.sub(_as_attributes, text)
    for ours, of_page in _COLOURS.items():
        text = text.replace(ours, of_page)
    text = re.sub(r'(<svg [^>]*?)width="[^"]*" height="[^"]*" ', r"\1", text, count=1)
    return _tight(text)


def _short_letters(text: str) -> str:
    return text.replace("DejaVuSans-Bold-", "_b").replace("DejaVuSans-", "_")


def _with_one_style(run: re.Match[str]) -> str:
    """Return marks that look alike as one group: a plot of many readings is mostly their styles."""
    style = run.group(1)
    return f'<g style="{style}">' + run.group().replace(f' style="{style}"', "") + "</g>"


def _as_attributes(style: re.Match[str]) -> str:
    """Return a style as attributes: the page allows no styles but its own sheet."""
    parts = (part.partition(":") for part in style.group(1).split(";") if part.strip())
    return "".join(f' {name.strip()}="{value.strip()}"' for name, _, value in parts)


def _tight(text: str) -> str:
    return re.sub(r"\s*\n\s*", " ", text).replace("> <", "><").strip()
