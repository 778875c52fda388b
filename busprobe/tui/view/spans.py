"""Styled text as values: spans, cells, rows, columns, and how columns share a width."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Literal, NamedTuple

from rich.cells import cell_len, set_cell_size


class Tone(Enum):
    """What a piece of text is; a theme gives it a colour. A word or shape says the same first."""

    PLAIN = "plain"
    DIM = "dim"
    """Of less weight: units, ages, off."""
    STRONG = "strong"
    HEAD = "head"
    """Column headings and panel words."""
    ON = "on"
    """A condition that is true."""
    GOOD = "good"
    BAD = "bad"
    """Failed, lost."""
    WARN = "warn"
    """Unknown, undecided, tight."""
    NOTE = "note"
    """New or changed lately, chosen."""
    KEY = "key"
    """A key to press."""

    __hash__ = object.__hash__
    """Tones are looked up for every piece of text; Enum's own hash is slow."""


BOLD = frozenset((Tone.STRONG, Tone.HEAD, Tone.ON, Tone.BAD, Tone.NOTE, Tone.KEY))


class Span(NamedTuple):
    text: str
    tone: Tone = Tone.PLAIN


Cell = tuple[Span, ...]
"""Text of one column in one row."""
Line = tuple[Span, ...]
"""Text over the full width."""


def cell(text: str, tone: Tone = Tone.PLAIN) -> Cell:
    return (Span(text, tone),)


EMPTY: Cell = ()
LEAST_CELL = 4
"""Fewer cells of a column are not shown."""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a list."""

    key: str
    """What the row is of; the cursor stays on it when rows move."""
    cells: tuple[Cell, ...]
    copy: str | Callable[[], str] = ""
    """What `y` copies, or makes it; empty: the cells, with tabs between."""

    def as_text(self) -> str:
        copy = self.copy if isinstance(self.copy, str) else self.copy()
        return copy or "\t".join(plain(part).strip() for part in self.cells)


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a list."""

    title: str
    width: int
    """Least width, in character cells."""
    align: Literal["left", "right", "end"] = "left"
    """"end": where it is too long its end is shown."""
    grow: int = 0
    """Its part of the width that is left; 0: fixed."""
    drop: int = 0
    """Where the width does not do, columns of the highest number go first; 0: never."""
    minor: bool = False
    """Where it has no room, it gets no line at the foot for itself alone."""


def plain(spans: Iterable[Span]) -> str:
    """The text alone."""
    return "".join(span.text for span in spans)


def width_of(spans: Iterable[Span]) -> int:
    width = 0
    for text, _ in spans:
        width += len(text) if text.isascii() else cell_len(text)
    return width


def share(columns: Sequence[Column], width: int) -> list[tuple[int, int]]:
    """(column, its width) for those that fit in `width` with one blank between them; at worst the last is cut."""
    kept = list(range(len(columns)))
    while len(kept) > 1 and _least(columns, kept) > width:
        last = max(kept, key=lambda i: (columns[i].drop, i))
        if columns[last].drop == 0:
            break
        kept.remove(last)
    spare = max(width - _least(columns, kept), 0)
    parts = sum(columns[i].grow for i in kept)
    widths = []
    for i in kept:
        extra = spare * columns[i].grow // parts if parts else 0
        spare, parts = spare - extra, parts - columns[i].grow
        widths.append((i, columns[i].width + extra))
    return _cut(widths, width)


def _cut(widths: list[tuple[int, int]], width: int) -> list[tuple[int, int]]:
    """Only as much as fits: the last column is made narrower, or left out where too little of it would be seen."""
    over = sum(w + 1 for _, w in widths) - 1 - width
    while over > 0 and len(widths) > 1 and widths[-1][1] - over < LEAST_CELL:
        over -= widths.pop()[1] + 1
    if over > 0:
        widths[-1] = widths[-1][0], max(widths[-1][1] - over, 1)
    return widths


def _least(columns: Sequence[Column], kept: Sequence[int]) -> int:
    return sum(columns[i].width for i in kept) + len(kept) - 1


def fit(spans: Sequence[Span], width: int, align: str = "left") -> list[Span]:
    """Spans cut or padded to exactly `width` cells; a cut is shown by "…". align: as in `Column`."""
    if len(spans) == 1 and len(spans[0].text) < width and spans[0].text.isascii():
        # Most cells: the way that costs least.
        pad = Span(" " * (width - len(spans[0].text)))
        return [spans[0], pad] if align == "left" else [pad, spans[0]]
    have = width_of(spans)
    if have > width and align == "end":
        return _end(spans, have - width)
    if have <= width:
        pad = Span(" " * (width - have))
        if not pad.text:
            return list(spans)
        return [pad, *spans] if align != "left" else [*spans, pad]
    out: list[Span] = []
    left = width - 1
    for span in spans:
        size = cell_len(span.text)
        if size > left:
            if width > 0:
                out.append(Span(set_cell_size(span.text, max(left, 0)) + "…", span.tone))
            break
        out.append(span)
        left -= size
    return out


def _end(spans: Sequence[Span], excess: int) -> list[Span]:
    """Spans without their first `excess` cells."""
    out = []
    for span in spans:
        size = cell_len(span.text)
        if excess >= size:
            excess -= size
            continue
        out.append(Span(span.text[excess:], span.tone))
        excess = 0
    return out


def shortened(text: str, width: int = 60) -> str:
    """A text in one line of so many signs at most."""
    line = " ".join(text.split())
    return line if len(line) <= width else line[: width - 1] + "…"


def printable(text: str) -> str:
    """The text with a blank for every sign that a terminal would obey: line ends, tabs, escapes."""
    return text if text.isprintable() else "".join(sign if sign.isprintable() else " " for sign in text)


def matches(words: str, *texts: str) -> bool:
    """Whether every word of a filter is in some of the texts, whatever the case."""
    whole = " ".join(texts).casefold()
    return all(word in whole for word in words.casefold().split())
