"""What columns that have no room say of one row: lines at the foot of a list, each cell under its name.

╰ Kind bus     Source body.WheelSpeed.VehicleSpeed
"""

from __future__ import annotations

from collections.abc import Sequence

from busprobe.tui.view.spans import Column, Row, Span, Tone, fit, share

_FIRST, _NEXT = "╰ ", "  "


def foot_places(columns: Sequence[Column], shown: set[int], across: int) -> list[list[int]]:
    """The columns that are not shown, by their places, in as many lines as they take."""
    lines: list[list[int]] = []
    left = 0
    for index in (i for i in range(len(columns)) if i not in shown):
        width = _named(columns[index]).width + 1
        if not lines or width > left:
            lines.append([])
            left = across - len(_FIRST) + 1
        lines[-1].append(index)
        left -= width
    return [line for line in lines if not all(columns[index].minor for index in line)]


def foot_line(columns: Sequence[Column], places: Sequence[int], row: Row, across: int, *, first: bool) -> list[Span]:
    """One of these lines. places: of its columns."""
    line = [Span(_FIRST if first else _NEXT, Tone.NOTE)]
    for at, width in share([_named(columns[index]) for index in places], across - len(_FIRST)):
        index = places[at]
        line += fit([Span(f"{columns[index].title.strip()} ", Tone.HEAD), *row.cells[index]], width)
        line.append(Span(" "))
    return line[:-1]


def _named(column: Column) -> Column:
    """A column with room for its name beside what it says."""
    return Column(column.title, len(column.title.strip()) + 1 + column.width, grow=column.grow)
