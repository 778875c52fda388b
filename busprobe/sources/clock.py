"""One time base for all live sources: the monotonic clock, with a wall offset fixed at the start.

The system's clock may step while a source runs (set by a server, by hand, by a time zone);
event time does not.
"""

from __future__ import annotations

import time
from collections import deque

import numpy as np

from busprobe.frames import Int64Array

STEP_NS = 1_000_000_000
"""An adapter's stamps that jump by more than this against their arrival are mapped anew."""
WINDOW_NS = 30_000_000_000
"""The least delay is sought over this long: two oscillators drift apart by about 1 ms in it."""


class Clock:
    """Event time, ns since the epoch."""

    def __init__(self) -> None:
        self._offset_ns = time.time_ns() - time.monotonic_ns()

    def now_ns(self) -> int:
        return time.monotonic_ns() + self._offset_ns


class StampMap:
    """An adapter's own stamps to event time.

    A frame arrives some delay after the adapter stamped it; the least difference between
    arrival and stamp is the one with hardly any delay, so it is taken as the offset between
    the two clocks, over the newest 30 s.
    """

    def __init__(self) -> None:
        self._least: deque[tuple[int, int]] = deque()
        """(arrival, difference), differences rising: the first is the least of the window."""
        self._floor_ns = 0
        self.spread_ns = 0
        """Greatest delay over the least one in the newest batch: how late frames come."""

    def map(self, stamps_ns: Int64Array, arrivals_ns: Int64Array) -> Int64Array:
        """(n,) event time of each frame: never after its arrival, never before the last one given."""
        if not len(stamps_ns):
            return stamps_ns
        difference = arrivals_ns - stamps_ns
        if self._least and abs(int(difference[0]) - self._least[0][1]) > STEP_NS:
            self._least.clear()
        place = int(np.argmin(difference))
        self._add(int(arrivals_ns[place]), int(difference[place]))
        least = self._least[0][1]
        self.spread_ns = int(difference.max()) - least
        mapped = np.minimum(stamps_ns + least, arrivals_ns)
        mapped = np.maximum(np.maximum.accumulate(mapped), self._floor_ns)
        self._floor_ns = int(mapped[-1])
        return mapped

    def not_before(self, t_ns: int) -> None:
        """Frames still to come count at this time or later: the source was said to be complete to it."""
        self._floor_ns = max(self._floor_ns, t_ns)

    def _add(self, arrival: int, difference: int) -> None:
        while self._least and self._least[-1][1] >= difference:
            self._least.pop()
        self._least.append((arrival, difference))
        while self._least[0][0] < arrival - WINDOW_NS:
            self._least.popleft()
