"""Timelines: how one signal or condition goes over time, as change points.

    t_ns     10      40    70          120
    code      1       0     2           1        1 true, 0 false, 2 unknown
             |‾‾‾‾‾‾‾|_____|. . . . . . |‾‾‾‾    holds from its point up to the next

Times are whole nanoseconds: an *event* is a condition that is true for exactly 1 ns.
All points of one time are one instant; what holds there is what came last in the order.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from busprobe.frames import FloatArray, Int64Array, UInt8Array

FALSE, TRUE, UNKNOWN, ASLEEP = 0, 1, 2, 3
"""Codes of a condition. ASLEEP is unknown because the bus sleeps, which is no fault."""

NEVER = np.iinfo(np.int64).min // 4
"""Before any time that a recording can hold."""
FOREVER = np.iinfo(np.int64).max // 4
"""After any time that a recording can hold."""

NO_TIMES = np.empty(0, np.int64)
