"""Input lines: from the polls of a box to debounced conditions and millivolts.

    level    _____|‾|_|‾|_|‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾      a burst: transitions less than `debounce` apart
    signal   _____|‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾      one edge, at its first transition,
                            ^ told               told `debounce` after its last

A burst that ends on the level that it left is a glitch and is counted. One that goes on for
more than 10 x `debounce` is chattering: the line keeps the old level for that long, is
unknown up to the last transition, and then has the new level without an edge.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from busprobe.frames import BoolArray, Int64Array
from busprobe.timeline import ASLEEP, FALSE, NEVER, TRUE, UNKNOWN, Changes, from_points

CHATTER = 10
"""A burst of more than this many times the debounce time is chattering."""

Point = tuple[int, int, int]
"""(t_ns, code, settled)."""


class Burst(NamedTuple):
    """Transitions of a line less than its debounce time apart: the bounce of a contact, or a glitch."""

    told_ns: int
    """When it was over."""
    transitions: int
    """Two or more."""
    length_ns: int
    """From the first to the last."""
    is_glitch: bool = False
    """The level after it was that before it, and no signal changed."""
    is_chatter: bool = False
    """It went on for too long: the signal was unknown meanwhile."""


class Debounce:
    """One line's level, poll by poll, to its debounced condition."""

    def __init__(self, debounce_ns: int) -> None:
        self._debounce = debounce_ns
        self.glitches = 0
        self.bursts: list[Burst] = []
        """Those that were over since it was emptied last."""
        self.transitions: list[int] = []
        """Times of all changes of level since it was emptied last."""
        self._level: int | None = None
        """Level of the newest poll; None before the first and after the box was down."""
        self._stable = ASLEEP
        """The debounced level: what held before the burst at hand."""
        self._first: int | None = None
        """First transition of the burst at hand."""
        self._count = 0
        """Its transitions so far."""
        self._last = NEVER
        self._after = FALSE
        """Level since the last transition of the burst at hand."""
        self._chatters = False

    def step(self, t_ns: Int64Array, level: BoolArray, upto_ns: int) -> Changes:
        """t_ns, level: (n,) polls in order, all before `upto_ns`."""
        points: list[Point] = []
        if len(t_ns):
            if self._level is None:
                self._stable = self._level = int(level[0])
                points.append((int(t_ns[0]), self._stable, NEVER))
            before = np.concatenate([np.array([self._level], np.bool_), level[:-1]])
            places = np.flatnonzero(level != before)
            for t, new in zip(t_ns[places].tolist(), level[places].tolist(), strict=True):
                self._transition(points, t, int(new))
            self._level = int(level[-1])
        self._settle(points, upto_ns)
        if self._first is None:
            return from_points(points, upto_ns)
        return from_points(points, self._last if self._chatters else self._first)

    def down(self, t_ns: int) -> Changes:
        """The box is down from `t_ns` on; polls before that have been stepped through."""
        points: list[Point] = []
        if self._first is not None:
            points.append((self._last if self._chatters else self._first, UNKNOWN, t_ns))
        self._level, self._first, self._stable, self._chatters = None, None, UNKNOWN, False
        if not points or points[-1][0] < t_ns:
            points.append((t_ns, UNKNOWN, NEVER))
        return from_points(points, t_ns + 1)

    def _transition(self, points: list[Point], t: int, level: int) -> None:
        self._settle(points, t)
        self.transitions.append(t)
        if self._debounce == 0:
            points.append((t, level, NEVER))
            self._stable = level
        elif self._first is None:
            self._first = self._last = t
            self._count = 1
        else:
            self._chatter(points, t)
            self._last = t
            self._count += 1
        self._after = level

    def _chatter(self, points: list[Point], t: int) -> None:
        """A further transition of the burst, at `t`."""
        assert self._first is not None
        limit = self._first + CHATTER * self._debounce
        if self._chatters:
            points.append((self._last, UNKNOWN, t))
        elif t > limit:
            self._chatters = True
            points.append((self._first, self._stable, t))
            points.append((limit, UNKNOWN, t))

    def _settle(self, points: list[Point], t: int) -> None:
        """Everything before `t` is seen: is the burst at hand over?"""
        if self._first is None or t < self._last + self._debounce:
            return
        told = self._last + self._debounce
        is_glitch = self._after == self._stable and not self._chatters
        if self._count > 1:
            self.bursts.append(Burst(told, self._count, self._last - self._first, is_glitch, self._chatters))
        if self._chatters:
            points.append((self._last, self._after, told))
        else:
            self.glitches += is_glitch
            points.append((self._first, self._after, told))
        self._stable, self._first, self._chatters = self._after, None, False


def thresholds(
    millivolts: Int64Array, above: int, below_again: int, before: bool | None
) -> tuple[Int64Array, BoolArray]:
    """Levels of an analogue line by two limits; between them it stays as it was.

    before: the newest level; None: there was none yet, and there is none until the line has left
    the band between the limits. Returns the rows that have a level, and (n,) their levels.
    """
    marks = np.where(millivolts > above, TRUE, np.where(millivolts < below_again, FALSE, -1))
    source = np.maximum.accumulate(np.where(marks < 0, -1, np.arange(len(marks))))
    level = np.where(source < 0, -1 if before is None else before, marks[source])
    rows = np.flatnonzero(level >= 0)
    return rows, level[rows].astype(np.bool_)
