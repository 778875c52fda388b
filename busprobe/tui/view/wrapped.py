"""Lines of spans that go on in the next line, and how lines that are left over are shared among them."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from functools import lru_cache
from itertools import chain
from typing import NamedTuple

from rich.cells import cell_len

from busprobe.tui.view.spans import Line, Span, fit, width_of

_WORD = re.compile(r"\s*\S+|\s+")
"""A word with the blanks before it."""


@lru_cache(2048)
def wrapped(line: Line, width: int, indent: int = 0) -> tuple[Line, ...]:
    """A line cut between words, so that each part has `width` cells at most; those after the first are indented.

    A word that is wider than that is left whole.
    """
    lines: list[list[Span]] = [[]]
    left = width
    for text, tone in line:
        for word in _WORD.findall(text):
            part = word
            if cell_len(part) > left and lines[-1]:
                lines.append([Span(" " * indent)])
                part, left = word.lstrip(), width - indent
            lines[-1].append(Span(part, tone))
            left -= cell_len(part)
    return tuple(tuple(part) for part in lines)


class Told(NamedTuple):
    """Something that takes one line where it has to be short."""

    short: Line
    long: Callable[[], Sequence[Line]]
    """All of it, in as many lines as it takes."""


def in_words(line: Line, width: int, indent: int = 0) -> Told:
    """What is cut at the end of its line or goes on in the next."""
    return Told(line, lambda: wrapped(line, width, indent))


def lines_wanted(told: Sequence[Told], width: int) -> int:
    """Lines in which nothing is cut."""
    return sum(1 if width_of(one.short) <= width else len(one.long()) for one in told)


def shared(told: Sequence[Told], width: int, room: int) -> list[Line]:
    """A line each; what is too long for one gets more, in order, while `room` lasts."""
    spare = room - len(told)
    lines: list[Line] = []
    for one in told:
        if spare <= 0 or width_of(one.short) <= width:
            lines.append(one.short)
            continue
        parts = one.long()
        whole = parts[: spare + 1]
        lines += [*whole[:-1], (*whole[-1], *chain.from_iterable(parts[spare + 1 :]))]
        spare -= len(whole) - 1
    return [tuple(fit(line, width)) for line in lines]
