"""A clock that a test moves, and the times that go with it."""

from __future__ import annotations

import numpy as np

from busprobe.sources.clock import Clock

MS = 1_000_000
S = 1_000_000_000
HOUR = 3600 * S
EPOCH = 1_800_000_000 * S


def ns(*values: int) -> np.ndarray:
    return np.array(values, np.int64)


class SetClock(Clock):
    """A clock whose two parts the test moves."""

    def __init__(self) -> None:
        self.event_ns = EPOCH
        self.ahead_ns = 0

    def now_ns(self) -> int:
        return self.event_ns

    def wall_ahead_ns(self) -> int:
        return self.ahead_ns
