"""Timelines: how one signal or condition goes over time, as change points.

    t_ns     10      40    70          120
    code      1       0     2           1        1 true, 0 false, 2 unknown
             |‾‾‾‾‾‾‾|_____|. . . . . . |‾‾‾‾    holds from its point up to the next

Times are whole nanoseconds; an *event* is a condition that is true for exactly 1 ns.
All points of one time are one instant; what holds there is what came last in the order.
Before its first point a timeline is ASLEEP: nothing was seen of it yet.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, field

import numpy as np

from busprobe.frames import FloatArray, Int64Array, UInt8Array

FALSE, TRUE, UNKNOWN, ASLEEP = 0, 1, 2, 3
"""Codes of a condition. A quantity is TRUE where its value is known.

ASLEEP is unknown too, but excused: the bus sleeps, or nothing was to be expected yet.
"""

NEVER = np.iinfo(np.int64).min // 4
"""Before any time that a recording can hold."""
FOREVER = np.iinfo(np.int64).max // 4
"""After any time that a recording can hold."""

NO_TIMES: Int64Array = np.empty(0, np.int64)
_NO_CODES: UInt8Array = np.empty(0, np.uint8)


@dataclass(slots=True)
class Changes:
    """Change points of a timeline between two times, the later one being `upto_ns`; never altered.

    Thousands are made in a second: a frozen one would take three times as long to make.
    """

    t_ns: Int64Array
    """(n,) strictly rising, all before `upto_ns`."""
    code: UInt8Array
    """(n,) what holds from each point on."""
    value: FloatArray | None
    """(n,) value of a quantity, NaN where unknown; None for a condition."""
    upto_ns: int
    """Everything before this time is said."""
    settled: Int64Array | None = None
    """(n,) what holds at t, from this point on, can be told at max(t, settled); None: at t."""
    quiet: Int64Array = field(default_factory=lambda: NO_TIMES)
    """Times at which a change is no edge: another source took over."""

    def __len__(self) -> int:
        return len(self.t_ns)


def no_changes(upto_ns: int, *, quantity: bool = False) -> Changes:
    return Changes(NO_TIMES, _NO_CODES, np.empty(0) if quantity else None, upto_ns)


def from_points(points: list[tuple[int, int, int]], upto_ns: int) -> Changes:
    """Changes of a condition from (t_ns, code, settled) in rising order of time."""
    if not points:
        return no_changes(upto_ns)
    t, code, settled = zip(*points, strict=True)
    barrier = np.array(settled, np.int64) if any(s > at for at, s in zip(t, settled, strict=True)) else None
    return Changes(np.array(t, np.int64), np.array(code, np.uint8), None, upto_ns, barrier)


class Timeline:
    """A timeline that grows at its end and forgets what nobody will ask for again.

    Places are found by `bisect`: numpy's own search gives up the interpreter lock for every
    call, which costs far more than it saves while other threads read buses.
    """

    def __init__(self, *, quantity: bool = False) -> None:
        self.is_quantity = quantity
        self.t_ns: Int64Array = np.array([NEVER], np.int64)
        self.code: UInt8Array = np.array([ASLEEP], np.uint8)
        self.value: FloatArray | None = np.array([np.nan]) if quantity else None
        self.settled: Int64Array | None = None
        self.quiet: Int64Array = NO_TIMES
        self.upto_ns: int = NEVER

    def extend(self, changes: Changes) -> None:
        """Append changes; a first point at the very start replaces what stood there."""
        self.upto_ns = changes.upto_ns
        if len(changes.quiet):
            self.quiet = np.concatenate([self.quiet, changes.quiet])
        if not len(changes):
            return
        keep = len(self.t_ns) - int(self.t_ns[-1] == changes.t_ns[0])
        if self.settled is not None or changes.settled is not None:
            old = self.settled if self.settled is not None else np.full(len(self.t_ns), NEVER, np.int64)
            new = changes.settled if changes.settled is not None else np.full(len(changes), NEVER, np.int64)
            self.settled = np.concatenate([old[:keep], new])
        self.t_ns = np.concatenate([self.t_ns[:keep], changes.t_ns])
        self.code = np.concatenate([self.code[:keep], changes.code])
        if self.value is not None:
            assert changes.value is not None
            self.value = np.concatenate([self.value[:keep], changes.value])

    def between(self, start_ns: int, end_ns: int) -> Changes:
        """The changes with start <= t < end."""
        low = bisect_left(self.t_ns, start_ns)
        high = bisect_left(self.t_ns, end_ns, low)
        quiet = self.quiet
        if len(quiet):
            quiet = quiet[(quiet >= start_ns) & (quiet < end_ns)]
        return Changes(
            self.t_ns[low:high],
            self.code[low:high],
            None if self.value is None else self.value[low:high],
            end_ns,
            None if self.settled is None else self.settled[low:high],
            quiet,
        )

    def index_at(self, t_ns: int) -> int:
        """Index of the point that holds at a time."""
        return max(bisect_right(self.t_ns, t_ns) - 1, 0)

    def code_at(self, t_ns: int) -> int:
        return int(self.code[self.index_at(t_ns)])

    def value_at(self, t_ns: int) -> float:
        """Value of a quantity, the code of a condition as a number."""
        index = self.index_at(t_ns)
        return float(self.code[index] if self.value is None else self.value[index])

    def settled_at(self, t_ns: int) -> int:
        """When the value at a time can be told: that time, or later where it takes a look ahead."""
        if self.settled is None:
            return t_ns
        return max(t_ns, int(self.settled[self.index_at(t_ns)]))

    def changed_at(self, t_ns: int) -> bool:
        """Whether there is a change point at exactly this time."""
        return int(self.t_ns[self.index_at(t_ns)]) == t_ns

    def forget(self, before_ns: int) -> None:
        """Drop the points before a time, but for the one that holds there."""
        index = self.index_at(before_ns)
        if index == 0:
            return
        self.t_ns, self.code = self.t_ns[index:].copy(), self.code[index:].copy()
        if self.value is not None:
            self.value = self.value[index:].copy()
        if self.settled is not None:
            self.settled = self.settled[index:].copy()
            if not (self.settled > self.t_ns).any():
                self.settled = None
        if len(self.quiet):
            self.quiet = self.quiet[self.quiet >= before_ns]
