"""The polls of input boxes: what a wire was at, how often and how fast a box was polled, up to any time."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from operator import itemgetter
from typing import NamedTuple

import numpy as np

from busprobe.bench.model import Line
from busprobe.frames import InputBatch, Int64Array

MOST_BATCHES = 20_000
"""Batches kept in memory; of more the older half is forgotten."""
LOOK_BACK = 1000
"""Polls that are looked through at once."""
NEWEST = 50
"""The achieved time between polls is the median of so many."""


class Wire(NamedTuple):
    """A line at its newest poll."""

    t_ns: int
    is_high: bool
    """The electrical level; of an analogue line with limits: on which side of them it was last."""
    millivolts: int | None
    """Of an analogue line."""
    is_settled: bool = True
    """False: an analogue line that has been between its limits ever since."""


class _Kept(NamedTuple):
    """One batch."""

    first_ns: int
    before: int
    """Polls of the box before it."""
    t_ns: Int64Array
    counting: InputBatch
    """Without polls that came too late for logic."""


class Polls:
    """Grows at its end in one thread, read from others."""

    def __init__(self) -> None:
        self._kept: dict[str, list[_Kept]] = {}

    def add(self, batch: InputBatch) -> None:
        """Polls of a box, all after those so far."""
        if not len(batch):
            return
        kept = self._kept.setdefault(batch.box, [])
        before = kept[-1].before + len(kept[-1].t_ns) if kept else 0
        counting = batch if batch.late is None else batch.take(~batch.late)
        kept.append(_Kept(int(batch.t_ns[0]), before, batch.t_ns, counting))
        if len(kept) > MOST_BATCHES:
            self._kept[batch.box] = kept[MOST_BATCHES // 2 :]

    def count_until(self, box: str, t_ns: int) -> int:
        """How often a box was polled up to a time."""
        kept, place = self._up_to(box, t_ns)
        return kept[place].before + _rows_until(kept[place].t_ns, t_ns) if place >= 0 else 0

    def newest_ns(self, box: str, t_ns: int) -> int | None:
        """Time of the newest poll up to a time; None: there is none."""
        kept, place = self._up_to(box, t_ns)
        if place < 0:
            return None
        times = kept[place].t_ns
        return int(times[max(_rows_until(times, t_ns) - 1, 0)])

    def period_ns(self, box: str, t_ns: int) -> int | None:
        """Achieved time between polls: median of the newest ones up to a time; None before there are two."""
        kept, place = self._up_to(box, t_ns)
        if place < 0:
            return None
        stop = _rows_until(kept[place].t_ns, t_ns)
        newest = kept[place].t_ns[max(stop - NEWEST, 0) : stop]
        if len(newest) < NEWEST and place:
            newest = np.concatenate([kept[place - 1].t_ns[-NEWEST:], newest])
        return int(np.median(np.diff(newest))) if len(newest) > 1 else None

    def at(self, box: str, line: Line, t_ns: int, from_ns: int) -> Wire | None:
        """A line at a time; late polls do not count, nor any before `from_ns`: the box was down since."""
        kept, place = self._up_to(box, t_ns)
        while place >= 0 and not _rows_until(kept[place].counting.t_ns, t_ns):
            place -= 1
        if place < 0:
            return None
        batch = kept[place].counting
        row = _rows_until(batch.t_ns, t_ns) - 1
        at_ns = int(batch.t_ns[row])
        if at_ns < from_ns:
            return None
        if not line.analogue:
            return Wire(at_ns, bool(int(batch.mask[row]) >> line.number & 1), None)
        if batch.analogue is None or line.number >= batch.analogue.shape[1]:
            return None
        millivolts = int(batch.analogue[row, line.number])
        if line.above_mv is None:
            return Wire(at_ns, False, millivolts)
        earlier = (one.counting for one in kept[place::-1] if len(one.counting))
        side = _side(earlier, row + 1, line, from_ns)
        return Wire(at_ns, bool(side), millivolts, side is not None)

    def _up_to(self, box: str, t_ns: int) -> tuple[list[_Kept], int]:
        """The batches of a box, and the place of the newest that begins up to a time; -1: there is none."""
        kept = self._kept.get(box, [])
        return kept, bisect_right(kept, t_ns, key=itemgetter(0)) - 1


def _rows_until(times: Int64Array, t_ns: int) -> int:
    return int(np.searchsorted(times, t_ns, "right"))


def _side(batches: Iterable[InputBatch], stop: int | None, line: Line, from_ns: int) -> bool | None:
    """On which side of its limits a line was when it was last outside the band between them.

    batches: newest first, of which the first counts up to its row `stop`.
    """
    assert line.above_mv is not None
    below = line.above_mv if line.below_again_mv is None else line.below_again_mv
    for batch in batches:
        start = int(np.searchsorted(batch.t_ns, from_ns))
        if batch.analogue is None or start >= len(batch):
            return None
        stop = len(batch) if stop is None else stop
        while stop > start:
            # A little at a time, from the newest on: the band is left often.
            first = max(stop - LOOK_BACK, start)
            volts = batch.analogue[first:stop, line.number]
            outside = np.flatnonzero((volts > line.above_mv) | (volts < below))
            if len(outside):
                return bool(volts[outside[-1]] > line.above_mv)
            stop = first
        stop = None
    return None
