"""Labels for tins: what stands on them, and the sheet they are printed on.

Lengths are mm, temperatures °C. A tin gets one label for its body and one for its lid: lids get swapped.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from stability.bench.labels import check_character, verify_label
from stability.board.words import instant_words
from stability.chemistry.cautions import Tin
from stability.chemistry.hazard_words import hazard_words
from stability.errors import InputError
from stability.records.engine import Records
from stability.records.history import studies
from stability.records.materials import thinners
from stability.reports.square_code import square_code_svg
from stability.reports.typeset import DoesNotFitError, page_images, typeset, unprintable
from stability.services.blends import Blend, blends_of
from stability.services.lookup import nearest

if TYPE_CHECKING:
    from stability.records.history import SampleFacts
    from stability.records.materials import ThinnerFacts
    from stability.settings import LabelSettings

__all__ = ["PARTS", "LabelSheet", "TinLabel", "tin_labels"]

PARTS = ("body", "lid")
A4_MM = (210.0, 297.0)
SMALLEST_MM = 12.0
BLANKS = "tare _______ g   gross _______ g   discard __________"


@dataclass(frozen=True, slots=True, kw_only=True)
class TinLabel:
    """What stands on the labels of one tin; `check` is the check character where the code bears none."""

    sample: str
    check: str | None
    study: str
    blend: str
    product_lot: str
    thinner_lot: str | None
    pack: str | None
    fill_pct: float | None
    twin: str | None
    store: str
    temperature_c: float
    placed_at: datetime
    owner: str
    hazards: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelSheet:
    """Labels on A4 sheets; `skip` places were used up before, `parts` are those of a tin that are wanted."""

    labels: tuple[TinLabel, ...]
    layout: LabelSettings
    zone_name: str
    person: str
    at: datetime
    parts: Sequence[str] = PARTS
    skip: int = 0

    @property
    def places(self) -> int:
        """How many labels go on one sheet."""
        return self.layout.rows * self.layout.columns

    @property
    def sheets(self) -> int:
        """How many sheets are needed."""
        return -(-(self.skip + len(self.labels) * len(self.parts)) // self.places)

    def pdf(self) -> bytes:
        """Return the sheets as PDF.

        Raises
        ------
        InputError
            If the layout leaves no room for a label, or one does not fit even at the smallest type.
        """
        try:
            return typeset("labels.typ", self._data(), at=self.at)
        except DoesNotFitError as exc:
            width, height = self._size()
            raise InputError(
                f"label {exc} on {width:.4g} × {height:.4g} mm",
                hint="fewer rows or columns in [labels] of the settings",
            ) from None

    def images(self, dots_per_inch: float = 150.0) -> tuple[bytes, ...]:
        """Return the sheets as PNG images."""
        return page_images("labels.typ", self._data(), at=self.at, dots_per_inch=dots_per_inch)

    def unprintable(self) -> str:
        """Return the characters that the font does not hold and that are printed as one mark."""
        return unprintable([cell for cell in self._data()["cells"] if cell])

    def _data(self) -> dict[str, Any]:
        width, height = self._size()
        layout = self.layout
        sheet = {
            "rows": layout.rows,
            "columns": layout.columns,
            "top": layout.margin_top_mm,
            "left": layout.margin_left_mm,
            "across": layout.gap_across_mm,
            "down": layout.gap_down_mm,
            "width": width,
            "height": height,
            "frame": layout.frame,
        }
        cells = [_cell(label, part, self.zone_name) for label in self.labels for part in self.parts]
        return {
            "title": "Labels",
            "author": self.person,
            "sheet": sheet,
            "cells": [None] * (self.skip % self.places) + cells,
        }

    def _size(self) -> tuple[float, float]:
        layout = self.layout
        width = A4_MM[0] - 2 * layout.margin_left_mm - (layout.columns - 1) * layout.gap_across_mm
        height = A4_MM[1] - 2 * layout.margin_top_mm - (layout.rows - 1) * layout.gap_down_mm
        width, height = width / layout.columns, height / layout.rows
        if min(width, height) < SMALLEST_MM:
            raise InputError(
                f"margins and gaps leave {width:.3g} × {height:.3g} mm for a label",
                hint=f"a label needs {SMALLEST_MM:g} mm each way; see [labels] of the settings",
            )
        return width, height


def tin_labels(
    records: Records,
    *,
    as_of: datetime,
    study: str | None = None,
    store: str | None = None,
    samples: Sequence[str] = (),
) -> tuple[TinLabel, ...]:
    """Return the labels of the samples named, else of all that have not ended in studies that run.

    Raises
    ------
    InputError
        If a sample is not on record, or there is none to label.
    """
    with records.reading() as connection:
        blends = blends_of(connection, as_of=as_of, study=study)
        running = {one.code: one.is_open(as_of) for one in studies(connection, as_of=as_of)}
        known = thinners(connection)
    every = {tin.sample: (blend, tin) for blend in blends for tin in blend.samples}
    _refuse_unknown(samples, every)
    chosen = [
        (blend, tin)
        for code, (blend, tin) in sorted(every.items())
        if (code in samples if samples else running[tin.study] and tin.ended_at is None)
        and store in (None, tin.store)
    ]
    if not chosen:
        raise InputError("there is no sample to label", hint="--study, --store or --sample may leave none")
    return tuple(_label(blend, tin, known) for blend, tin in chosen)


def _refuse_unknown(samples: Sequence[str], every: dict[str, Any]) -> None:
    missing = [code for code in samples if code not in every]
    if missing:
        hint = nearest(missing[0], list(every)) or "stability due lists the samples; import adds them"
        raise InputError(*(f"sample {code!r} is not on record" for code in missing), hint=hint)


def _label(blend: Blend, tin: SampleFacts, known: dict[str, ThinnerFacts]) -> TinLabel:
    thinner = known.get(tin.thinner or "")
    facts = Tin(
        store_temperature_c=tin.store_temperature_c,
        flash_c=thinner.flash_c if thinner else None,
        thinner_class=thinner.thinner_class if thinner else None,
        sds=thinner.sds if thinner else None,
    )
    return TinLabel(
        sample=tin.sample,
        check=None if verify_label(tin.sample) else _check(tin.sample),
        study=tin.study,
        blend=blend.key.words,
        product_lot=tin.product_lot,
        thinner_lot=tin.thinner_lot,
        pack=tin.pack,
        fill_pct=tin.fill_pct,
        twin=tin.twin,
        store=tin.store,
        temperature_c=tin.store_temperature_c,
        placed_at=tin.placed_at,
        owner=blend.study.owner,
        hazards=hazard_words(facts, thinned=tin.thinner is not None),
    )


def _check(code: str) -> str | None:
    try:
        return check_character(code)
    except InputError:  # nothing in it that has a check character
        return None


def _cell(label: TinLabel, part: str, zone_name: str) -> dict[str, Any]:
    lots = " / ".join(lot for lot in (label.product_lot, label.thinner_lot) if lot)
    fill = None if label.fill_pct is None else f"fill {label.fill_pct:g} %"
    pack = ", ".join(words for words in (label.pack, fill, label.twin) if words)
    start = f"start {instant_words(label.placed_at, zone_name)}"
    place = f"{label.store}, {label.temperature_c:g} °C · {start}"
    full = part == "body"
    loud = [words for words in label.hazards[:-1] if not words.startswith("SDS")]
    sources = [words for words in label.hazards if words not in loud]
    what = [label.study, f"lots {lots}", pack] if full else [label.study]
    lines = [" · ".join(words for words in what if words), place]
    if full:
        lines += [f"owner {label.owner}", BLANKS]
    return {
        "part": part,
        "code": label.sample,
        "check": f"check {label.check}" if label.check else "",
        "words": label.blend,
        "lines": lines,
        "hazards": [" · ".join(loud)],
        "standing": " · ".join(sources),
        "qr": square_code_svg(label.sample),
    }
