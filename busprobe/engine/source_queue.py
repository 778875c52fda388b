"""What one source has given and the engine has not evaluated yet."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from busprobe.frames import LATE, FrameBatch, InputBatch, Int64Array, SourceState
from busprobe.timeline import NEVER


@dataclass
class SourceQueue:
    """What one source has given and the run has not taken yet."""

    frames: list[FrameBatch] = field(default_factory=list)
    polls: list[InputBatch] = field(default_factory=list)
    states: list[SourceState] = field(default_factory=list)
    newest_ns: dict[str, int] = field(default_factory=dict)
    """By clock: newest stamp so far; a later record with an older one counts at this time."""
    complete_to_ns: int | None = None
    end_ns: int | None = None
    """How far it goes, by what it says: a state alone makes nothing longer."""
    late: int = 0
    is_up: bool = True
    """Whether evaluation waits for it."""
    stale_ns: int = NEVER
    """What was said of it before the newest step back went up to this time."""

    def reached(self, complete_to_ns: int | None) -> int | None:
        """How far it is complete, by what its batch says; after a step back at first by its stamps alone."""
        if complete_to_ns is None or complete_to_ns > self.stale_ns:
            return complete_to_ns
        return min(complete_to_ns, max(self.newest_ns.values())) if self.newest_ns else None

    def begin_segment(self) -> None:
        """Stamps have stepped back: forget how far it was. A source of states alone has none."""
        if self.newest_ns:
            self.stale_ns = max(self.stale_ns, self.complete_to_ns or NEVER, *self.newest_ns.values())
            self.complete_to_ns = self.end_ns = None
            self.newest_ns.clear()

    def in_time(self, batch: FrameBatch | InputBatch) -> FrameBatch | InputBatch:
        """The batch without the rows that were flagged late when they came; those are only counted."""
        late = (batch.flags & LATE) != 0 if isinstance(batch, FrameBatch) else batch.late
        if late is None or not late.any():
            return batch
        self.late += int(late.sum())
        return batch.take(~late)


def clock_groups(batch: FrameBatch | InputBatch, *, by_channel: bool) -> list[tuple[str, Int64Array]]:
    """What has stamps of one clock: (name, rows)."""
    if not by_channel or isinstance(batch, InputBatch) or len(batch.channels) == 1:
        name = batch.channels[0] if by_channel and isinstance(batch, FrameBatch) else ""
        return [(name, np.arange(len(batch)))]
    found = [(name, np.flatnonzero(batch.channel == i)) for i, name in enumerate(batch.channels)]
    return [(name, rows) for name, rows in found if len(rows)]


def flag_late(batch: FrameBatch | InputBatch, upto_ns: int) -> FrameBatch | InputBatch:
    """The batch with the rows before a time flagged late."""
    if not len(batch) or int(batch.t_ns.min()) >= upto_ns:
        return batch
    late = batch.t_ns < upto_ns
    if isinstance(batch, FrameBatch):
        return replace(batch, flags=batch.flags | np.where(late, np.uint8(LATE), np.uint8(0)))
    return replace(batch, late=late if batch.late is None else batch.late | late)
