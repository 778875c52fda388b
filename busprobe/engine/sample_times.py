"""When the samples of a signal came, as far back as anybody may ask."""

from __future__ import annotations

from bisect import bisect_left

import numpy as np

from busprobe.frames import BoolArray, Int64Array
from busprobe.timeline import NO_TIMES


class SampleTimes:
    """Times of the newest samples of a tap, as far back as anybody may ask."""

    def __init__(self) -> None:
        self._parts: list[Int64Array] = []

    @property
    def times(self) -> Int64Array:
        """(n,) rising."""
        if len(self._parts) > 1:
            self._parts = [np.concatenate(self._parts)]
        return self._parts[0] if self._parts else NO_TIMES

    def add(self, times: Int64Array) -> None:
        if len(times):
            self._parts.append(times)

    def gap_at(self, t_ns: int) -> int:
        """Time from the previous sample to the one at `t_ns`; 0 where there is none."""
        times = self.times
        place = bisect_left(times, t_ns)
        if not 0 < place < len(times) or times[place] != t_ns:
            return 0
        return int(times[place] - times[place - 1])

    def forget(self, before_ns: int) -> None:
        place = max(bisect_left(self.times, before_ns) - 2, 0)
        if place:
            self._parts = [self.times[place:].copy()]


def last_of_each_time(t_ns: Int64Array) -> BoolArray | None:
    """(n,) the last of the rows of each time; None where every row has a time of its own."""
    own = t_ns[1:] != t_ns[:-1]
    return None if own.all() else np.concatenate([own, [True]])
