"""Text as large as there is room for, its unit behind it in plain letters.

A dot of the block letters takes 4 x 2 character cells, 2 x 1, 1 x 1, or 1 x half a cell.
"""

from __future__ import annotations

from typing import NamedTuple

from busprobe.tui.view.blocks import DOT_ROWS, can_draw, dots, large, small
from busprobe.tui.view.spans import Line, Span, Tone


class Scale(NamedTuple):
    """A size of block letters."""

    across: int
    """Cells that a dot takes."""
    height: int
    """Lines that a letter takes."""


SCALES = (Scale(4, 2 * DOT_ROWS), Scale(2, DOT_ROWS), Scale(1, DOT_ROWS), Scale(1, (DOT_ROWS + 1) // 2))
"""The largest first."""


def fitting(text: str, unit: str, width: int, height: int) -> Scale | None:
    """The largest scale at which text and unit fit; None: at none."""
    if not text.strip() or not can_draw(text):
        return None
    room = width - (len(unit) + 2 if unit else 0)
    across = len(dots(text)[0])
    return next((s for s in SCALES if across * s.across <= room and s.height <= height), None)


def drawn(text: str, unit: str, scale: Scale, tone: Tone) -> list[Line]:
    """Lines of block letters; the unit stands at the foot of the last one."""
    if scale.height < DOT_ROWS:
        rows = small(text)
    else:
        rows = [row for row in large(text, scale.across) for _ in range(scale.height // DOT_ROWS)]
    lines: list[Line] = [(Span(row, tone),) for row in rows]
    if unit:
        lines[-1] = (*lines[-1], Span(f"  {unit}", Tone.STRONG))
    return lines


def parted(text: str, unit: str | None) -> tuple[str, str]:
    """A value and its unit: "12.4 km/h" -> ("12.4", "km/h"); a reason in brackets is left out."""
    bare = text.split(" (", maxsplit=1)[0]
    if unit and bare.endswith(f" {unit}"):
        return bare.removesuffix(unit).rstrip(), unit
    return bare, ""
