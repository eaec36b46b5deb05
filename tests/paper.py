"""What a PDF of ours is read with: its text in reading order, the marks of an archival and tagged one."""

from __future__ import annotations

import io
from typing import Any
from xml.etree import ElementTree as ET

from pypdf import PdfReader

__all__ = ["assert_archival", "pages_of", "text_of"]

_PDF_A = "{http://www.aiim.org/pdfa/ns/id/}"
_PDF_UA = "{http://www.aiim.org/pdfua/ns/id/}"


def pages_of(pdf: bytes) -> list[str]:
    """Return the text of each page, in the order in which it is read."""
    return [page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages]


def text_of(pdf: bytes) -> str:
    """Return the text of all pages with its line ends as blanks."""
    return " ".join(" ".join(pages_of(pdf)).split())


def assert_archival(pdf: bytes) -> None:
    """Hold what can be held without a validator: PDF/A-3a and PDF/UA-1 as declared, tagged, fonts inside."""
    reader = PdfReader(io.BytesIO(pdf))
    root: Any = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"].startswith("en")
    assert root["/StructTreeRoot"]
    assert root["/OutputIntents"][0]["/S"] == "/GTS_PDFA1"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    found = {e.tag: e.text for e in ET.fromstring(root["/Metadata"].get_data()).iter()}  # noqa: S314 - ours
    assert found[f"{_PDF_A}part"] == "3"
    assert found[f"{_PDF_A}conformance"] == "A"
    assert found[f"{_PDF_UA}part"] == "1"
    assert reader.metadata is not None
    assert reader.metadata.title
    assert not {"/JavaScript", "/OpenAction", "/AA"} & set(root)
    fonts = [font for page in reader.pages for font in page["/Resources"].get("/Font", {}).values()]
    assert fonts
    for font in fonts:
        inner = font.get_object()["/DescendantFonts"][0].get_object()
        assert "DejaVuSans" in inner["/BaseFont"]
        assert "/FontFile2" in inner["/FontDescriptor"] or "/FontFile3" in inner["/FontDescriptor"]
        assert "/ToUnicode" in font.get_object()
