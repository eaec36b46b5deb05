"""The tables in and out: their columns and bounds, as one list that import and export share.

Names carry their units; the order of columns is the order written.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from stability.services.columns import Column, Kind, TableSpec
from stability.services.columns import moment as _time
from stability.services.columns import named as _name
from stability.services.columns import positive as _positive
from stability.services.columns import share as _share
from stability.services.columns import text as _text
from stability.services.columns import within as _within
from stability.services.columns import word as _word
from stability.services.tables_instruments import DESCRIBING, TOLD

__all__ = ["TABLES"]


_CLASSES = (
    "aromatic",
    "aliphatic",
    "ester",
    "glycol ether",
    "glycol ether acetate",
    "ketone",
    "alcohol",
    "other",
)
_ENTERED = _time("entered_at")
_NOTE = _text("note", 2000)
_SAMPLE = _name("sample", required=True, longest=60)
_STORE_C = Column(
    name="temperature_c", kind=Kind.NUMBER, above=-273.15, most=200, required=True
)  # a store above 200 °C is a slip: studies end there too
_LIQUID_C = _within("temperature_c", -50, 150)

_ALL = (
    TableSpec(
        "stores",
        (
            _name("store", required=True),
            _STORE_C,
            _within("tolerance_c", 0, 100),
            _within("humidity_pct", 0, 100),
        ),
    ),
    TableSpec(
        "thinners",
        (
            _name("thinner", required=True),
            _word("class", *_CLASSES, required=True),
            _within("flash_c", -150, 500),
            _text("sds", 500),
        ),
    ),
    TableSpec(
        "lots",
        (
            _name("lot", required=True),
            _word("kind", "product", "thinner", required=True),
            _time("opened_at"),
            _within("water_ppm", 0, 1e6),
            _within("acid_pct", 0, 100),
            _within("alcohol_pct", 0, 100),
            _within("methoxy_mmol_g", 0, 100),
        ),
    ),
    TableSpec(
        "people",
        (
            _name("person", required=True),
            _word("role", "assistant", "formulator", "qa", required=True),
            _name("mail"),
            _name("stand_in"),
        ),
    ),
    *DESCRIBING,
    TableSpec(
        "samples",
        (
            _SAMPLE,
            _name("study", required=True, longest=60),
            _name("product", required=True),
            _name("product_lot", required=True),
            _name("thinner"),
            _name("thinner_lot"),
            _share("level_pct"),
            _name("additive"),
            _share("additive_pct"),
            _name("pack"),
            _within("fill_pct", 0, 100),
            _name("store", required=True),
            _time("placed_at", required=True),
            _word("twin", "opened", "sealed"),
            _ENTERED,
        ),
    ),
    TableSpec("moves", (_SAMPLE, _time("at", required=True), _name("to_store", required=True), _ENTERED)),
    TableSpec(
        "endings",
        (
            _SAMPLE,
            _time("at", required=True),
            _word("reason", "gelled", "dropped", "used", "closed", required=True),
            _ENTERED,
        ),
    ),
    TableSpec(
        "readings",
        (
            _SAMPLE,
            _time("taken_at", required=True),
            Column(name="viscosity_mpas", kind=Kind.VISCOSITY, above=0, below=1e300, longest=60),
            _LIQUID_C,
            Column(name="gel_grade", kind=Kind.WHOLE, least=0, most=5),
            _name("operator"),
            _name("instrument"),
            _name("spindle", longest=60),
            _positive("speed_rpm"),
            _within("torque_pct", 0, 100),
            _name("cup", longest=60),
            _positive("efflux_s"),
            _positive("density_g_ml"),
            _positive("mass_g"),
            _text("appearance", 500),
            _text("photo", 500),
            _NOTE,
            _ENTERED,
            _time("corrects"),
            _text("reason", 500),
        ),
    ),
    TableSpec(
        "cures",
        (
            _SAMPLE,
            _time("taken_at", required=True),
            _within("humidity_pct", 0, 100, required=True),
            _positive("film_um"),
            _positive("dry_through_h", required=True),
            _name("operator"),
            _NOTE,
            _ENTERED,
            _time("corrects"),
            _text("reason", 500),
        ),
    ),
    TableSpec(
        "temperatures",
        (
            _name("store", required=True),
            _time("at", required=True),
            Column(name="temperature_c", kind=Kind.NUMBER, above=-273.15, most=300, required=True),
            _ENTERED,
        ),
    ),
    TableSpec(
        "outings",
        (
            _SAMPLE,
            _time("out_at", required=True),
            _time("back_at", required=True),
            Column(name="temperature_c", kind=Kind.NUMBER, above=-273.15, most=200),
            _ENTERED,
        ),
    ),
    TableSpec(
        "changes",
        (
            _time("at", required=True),
            _word("what", "spindle", "instrument", "oil", "method", "operator", required=True),
            _name("study", longest=60),
            _name("instrument"),
            _NOTE,
            _ENTERED,
        ),
    ),
    *TOLD,
)

TABLES: Mapping[str, TableSpec] = MappingProxyType({spec.name: spec for spec in _ALL})
"""Table → specification, in the order in which an import takes them (what others name comes first)."""
