"""What the wires of input boxes were at, by the newest poll before any time."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from operator import itemgetter
from typing import NamedTuple

import numpy as np

from busprobe.bench.model import Line
from busprobe.frames import InputBatch

MOST_BATCHES = 20_000
"""Batches kept in memory; of more the older half is forgotten."""
LOOK_BACK = 1000
"""Polls that are looked through at once."""


class Wire(NamedTuple):
    """A line at its newest poll."""

    t_ns: int
    is_high: bool
    """The electrical level; of an analogue line with limits: on which side of them it was last."""
    millivolts: int | None
    """Of an analogue line."""
    is_settled: bool = True
    """False: an analogue line that has been between its limits ever since."""


class Levels:
    """Grows at its end in one thread, read from others."""

    def __init__(self) -> None:
        self._kept: dict[str, list[tuple[int, InputBatch]]] = {}
        """By box: time of the first poll of each batch, and the batch."""

    def add(self, batch: InputBatch) -> None:
        """Polls, all after those so far; late ones do not count."""
        if batch.late is not None:
            batch = batch.take(~batch.late)
        if not len(batch):
            return
        kept = self._kept.setdefault(batch.box, [])
        kept.append((int(batch.t_ns[0]), batch))
        if len(kept) > MOST_BATCHES:
            self._kept[batch.box] = kept[MOST_BATCHES // 2 :]

    def at(self, box: str, line: Line, t_ns: int, from_ns: int) -> Wire | None:
        """A line at a time; polls before `from_ns` do not count: the box was down since."""
        kept = self._kept.get(box, [])
        place = bisect_right(kept, t_ns, key=itemgetter(0)) - 1
        if place < 0:
            return None
        batch = kept[place][1]
        row = int(np.searchsorted(batch.t_ns, t_ns, "right")) - 1
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
        side = _side((earlier for _, earlier in kept[place::-1]), row + 1, line, from_ns)
        return Wire(at_ns, bool(side), millivolts, side is not None)


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
