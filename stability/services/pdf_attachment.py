"""The file inside a PDF of ours: found by its type, unpacked within bounds; enough to check a statement."""

from __future__ import annotations

import re
import zlib

from stability.errors import InputError

__all__ = ["attachment_of"]

_OBJECT = re.compile(rb"/Type\s*/EmbeddedFile\b(?:(?!endobj).){0,2000}?\bstream\r?\n", re.DOTALL)
_LENGTH = re.compile(rb"/Length\s+(\d{1,9})\b")
LARGEST = 20_000_000


def attachment_of(pdf: bytes) -> bytes:
    """Return the only file attached to a PDF.

    Raises
    ------
    InputError
        If there is none, or more than one, or it cannot be unpacked.
    """
    found = list(_OBJECT.finditer(pdf))
    if len(found) != 1:
        raise InputError(
            f"the PDF holds {len(found)} attached files; expected the data of the statement and nothing else"
        )
    head, start = found[0].group(0), found[0].end()
    begin = pdf.rfind(b"obj", 0, found[0].start())
    length = _LENGTH.search(pdf[begin : found[0].start()] + head)
    if length is None:
        raise InputError("the data attached to the PDF cannot be found: it was changed")
    packed = pdf[start : start + int(length.group(1))]
    if b"/FlateDecode" not in pdf[begin : found[0].end()]:
        return packed
    try:
        worker = zlib.decompressobj()
        content = worker.decompress(packed, LARGEST)
        if worker.unconsumed_tail or not worker.eof:
            raise InputError("the data attached to the PDF are cut off, or far too large")
    except zlib.error:
        raise InputError("the data attached to the PDF cannot be unpacked: they were changed") from None
    return content
