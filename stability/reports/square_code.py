"""The square code of a label (QR, ISO/IEC 18004), as a drawing."""

from __future__ import annotations

import io

__all__ = ["square_code_svg"]


def square_code_svg(text: str) -> str:
    """Return the square code of a text as SVG, with its quiet zone of four modules.

    A quarter of it may be stained or scratched (level Q): labels of this trade meet solvents.
    """
    import segno

    out = io.BytesIO()
    segno.make(text, error="q", micro=False).save(
        out, kind="svg", border=4, light="#fff", omitsize=True, xmldecl=False, nl=False
    )
    return out.getvalue().decode("utf-8")
