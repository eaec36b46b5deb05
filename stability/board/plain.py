"""A renderable as plain text: for pipes, mail, golden files."""

from __future__ import annotations

import io

from rich.console import Console, RenderableType

__all__ = ["render_text"]


def render_text(renderable: RenderableType, width: int) -> str:
    """Return what the renderable looks like without colour, no line longer than `width`."""
    console = Console(
        file=io.StringIO(), width=width, color_system=None, force_terminal=False, legacy_windows=False
    )
    with console.capture() as captured:
        console.print(renderable, markup=False, highlight=False, soft_wrap=False)
    return "\n".join(line.rstrip() for line in captured.get().splitlines()) + "\n"
