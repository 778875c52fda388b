"""Text in block characters, for reading across a room.

Glyphs are 5 dots wide and 7 high. At scale 1 a dot is half a character cell high ("▀▄█"), a glyph
5 x 4 cells; at scale 2 a dot is two cells wide and one high, a glyph 10 x 7.
"""

from __future__ import annotations

from busprobe.tui.view.glyphs import GLYPHS, HEIGHT, WIDTH

SCALES = (2, 1)
_HALVES = " ▀▄█"


def big(text: str, scale: int) -> list[str]:
    """Lines of equal length; what has no glyph is drawn as a box."""
    dots = _dots(text)
    if scale == 2:
        return ["".join("██" if dot else "  " for dot in row) for row in dots]
    dots.append([0] * len(dots[0]))
    pairs = zip(dots[::2], dots[1::2], strict=True)
    return ["".join(_HALVES[up + 2 * down] for up, down in zip(*pair, strict=True)) for pair in pairs]


def width_at(text: str, scale: int) -> int:
    """Columns that the text takes."""
    return (len(text) * (WIDTH + 1) - 1) * scale if text else 0


def height_at(scale: int) -> int:
    return HEIGHT if scale == 2 else (HEIGHT + 1) // 2


def fitting(text: str, width: int, height: int) -> int | None:
    """The largest scale at which the text fits; None: at none."""
    for scale in SCALES:
        if text and width_at(text, scale) <= width and height_at(scale) <= height:
            return scale
    return None


def _dots(text: str) -> list[list[int]]:
    """HEIGHT rows of 0 and 1, a blank column between glyphs."""
    rows: list[list[int]] = [[] for _ in range(HEIGHT)]
    for place, letter in enumerate(text):
        glyph = GLYPHS.get(letter, GLYPHS["□"])
        for y, row in enumerate(rows):
            if place:
                row.append(0)
            row.extend(glyph[y] >> (WIDTH - 1 - x) & 1 for x in range(WIDTH))
    return rows
