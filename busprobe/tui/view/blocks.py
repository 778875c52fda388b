"""Letters and digits of blocks, to be read from the back of a room or over a bonnet.

Each sign is drawn on five rows of dots. Two rows of dots share one line of text ("▀▄█"), or each
dot takes a whole character cell, or two by one cells.
"""

from __future__ import annotations

from functools import lru_cache

DOT_ROWS = 5

_FONT_TEXT = """
0 .##. 1 .#. 2 ###. 3 ###. 4 #..# 5 #### 6 .##. 7 #### 8 .##. 9 .##.
0 #..# 1 ##. 2 ...# 3 ...# 4 #..# 5 #... 6 #... 7 ...# 8 #..# 9 #..#
0 #..# 1 .#. 2 .##. 3 .##. 4 #### 5 ###. 6 ###. 7 ..#. 8 .##. 9 .###
0 #..# 1 .#. 2 #... 3 ...# 4 ...# 5 ...# 6 #..# 7 .#.. 8 #..# 9 ...#
0 .##. 1 ### 2 #### 3 ###. 4 ...# 5 ###. 6 .##. 7 .#.. 8 .##. 9 .##.
A .##. B ###. C .### D ###. E #### F #### G .### H #..# I ### J ..##
A #..# B #..# C #... D #..# E #... F #... G #... H #..# I .#. J ...#
A #### B ###. C #... D #..# E ###. F ###. G #.## H #### I .#. J ...#
A #..# B #..# C #... D #..# E #... F #... G #..# H #..# I .#. J #..#
A #..# B ###. C .### D ###. E #### F #... G .### H #..# I ### J .##.
K #..# L #... M #...# N #...# O .##. P ###. Q .##. R ###. S .### T #####
K #.#. L #... M ##.## N ##..# O #..# P #..# Q #..# R #..# S #... T ..#..
K ##.. L #... M #.#.# N #.#.# O #..# P ###. Q #..# R ###. S .##. T ..#..
K #.#. L #... M #...# N #..## O #..# P #... Q #.#. R #.#. S ...# T ..#..
K #..# L #### M #...# N #...# O .##. P #... Q .#.# R #..# S ###. T ..#..
U #..# V #...# W #...# X #...# Y #...# Z #### . . - ... ? ###. + ...
U #..# V #...# W #...# X .#.#. Y .#.#. Z ...# . . - ... ? ...# + .#.
U #..# V .#.#. W #.#.# X ..#.. Y ..#.. Z .##. . . - ### ? .##. + ###
U #..# V .#.#. W ##.## X .#.#. Y ..#.. Z #... . . - ... ? .... + .#.
U .##. V ..#.. W #...# X #...# Y ..#.. Z #### . # - ... ? .#.. + ...
/ ..# % #..#
/ ..# % ...#
/ .#. % .##.
/ #.. % #...
/ #.. % #..#
→ ..#..
→ ...#.
→ #####
→ ...#.
→ ..#..
"""


def _read(text: str) -> dict[str, tuple[str, ...]]:
    rows: dict[str, list[str]] = {" ": ["..."] * DOT_ROWS}
    for line in text.split("\n"):
        parts = line.split(" ")
        for sign, dots in zip(parts[::2], parts[1::2], strict=False):
            rows.setdefault(sign, []).append(dots)
    return {sign: tuple(dots) for sign, dots in rows.items()}


FONT = _read(_FONT_TEXT)
"""Sign -> five rows of "#" and "."."""


def can_draw(text: str) -> bool:
    return all(sign in FONT for sign in text.upper())


def dots(text: str) -> list[str]:
    """Five rows of dots for a text; signs without a drawing are left out."""
    signs = [FONT[sign] for sign in text.upper() if sign in FONT]
    return [".".join(sign[row] for sign in signs) for row in range(DOT_ROWS)]


def small(text: str) -> list[str]:
    """Three lines, a dot a cell wide and half a cell high."""
    rows = [*dots(text), ""]
    rows[-1] = "." * len(rows[0])
    halves = {("#", "#"): "█", ("#", "."): "▀", (".", "#"): "▄", (".", "."): " "}
    return [
        "".join(halves[pair] for pair in zip(upper, lower, strict=True))
        for upper, lower in zip(rows[::2], rows[1::2], strict=True)
    ]


def large(text: str, width: int = 1) -> list[str]:
    """Five lines, a dot `width` cells wide and a cell high."""
    return ["".join(("█" if dot == "#" else " ") * width for dot in row) for row in dots(text)]


def biggest(text: str, width: int, height: int) -> list[str]:
    """The largest drawing that fits; the text alone where none does."""
    return list(_biggest(text, width, height))


@lru_cache(maxsize=256)
def _biggest(text: str, width: int, height: int) -> tuple[str, ...]:
    if can_draw(text):
        for lines in (large(text, 2), large(text, 1), small(text)):
            if len(lines) <= height and len(lines[0]) <= width:
                return tuple(lines)
    return (text[:width],)
