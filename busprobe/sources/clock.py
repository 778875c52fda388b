"""One time base for all live sources: a steady clock, with a wall offset fixed at the start.

    event time = steady clock + (wall clock - steady clock, once, when the run began)

The system's clock may step while a source runs (set by a server, by hand, by a time zone);
event time does not. It goes on while the machine sleeps, so that a night with the lid shut is
as long in a recording as it was.
"""

from __future__ import annotations

import sys
import time
from collections import deque
from collections.abc import Callable
from typing import Protocol

import numpy as np

from busprobe.frames import BoolArray, Int64Array

STEP_NS = 1_000_000_000
"""An adapter's stamps that jump by more than this against their arrival are mapped anew."""
WINDOW_NS = 30_000_000_000
"""The least delay is sought over this long: two oscillators drift apart by about 1 ms in it."""
WALL_STEP_NS = 1_000_000
"""The system's clock stepped if it moved by more than this against event time within a batch."""


def _steady_clock() -> Callable[[], int]:
    """The system's steady clock that counts sleep too and is fine enough for stamps.

    time.monotonic stands still during sleep on Linux and macOS, and counts in steps of 15.6 ms
    on Windows before Python 3.13 (from memory of the systems' manuals).
    """
    if sys.platform == "linux":
        return lambda: time.clock_gettime_ns(time.CLOCK_BOOTTIME)
    if sys.platform == "darwin":
        return lambda: time.clock_gettime_ns(time.CLOCK_MONOTONIC)
    return time.perf_counter_ns


class Clock:
    """Event time, ns since the epoch."""

    def __init__(self) -> None:
        self._steady_ns = _steady_clock()
        self._offset_ns = time.time_ns() - self._steady_ns()

    def now_ns(self) -> int:
        return self._steady_ns() + self._offset_ns

    def wall_ahead_ns(self) -> int:
        """By how much the system's clock is ahead of event time now: 0 until somebody sets it."""
        return time.time_ns() - self.now_ns()


class Stamps(Protocol):
    """Turns the stamps that a driver gives into event time."""

    spread_ns: int
    """Greatest delay over the least one in the newest batch: how late frames come."""

    def map(self, stamps_ns: Int64Array, arrivals_ns: Int64Array) -> Int64Array:
        """(n,) event time of each frame: never after its arrival, never before the last one given."""
        ...

    def not_before(self, t_ns: int) -> None:
        """Frames still to come count at this time or later: the source was said to be complete to it."""
        ...


class _Rising:
    """Keeps times from running backwards."""

    def __init__(self) -> None:
        self._floor_ns = 0
        self.spread_ns = 0

    def not_before(self, t_ns: int) -> None:
        self._floor_ns = max(self._floor_ns, t_ns)

    def _risen(self, times_ns: Int64Array) -> Int64Array:
        risen: Int64Array = np.maximum(np.maximum.accumulate(times_ns), self._floor_ns)
        self._floor_ns = int(risen[-1])
        return risen


class StampMap(_Rising):
    """Stamps of an adapter's own clock, which may start at 0 or be set back.

    A frame arrives some delay after the adapter stamped it; the least difference between
    arrival and stamp is the one with hardly any delay, so it is taken as the offset between
    the two clocks, over the newest 30 s.
    """

    def __init__(self) -> None:
        super().__init__()
        self._least: deque[tuple[int, int]] = deque()
        """(arrival, difference), differences rising: the first is the least of the window."""

    def map(self, stamps_ns: Int64Array, arrivals_ns: Int64Array) -> Int64Array:
        if not len(stamps_ns):
            return stamps_ns
        difference = arrivals_ns - stamps_ns
        self.spread_ns = 0
        mapped = np.empty(len(stamps_ns), np.int64)
        start = 0
        while start < len(stamps_ns):
            stop = self._end_of_run(difference, start)
            least = self._learn(arrivals_ns[start:stop], difference[start:stop])
            mapped[start:stop] = stamps_ns[start:stop] + least
            self.spread_ns = max(self.spread_ns, int(difference[start:stop].max()) - least)
            start = stop
        return self._risen(np.minimum(mapped, arrivals_ns))

    def _end_of_run(self, difference: Int64Array, start: int) -> int:
        """Up to where the adapter's clock did not step; forgets the old offset where it did at `start`.

        A delay is no step back, however long: later frames arrive with the old difference again.
        """
        rest = difference[start:]
        if not self._least:
            return len(difference)
        known = self._least[0][1]
        if int(rest.min()) >= known - STEP_NS and int(rest.max()) <= known + STEP_NS:
            return len(difference)
        best_after = np.minimum.accumulate(rest[::-1])[::-1]
        stepped = (rest < known - STEP_NS) | (best_after > known + STEP_NS)
        if stepped[0]:
            self._least.clear()
            return len(difference)
        return start + int(np.argmax(stepped)) if stepped.any() else len(difference)

    def _learn(self, arrivals_ns: Int64Array, difference: Int64Array) -> int:
        """The least difference, newest ones included."""
        place = int(np.argmin(difference))
        arrival, least = int(arrivals_ns[place]), int(difference[place])
        while self._least and self._least[-1][1] >= least:
            self._least.pop()
        self._least.append((arrival, least))
        while self._least[0][0] < arrival - WINDOW_NS:
            self._least.popleft()
        return self._least[0][1]


class WallStamps(_Rising):
    """Stamps of the system's own clock, as the kernel gives them: exact, whatever the delay."""

    def __init__(self, clock: Clock) -> None:
        super().__init__()
        self._clock = clock
        self._ahead_ns = clock.wall_ahead_ns()

    def map(self, stamps_ns: Int64Array, arrivals_ns: Int64Array) -> Int64Array:
        if not len(stamps_ns):
            return stamps_ns
        before, self._ahead_ns = self._ahead_ns, self._clock.wall_ahead_ns()
        mapped = stamps_ns - self._ahead_ns
        if abs(before - self._ahead_ns) > WALL_STEP_NS:
            earlier = stamps_ns - before
            is_earlier = _is_near(earlier, arrivals_ns) & (~_is_near(mapped, arrivals_ns) | (earlier > mapped))
            mapped = np.where(is_earlier, earlier, mapped)
        mapped = np.where(_is_near(mapped, arrivals_ns), mapped, arrivals_ns)
        self.spread_ns = int((arrivals_ns - mapped).max())
        return self._risen(np.minimum(mapped, arrivals_ns))


def _is_near(times_ns: Int64Array, arrivals_ns: Int64Array) -> BoolArray:
    delay = arrivals_ns - times_ns
    return (delay >= -WALL_STEP_NS) & (delay <= STEP_NS)


class ArrivalStamps(_Rising):
    """For drivers that stamp a frame only when it is read: the arrival is as good."""

    def map(self, stamps_ns: Int64Array, arrivals_ns: Int64Array) -> Int64Array:
        return self._risen(arrivals_ns) if len(stamps_ns) else stamps_ns
