"""How far a recording is complete after each of its windows.

Rows stand in the order of arrival, so two channels overlap and stamps may step back:

    window      0        1        2
    t       10 .. 20  18 .. 30  29 .. 40
    complete    18       29       final       the least time that is still to come

A step back of more than 1 s within one channel starts a new segment; what comes after it
does not hold back what came before.
"""

from __future__ import annotations

import numpy as np

from busprobe.frames import BoolArray, Int64Array
from busprobe.timeline import FOREVER

STEP_NS = 1_000_000_000
"""A step back longer than this starts a new segment."""


def complete_after(
    count: int, window: Int64Array, source: Int64Array, low: Int64Array, last: Int64Array, final_ns: int
) -> Int64Array:
    """(count,) times: no later row of the same segment lies before it. Late rows are not given.

    window, source, low, last: one entry for each window and channel in it, windows rising,
    with the least and the last time. A bound may be lower than need be, never higher.
    """
    demand = np.full(count, FOREVER, np.int64)
    starts_segment = np.zeros(count, np.bool_)
    newest: dict[int, int] = {}
    for w, s, least, end in zip(window.tolist(), source.tolist(), low.tolist(), last.tolist(), strict=True):
        # Rows that are no step back are at most this old.
        oldest = newest[s] - STEP_NS if s in newest else least
        starts_segment[w] |= least < oldest
        demand[w] = min(demand[w], max(least, oldest))
        newest[s] = end
    return _least_to_come(demand, starts_segment, final_ns)


def _least_to_come(demand: Int64Array, starts_segment: BoolArray, final_ns: int) -> Int64Array:
    """(n,) for each window the least `demand` of those after it, up to the next segment."""
    out = np.empty(len(demand), np.int64)
    ahead = final_ns
    for w in range(len(demand) - 1, -1, -1):
        out[w] = ahead
        ahead = int(demand[w]) if starts_segment[w] else min(ahead, int(demand[w]))
    return out
