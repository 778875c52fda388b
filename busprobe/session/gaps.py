"""Times of which logic must not say anything, because of what a source gave or could not give.

good good LATE LATE LATE good good       LATE: flagged by the source itself, nobody knows when it came
         |              |
        down            up               also over several batches
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from busprobe.frames import LATE, Condition, FrameBatch, InputBatch, SourceState

HELD_UP = "busprobe was held up; when frames came is not known"
NOT_TAKEN_IN = "more came than logic could take in"


@dataclass
class Unsure:
    """The rows of one source that nobody can time, batch by batch."""

    down_to_ns: int | None = None
    """It has been said to be down for them, up to this time so far; None: it is up."""

    def states(self, source: str, batch: FrameBatch | InputBatch, from_ns: int) -> list[SourceState]:
        """What to say of the batch that comes now. from_ns: the source was whole before this time."""
        late = (batch.flags & LATE) != 0 if isinstance(batch, FrameBatch) else batch.late
        rows = np.flatnonzero(late) if late is not None else np.empty(0, np.int64)
        told: list[SourceState] = []
        if self.down_to_ns is not None and not (len(rows) and rows[0] == 0):
            told.append(SourceState(self.down_to_ns, source, Condition.UP))
            self.down_to_ns = None
        if not len(rows):
            return told
        if self.down_to_ns is None:
            good = batch.t_ns[: rows[0]]
            begin_ns = max(from_ns, int(good[-1]) + 1 if len(good) else from_ns)
            told.append(SourceState(begin_ns, source, Condition.DOWN, HELD_UP))
        self.down_to_ns = int(batch.t_ns[rows[-1]]) + 1
        if rows[-1] < len(batch) - 1:
            told.append(SourceState(self.down_to_ns, source, Condition.UP))
            self.down_to_ns = None
        return told


def lost_states(source: str, from_ns: int, upto_ns: int | None) -> list[SourceState]:
    """What to say of batches that were dropped. from_ns: the source was whole before; upto_ns: what they told."""
    return [
        SourceState(from_ns, source, Condition.DOWN, NOT_TAKEN_IN),
        SourceState(max(upto_ns or from_ns, from_ns + 1), source, Condition.UP),
    ]
