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

from busprobe.frames import Int64Array

STEP_NS = 1_000_000_000
"""An adapter's stamps that jump by more than this against their arrival are mapped anew."""
WINDOW_NS = 30_000_000_000
"""The least delay is sought over this long: two oscillators drift apart by about 1 ms in it."""
HELD_NS = 20_000_000
"""Two looks at a driver lie less than this apart, unless the program was held up between them."""
AT_ONCE_NS = 100_000
"""Two clocks are read at once if no more than this passes meanwhile; else another thread may have run."""
TRIES = 50


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
        self._offset_ns = self._wall_less_steady_ns()

    def now_ns(self) -> int:
        return self._steady_ns() + self._offset_ns

    def wall_ahead_ns(self) -> int:
        """By how much the system's clock is ahead of event time now: 0 until somebody sets it."""
        return self._wall_less_steady_ns() - self._offset_ns

    def _wall_less_steady_ns(self) -> int:
        """The system's clock minus the steady one; read again where something came between the two."""
        least_ns, difference_ns = sys.maxsize, 0
        for _ in range(TRIES):
            before_ns = self._steady_ns()
            wall_ns = time.time_ns()
            took_ns = self._steady_ns() - before_ns
            if took_ns < least_ns:
                least_ns, difference_ns = took_ns, wall_ns - before_ns - took_ns // 2
            if least_ns <= AT_ONCE_NS:
                break
        return difference_ns


class Stamps(Protocol):
    """Turns the stamps that a driver gives into event time."""

    spread_ns: int
    """Greatest delay over the least one in the newest batch: how late frames come."""
    doubt_ns: Int64Array
    """(n,) by how much each time of the newest batch may be wrong besides the uncertainty of its driver."""

    def map(self, stamps_ns: Int64Array, arrivals_ns: Int64Array, after_ns: Int64Array | None = None) -> Int64Array:
        """(n,) event time of each frame: never after its arrival, never before the last one given.

        after_ns: (n,) event time of the last look before which found that nothing had come, for each
        frame: it came between this and its arrival. None: looks were never far apart.
        """
        ...

    def not_before(self, t_ns: int) -> None:
        """Frames still to come count at this time or later: the source was said to be complete to it."""
        ...


class Rising:
    """Keeps times from running backwards."""

    def __init__(self) -> None:
        self._floor_ns = 0
        self.spread_ns = 0
        self.doubt_ns = np.zeros(0, np.int64)

    def not_before(self, t_ns: int) -> None:
        self._floor_ns = max(self._floor_ns, t_ns)

    def _risen(self, times_ns: Int64Array, doubt_ns: Int64Array) -> Int64Array:
        """Times that do not run backwards; one that has to be lifted is in doubt by as much."""
        risen: Int64Array = np.maximum(np.maximum.accumulate(times_ns), self._floor_ns)
        self._floor_ns = int(risen[-1])
        self.doubt_ns = np.maximum(doubt_ns, risen - times_ns)
        return risen

    def _nothing(self, stamps_ns: Int64Array) -> Int64Array:
        self.doubt_ns = np.zeros(0, np.int64)
        return stamps_ns


class StampMap(Rising):
    """Stamps of an adapter's own clock, which may start at 0 or be set back.

    A frame arrives some delay after the adapter stamped it; the least difference between
    arrival and stamp is the one with hardly any delay, so it is taken as the offset between
    the two clocks, over the newest 30 s.
    """

    def __init__(self) -> None:
        super().__init__()
        self._least: deque[tuple[int, int]] = deque()
        """(arrival, difference), differences rising: the first is the least of the window."""

    def map(self, stamps_ns: Int64Array, arrivals_ns: Int64Array, after_ns: Int64Array | None = None) -> Int64Array:
        if not len(stamps_ns):
            return self._nothing(stamps_ns)
        difference = arrivals_ns - stamps_ns
        waited = np.zeros(len(stamps_ns), np.int64) if after_ns is None else arrivals_ns - after_ns
        self.spread_ns = 0
        mapped = np.empty(len(stamps_ns), np.int64)
        doubt = np.zeros(len(stamps_ns), np.int64)
        start = 0
        while start < len(stamps_ns):
            stop, is_sure = self._end_of_run(difference, waited, start)
            rows = slice(start, stop)
            if not is_sure:
                mapped[rows], doubt[rows] = stamps_ns[rows] + self._least[0][1], waited[rows]
            else:
                best = start + int(np.argmin(difference[rows]))
                if not self._least and waited[best] > HELD_NS:
                    doubt[rows] = waited[best]
                least = self._learn(arrivals_ns[rows], difference[rows], has_waited=bool(waited[best] > HELD_NS))
                mapped[rows] = stamps_ns[rows] + least
                self.spread_ns = max(self.spread_ns, int(difference[rows].max()) - least)
            start = stop
        risen = self._risen(np.minimum(mapped, arrivals_ns), doubt)
        self.doubt_ns = doubt  # what an adapter keeps for long is stamped late instead of holding logic back
        return risen

    def _end_of_run(self, difference: Int64Array, waited: Int64Array, start: int) -> tuple[int, bool]:
        """Up to where the adapter's clock did not step, and whether that is sure; forgets the old offset
        where it did at `start`.

        A delay is no step back, however long: later frames arrive with the old difference again.
        Where none did yet, it is a step only if the frame cannot have waited so long.
        """
        rest = difference[start:]
        if not self._least:
            return len(difference), True
        known = self._least[0][1]
        if int(rest.min()) >= known - STEP_NS and int(rest.max()) <= known + STEP_NS:
            return len(difference), True
        best_after = np.minimum.accumulate(rest[::-1])[::-1]
        is_late = best_after > known + STEP_NS
        stepped = (rest < known - STEP_NS) | (is_late & (rest - known > waited[start:] + STEP_NS))
        if stepped[0]:
            self._least.clear()
            return len(difference), True
        other = stepped | (is_late != is_late[0])
        return start + int(np.argmax(other)) if other.any() else len(difference), not is_late[0]

    def _learn(self, arrivals_ns: Int64Array, difference: Int64Array, *, has_waited: bool) -> int:
        """The least difference, newest ones included. has_waited: they may have been late, all of them."""
        place = int(np.argmin(difference))
        arrival, least = int(arrivals_ns[place]), int(difference[place])
        while self._least and self._least[-1][1] >= least:
            self._least.pop()
        if not self._least or not has_waited:
            self._least.append((arrival, least))
        while len(self._least) > 1 and self._least[0][0] < arrival - WINDOW_NS:
            self._least.popleft()
        return self._least[0][1]


class ArrivalStamps(Rising):
    """For drivers that stamp a frame only when it is read: the arrival is as good."""

    def map(self, stamps_ns: Int64Array, arrivals_ns: Int64Array, after_ns: Int64Array | None = None) -> Int64Array:
        if not len(stamps_ns):
            return self._nothing(stamps_ns)
        doubt = np.zeros(len(stamps_ns), np.int64) if after_ns is None else arrivals_ns - after_ns
        return self._risen(arrivals_ns, doubt)
