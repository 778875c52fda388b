"""Timelines written as text, and the cuts at which they must come out the same.

    "0 5, 300.000001 ? @400"      value 5 from 0 ms on, unknown from 300.000001 ms on: told at 400 ms

F false, T true, ? unknown, z asleep, a number for a quantity; without @ a point is told at its
own time. Nothing is known before the first point.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

import numpy as np

from busprobe.timeline import ASLEEP, FALSE, NEVER, TRUE, UNKNOWN, Changes, Timeline

MS = 1_000_000
LETTERS = {FALSE: "F", TRUE: "T", UNKNOWN: "?", ASLEEP: "z"}


def ns(text: str) -> int:
    """Milliseconds as written to whole nanoseconds."""
    return int(Decimal(text) * MS)


def ms(t_ns: int) -> str:
    return f"{(Decimal(t_ns) / MS).normalize():f}"


def entries(text: str) -> list[tuple[int, str]]:
    """(time in ns, word) of "0 5, 100 ?"."""
    return [(ns(part.split()[0]), part.split()[1]) for part in text.split(",") if part.strip()]


def times(text: str) -> list[int]:
    return [ns(part) for part in text.split()]


def evenly(first: int, step: int, last: int) -> str:
    """Times in ms, as text."""
    return " ".join(str(t) for t in range(first, last + 1, step))


class Told:
    """What a decoder has said so far, and whether it kept the rules of saying it."""

    def __init__(self, *, quantity: bool) -> None:
        self.timeline = Timeline(quantity=quantity)
        self.told_upto = NEVER

    def extend(self, changes: Changes, upto: int) -> None:
        """Points come in order, before the time that is said, none before what was said already."""
        assert changes.upto_ns <= upto
        assert changes.upto_ns >= self.told_upto
        assert (np.diff(changes.t_ns) > 0).all()
        if len(changes):
            assert changes.t_ns[-1] < changes.upto_ns
            # The source going down is said of its instant; a sample of that instant replaces it.
            assert changes.t_ns[0] >= self.told_upto - 1
        self.told_upto = changes.upto_ns
        self.timeline.extend(changes)

    def points(self) -> list[str]:
        """The timeline as text, a point each."""
        line = self.timeline
        out = []
        for i in range(1, len(line.t_ns)):
            t, code = int(line.t_ns[i]), int(line.code[i])
            word = LETTERS[code] if line.value is None or code != TRUE else f"{line.value[i]:g}"
            told = t if line.settled is None else max(t, int(line.settled[i]))
            out.append(f"{ms(t)} {word}" + (f" @{ms(told)}" if told > t else ""))
        return out


def told_at(point: str) -> int:
    """When a point of `Told.points` could be told."""
    words = point.split()
    return ns(words[2][1:]) if len(words) > 2 else ns(words[0])


def instants(given: Iterable[int], points: Iterable[str], end: int) -> list[int]:
    """Every time at which anything happens or is told, and 1 ns to either side, up to the end."""
    marks = set(given)
    for point in points:
        marks |= {ns(point.split()[0]), told_at(point)}
    return sorted({t for mark in marks for t in (mark - 1, mark, mark + 1) if 0 <= t <= end})
