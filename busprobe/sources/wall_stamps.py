"""Stamps of the system's own clock, as the kernel gives them: exact, however long a frame then waited.

    after ───────── frame ──────────────── arrival        it came between two looks, and so it must be stamped
      |               |                       |
    the last look   stamp − (wall clock − event time)     the wall clock may have been set in between: then the
    that found                                            frames before some row are of the old time, the rest
    nothing                                               of the new one; where two rows would do, it is unsure

A frame whose stamp cannot be right counts when it arrived, and is in doubt by as much as it may have waited.
"""

from __future__ import annotations

import numpy as np

from busprobe.frames import BoolArray, Int64Array
from busprobe.sources.clock import HELD_NS, Clock, Rising

WALL_STEP_NS = 1_000_000
"""The system's clock stepped if it moved by more than this against event time within a batch."""
SLACK_NS = 1_000_000
"""A stamp may lie so far outside the two looks: the kernel stamps a frame before it can be read."""


class WallStamps(Rising):
    """Takes a stamp for what it says at any age, unless the stamps of this connection are of another clock."""

    def __init__(self, clock: Clock) -> None:
        super().__init__()
        self._clock = clock
        self._ahead_ns = clock.wall_ahead_ns()
        self._opened_ns = clock.now_ns()
        self._is_foreign: bool | None = None
        """Whether the stamps are those of another clock; None: not known yet."""

    def map(self, stamps_ns: Int64Array, arrivals_ns: Int64Array, after_ns: Int64Array | None = None) -> Int64Array:
        before_ns, self._ahead_ns = self._ahead_ns, self._clock.wall_ahead_ns()
        if not len(stamps_ns):
            return self._nothing(stamps_ns)
        if after_ns is None:
            after_ns = np.full(len(stamps_ns), max(self._floor_ns, self._opened_ns))
        step_ns = self._ahead_ns - before_ns
        mapped = stamps_ns - self._ahead_ns
        doubt = np.zeros(len(stamps_ns), np.int64)
        if abs(step_ns) > WALL_STEP_NS:
            mapped, doubt = _where_it_stepped(stamps_ns - before_ns, mapped, after_ns, arrivals_ns)
        fits = _fit(mapped, after_ns, arrivals_ns) & (stamps_ns != arrivals_ns)
        if abs(step_ns) <= WALL_STEP_NS:
            self._judge(fits, arrivals_ns - after_ns)
        fits &= not self._is_foreign
        mapped = np.where(fits, np.minimum(mapped, arrivals_ns), arrivals_ns)
        self.spread_ns = int((arrivals_ns - mapped).max())
        not_after = np.minimum.accumulate(mapped[::-1])[::-1]
        mapped = np.where(fits, mapped, not_after)  # it came before what was read after it
        return self._risen(mapped, np.where(fits, doubt, np.maximum(mapped - after_ns, 0)))

    def _judge(self, fits: BoolArray, waited_ns: Int64Array) -> None:
        """A clock of another is known by frames that did not wait: any stamp would do for one that waited long."""
        telling = fits[waited_ns <= HELD_NS]
        if len(telling):
            self._is_foreign = bool(np.mean(telling) < 0.5)
        elif self._is_foreign is None and not fits.any():
            self._is_foreign = True


def _fit(times_ns: Int64Array, after_ns: Int64Array, arrivals_ns: Int64Array) -> BoolArray:
    fits: BoolArray = (times_ns >= after_ns - SLACK_NS) & (times_ns <= arrivals_ns + SLACK_NS)
    return fits


def _where_it_stepped(
    earlier: Int64Array, later: Int64Array, after_ns: Int64Array, arrivals_ns: Int64Array
) -> tuple[Int64Array, Int64Array]:
    """Times of frames stamped before and after the wall clock was set, and by how much each may be wrong.

    earlier, later: (n,) event time of each if it was stamped before, or after. Where the clock may
    have been set at several rows, the times are the latest possible: frames seldom wait.
    """
    n = len(earlier)
    is_before, is_after = np.ones(n + 1, np.bool_), np.ones(n + 1, np.bool_)
    """At k: whether all rows before k can be of the old time, and all from k on of the new one."""
    rises = np.concatenate([[True], np.diff(earlier) >= -SLACK_NS])
    is_before[1:] = np.logical_and.accumulate(_fit(earlier, after_ns, arrivals_ns) & rises)
    fits = _fit(later, after_ns, arrivals_ns)
    is_after[:-1] = np.logical_and.accumulate((fits & np.append(rises[1:], True))[::-1])[::-1]
    joins = np.concatenate([[True], earlier[:-1] <= later[1:] + SLACK_NS, [True]])
    possible = np.flatnonzero(is_before & is_after & joins)
    if not len(possible):
        return arrivals_ns, arrivals_ns - after_ns
    at = possible[-1] if earlier[0] > later[0] else possible[0]
    row = np.arange(n)
    is_unsure = (row >= possible[0]) & (row < possible[-1])
    doubt = np.where(is_unsure, np.minimum(np.abs(earlier - later), arrivals_ns - after_ns), 0)
    return np.where(row < at, earlier, later), doubt
