"""Tables as lines of plain text.

verdict  check
-------  -------------------
pass     Rear white lamp
         follows reverse
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from itertools import zip_longest

GAP = "  "
WIDE = 96
"""Wide tables are laid out another way where lines are shorter than this."""
LEAST = 12
"""Columns of text are not made narrower than this while others can give way."""
_room: ContextVar[int | None] = ContextVar("room", default=None)


@contextmanager
def fitted(width: int) -> Iterator[None]:
    """Lines made in the block are at most so long, as far as words allow."""
    token = _room.set(width)
    try:
        yield
    finally:
        _room.reset(token)


def room(least: int) -> int:
    """The width that lines are to fit in; `least` where none is set."""
    return _room.get() or least


@dataclass(frozen=True)
class Column:
    title: str
    right: bool = False
    """Flush right, for numbers."""
    wrap: int | None = None
    """Longer cells go on in the next line; None: as wide as its longest cell."""


def table(columns: Sequence[Column], rows: Sequence[Sequence[str]], *, indent: int = 0) -> list[str]:
    """Lines of a table; a column that is empty in every row is left out."""
    kept = [k for k in range(len(columns)) if any(row[k] for row in rows)]
    if not kept:
        return []
    texts = [[columns[k].title for k in kept], *([row[k] for k in kept] for row in rows)]
    wraps = [columns[k].wrap for k in kept]
    titles, *cells = _cells(texts, wraps)
    widths = _widths([titles, *cells])
    limit = _room.get()
    free = None if limit is None else limit - indent - len(GAP) * (len(kept) - 1)
    if free is not None and sum(widths) > free:
        titles, *cells = _cells(
            texts, _shrunk(widths, [wrap is not None for wrap in wraps], _longest_words(texts), free)
        )
        widths = _widths([titles, *cells])
    rules = [["-" * width] for width in widths]
    right = [columns[k].right for k in kept]
    lines: list[str] = []
    for row in (titles, rules, *cells):
        for parts in zip_longest(*row, fillvalue=""):
            padded = (
                part.rjust(width) if flush else part.ljust(width)
                for part, width, flush in zip(parts, widths, right, strict=True)
            )
            lines.append((" " * indent + GAP.join(padded)).rstrip())
    return lines


def paragraph(text: str, *, indent: int = 0, width: int = 80) -> list[str]:
    """Text broken into lines, all of them indented."""
    pad = " " * indent
    return textwrap.wrap(
        text, min(width, room(width)), initial_indent=pad, subsequent_indent=pad, break_on_hyphens=False
    )


def heading(text: str) -> list[str]:
    """A section's title, with an empty line before it."""
    return ["", text, "=" * len(text)]


def _cells(texts: Sequence[Sequence[str]], wraps: Sequence[int | None]) -> list[list[list[str]]]:
    """The lines of every cell."""
    return [[_wrapped(text, wrap) for text, wrap in zip(row, wraps, strict=True)] for row in texts]


def _widths(cells: Sequence[Sequence[Sequence[str]]]) -> list[int]:
    """The longest line of each column."""
    return [max(len(line) for cell in column for line in cell) for column in zip(*cells, strict=True)]


def _longest_words(texts: Sequence[Sequence[str]]) -> list[int]:
    return [max(len(word) for text in column for word in text.split() or [""]) for column in zip(*texts, strict=True)]


def _shrunk(widths: Sequence[int], wraps: Sequence[bool], words: Sequence[int], free: int) -> list[int]:
    """Narrower columns, `free` wide together as far as can be.

    First columns of text give way, then all down to their longest word, at last text is cut anywhere.
    """
    out = list(widths)
    floors = (
        [LEAST if wrap else width for width, wrap in zip(widths, wraps, strict=True)],
        [min(LEAST, word) if wrap else word for word, wrap in zip(words, wraps, strict=True)],
        [LEAST // 3 if wrap else word for word, wrap in zip(words, wraps, strict=True)],
    )
    for floor in floors:
        while sum(out) > free:
            spare, place = max((out[k] if out[k] > floor[k] else 0, k) for k in range(len(out)))
            if not spare:
                break
            out[place] -= 1
    return out


def _wrapped(text: str, width: int | None) -> list[str]:
    if "\n" in text:
        return [line for part in text.split("\n") for line in _wrapped(part, width)]
    if width is None or len(text) <= width:
        return [text]
    return textwrap.wrap(text, width, break_on_hyphens=False) or [""]
