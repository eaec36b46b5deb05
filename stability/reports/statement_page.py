"""The statement on paper: what its template is given, out of the data of the statement and nothing else.

The same data give the same bytes. Claims are whole months, ages and bounds days.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from datetime import datetime
from typing import Any

from stability.board.words import at_least_words, date_words, days_words, instant_words
from stability.reports.figures import master_curve
from stability.reports.square_code import square_code_svg
from stability.reports.typeset import page_images, typeset, unprintable
from stability.reports.view import BandPoint, MasterCurveView, MasterPoint
from stability.units import months

__all__ = ["attachment_name", "code_text", "statement_images", "statement_pdf", "statement_unprintable"]

TEMPLATE = "statement.typ"
INVENTED = "INVENTED EXAMPLE: every name and every reading is made up; good for nothing"
_ROLES = {"qa": "quality", "formulator": "formulation", "assistant": "laboratory"}


def attachment_name(data: Mapping[str, Any]) -> str:
    """Return the name under which the data lie inside the PDF."""
    return f"{data['number']}-v{data['version']}.json"


def code_text(data: Mapping[str, Any], digest: str) -> str:
    """Return what the square code says: number, version, digest of the data."""
    return f"{data['number']} v{data['version']} sha256:{digest}"


def statement_pdf(data: Mapping[str, Any], *, content: bytes, digest: str) -> bytes:
    """Return the statement as PDF with its data attached; `content` is their canonical form."""
    files = {**_drawings(data, digest), "statement": content.decode("utf-8")}
    return typeset(TEMPLATE, _page(data, digest), at=_issued_at(data), files=files)


def statement_images(
    data: Mapping[str, Any], *, content: bytes, digest: str, dots_per_inch: float = 100.0
) -> tuple[bytes, ...]:
    """Return its pages as PNG images."""
    files = {**_drawings(data, digest), "statement": content.decode("utf-8")}
    page = _page(data, digest)
    return page_images(TEMPLATE, page, at=_issued_at(data), files=files, dots_per_inch=dots_per_inch)


def statement_unprintable(data: Mapping[str, Any], digest: str) -> str:
    """Return the characters that the font does not hold and that are printed as one mark."""
    return unprintable(_page(data, digest))


def _issued_at(data: Mapping[str, Any]) -> datetime:
    return datetime.fromisoformat(data["issued_at"])


def _drawings(data: Mapping[str, Any], digest: str) -> dict[str, str]:
    view = _curve(data["picture"])
    return {
        "curve": master_curve(view) if view.points else "",
        "code": square_code_svg(code_text(data, digest)),
    }


def _curve(picture: Mapping[str, Any]) -> MasterCurveView:
    known = {f.name for f in fields(MasterCurveView)}
    plain = {name: value for name, value in picture.items() if name in known}
    plain["points"] = tuple(MasterPoint(**point) for point in picture["points"])
    plain["curve"] = tuple(BandPoint(**point) for point in picture["curve"])
    return MasterCurveView(**plain)


def _page(data: Mapping[str, Any], digest: str) -> dict[str, Any]:
    words, zone = data["words"], data["zone"]
    name = f"{data['number']} version {data['version']}"
    return {
        "title": f"Storage stability statement {name}",
        "author": data["author"]["name"],
        "keywords": ["storage stability", data["number"], digest],
        "name": name,
        "subtitle": _subtitle(data),
        "mark": INVENTED if data["invented"] else "",
        "lead": words["blend"],
        "figure": str(data["months"]),
        "unit": "month" if data["months"] == 1 else "months",
        "from": f"unopened, counted from {words['counted_from']}",
        "facts": [
            ["Pack", words["pack"]],
            ["Storage", words["storage"]],
            ["Ends with", words["criterion"]],
            ["At the end", words["end"]],
            ["Opened tins", words["opened"]],
            ["Warm days", words["excursions"]],
        ],
        "uncovered": [*words["not_covered"], words["items"], words["shorter"]],
        "cautions": words["cautions"],
        "rests": [
            ["Evidence", f"rung {data['rung']} of 4: {words['rung']}"],
            ["Lots", words["lots"]],
            ["Real time", f"{days_words(data['real_time_days'])} at the storage temperature"],
            ["Temperatures", words["temperatures"]],
            [
                "Lower bound",
                f"{at_least_words(data['bound_days'])} (95 %, one-sided, next tin of the worst lot)",
            ],
            ["Method", words["method"]],
            ["Calculation", f"{data['calculation']}, {data['program']}"],
        ],
        "caps": [[cap["words"], f"{int(months(cap['days']) * 10 + 1e-9) / 10:.1f}"] for cap in data["caps"]],
        "rule": words["rule"],
        "answers": [
            [f"{row['name'].replace('_', ' ')}: {row['says']}", row["answer"]] for row in data["answers"]
        ],
        "people": _people(data, zone),
        "check": _check(data),
        "curve_alt": _alt(data),
        "code_alt": f"Square code: {code_text(data, digest)}",
        "digest": digest,
        "attachment": attachment_name(data),
    }


def _subtitle(data: Mapping[str, Any]) -> str:
    issued = f"Issued {date_words(_issued_at(data).date())}, study {data['study']}."
    if not data["replaces"]:
        return issued + (f" Changed: {data['reason']}." if data["reason"] else "")
    older = ", ".join(str(version) for version in data["replaces"])
    return f"{issued} Replaces version {older}. Changed: {data['reason']}."


def _people(data: Mapping[str, Any], zone: str) -> list[list[str]]:
    drafted = instant_words(datetime.fromisoformat(data["drafted_at"]), zone)
    issued = instant_words(_issued_at(data), zone)
    rows = [["written by", _named(data["author"]), f"{drafted} {zone}"]]
    if data["reviewer"]:
        rows.append(["reviewed by", data["reviewer"], ""])
    return [*rows, ["approved by", _named(data["approver"]), f"{issued} {zone}"]]


def _named(person: Mapping[str, str]) -> str:
    return f"{person['name']} ({_ROLES.get(person['role'], person['role'])})"


def _check(data: Mapping[str, Any]) -> str:
    bad = data["words"]["report_to"]
    report = f" Report a bad tin to {bad}." if bad else ""
    return (
        "Valid until it is withdrawn or replaced. To check it: stability statement verify FILE, with the "
        f"signature file beside the PDF; key {data['approver']['key']}.{report}"
    )


def _alt(data: Mapping[str, Any]) -> str:
    picture = data["picture"]
    if not picture["points"]:
        return ""
    return (
        f"Master curve of {picture['blend_words']}: {len(picture['points'])} readings of all stores against "
        f"their age at {picture['storage_c']:g} °C, with the fitted curve and the {picture['limit_words']}."
    )
