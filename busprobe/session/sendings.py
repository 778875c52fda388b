"""How identifiers are sent, as far as can be told: in a cycle, or when something changes."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from busprobe.analysis.intervals import Sending
from busprobe.decode.freshness import LEARNING, learnt_age
from busprobe.frames import Int64Array


def sending_of(count: int, early: Int64Array, cycle_ns: int | None) -> Sending:
    """Says of an identifier what `decode.freshness` says of its signals.

    By the database's cycle time, else by the first intervals. count: frames so far. early: (LEARNING + 1,)
    times of its first frames.
    """
    if cycle_ns:
        return Sending.CYCLIC
    if count <= LEARNING:
        return Sending.SINGLE if count == 1 else Sending.TOO_FEW
    return _learnt(early.tobytes())


@lru_cache(maxsize=4096)
def _learnt(early: bytes) -> Sending:
    return Sending.ON_CHANGE if learnt_age(np.frombuffer(early, np.int64)) is None else Sending.CYCLIC
