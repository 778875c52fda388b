"""Tables as lines of plain text.

verdict  check
-------  -------------------
pass     Rear white lamp
         follows reverse
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest

GAP = "  "


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
    cells = [[_wrapped(row[k], columns[k].wrap) for k in kept] for row in rows]
    titles = [_wrapped(columns[k].title, columns[k].wrap) for k in kept]
    widths = [max(len(line) for row in (titles, *cells) for line in row[place]) for place in range(len(kept))]
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
    return textwrap.wrap(text, width, initial_indent=pad, subsequent_indent=pad, break_on_hyphens=False)


def heading(text: str) -> list[str]:
    """A section's title, with an empty line before it."""
    return ["", text, "=" * len(text)]


def _wrapped(text: str, width: int | None) -> list[str]:
    if width is None or len(text) <= width:
        return [text]
    return textwrap.wrap(text, width, break_on_hyphens=False) or [""]
