"""Boxes of line-drawing characters, and boxes side by side."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from busprobe.tui.view.spans import Line, Span, Tone, fit


class Edge(NamedTuple):
    """Characters of a frame."""

    top_left: str
    top_right: str
    low_left: str
    low_right: str
    across: str
    down: str


THIN = Edge(*"╭╮╰╯─│")
HEAVY = Edge(*"┏┓┗┛━┃")


def box(
    title: str,
    inside: Sequence[Line],
    width: int,
    *,
    edge: Edge = THIN,
    tone: Tone = Tone.DIM,
    arrow_in: bool = False,
    arrow_out: bool = False,
) -> list[Line]:
    """Lines of a box of `width` columns; arrow_in, arrow_out: at the middle of its top and bottom."""
    name = f" {title} "[: max(width - 3, 0)] if title else ""
    rule = edge.across * (width - 3 - len(name))
    low = edge.across * (width - 2)
    if arrow_in:
        rule = _put(rule, width // 2 - 2 - len(name), "▼")
    if arrow_out:
        low = _put(low, width // 2 - 1, "┬")
    lines: list[Line] = [
        (Span(edge.top_left + edge.across, tone), Span(name, Tone.HEAD), Span(rule + edge.top_right, tone)),
    ]
    lines += [(Span(edge.down + " ", tone), *fit(line, width - 4), Span(" " + edge.down, tone)) for line in inside]
    lines.append((Span(edge.low_left + low + edge.low_right, tone),))
    return lines


def _put(rule: str, place: int, sign: str) -> str:
    return rule[:place] + sign + rule[place + 1 :] if 0 <= place < len(rule) else rule


def beside(left: Sequence[Line], right: Sequence[Line], left_width: int, gap: int = 2) -> list[Line]:
    """Two blocks side by side, the left one padded to its width."""
    out: list[Line] = []
    for i in range(max(len(left), len(right))):
        have = fit(left[i] if i < len(left) else (), left_width)
        out.append((*have, Span(" " * gap), *(right[i] if i < len(right) else ())))
    return out
