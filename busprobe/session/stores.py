"""The frames of a recording at any time of it, for looking back."""

from __future__ import annotations

from dataclasses import replace
from typing import Protocol

import numpy as np

from busprobe.analysis.frame_tally import CHANGED_NS, FrameTally
from busprobe.frames import FrameBatch, empty_frames, join_frames
from busprobe.recording.read import Recording
from busprobe.timeline import NEVER

CHECKPOINT_ROWS = 20_000
"""The tally of all identifiers is kept after every so many frames."""


class FrameStore(Protocol):
    """Frames by time."""

    def between(self, after_ns: int, upto_ns: int) -> FrameBatch:
        """Frames with after < t <= upto, in order of time."""
        ...

    def next_time(self, t_ns: int, direction: int) -> int | None:
        """Time of the first frame after `t_ns` (1) or the last one before it (-1)."""
        ...


class MemoryStore:
    """Frames of a file that can only be read from its start: kept as arrays."""

    def __init__(self) -> None:
        self._batches: list[FrameBatch] = []
        self._first: list[int] = []
        self._newest = NEVER

    def add(self, batch: FrameBatch) -> None:
        """More frames; a stamp that steps back counts at the newest time so far."""
        if not len(batch):
            return
        t_ns = np.maximum(np.maximum.accumulate(batch.t_ns), self._newest)
        self._newest = int(t_ns[-1])
        self._batches.append(replace(batch, t_ns=t_ns))
        self._first.append(int(t_ns[0]))

    def between(self, after_ns: int, upto_ns: int) -> FrameBatch:
        start = max(int(np.searchsorted(self._first, after_ns, "right")) - 1, 0)
        parts = []
        for batch in self._batches[start:]:
            low, high = np.searchsorted(batch.t_ns, (after_ns, upto_ns), "right").tolist()
            if low < high:
                parts.append(batch.cut(low, high))
            elif high == 0:
                break
        return join_frames(parts) if parts else empty_frames()

    def next_time(self, t_ns: int, direction: int) -> int | None:
        ordered = self._batches if direction > 0 else self._batches[::-1]
        for batch in ordered:
            if direction > 0 and int(batch.t_ns[-1]) > t_ns:
                return int(batch.t_ns[np.searchsorted(batch.t_ns, t_ns, "right")])
            if direction < 0 and int(batch.t_ns[0]) < t_ns:
                return int(batch.t_ns[np.searchsorted(batch.t_ns, t_ns) - 1])
        return None


class OwnStore:
    """Frames of a recording of busprobe's own, fetched when asked for."""

    def __init__(self, recording: Recording) -> None:
        self._recording = recording

    def between(self, after_ns: int, upto_ns: int) -> FrameBatch:
        return self._recording.frames_between(after_ns, upto_ns)

    def next_time(self, t_ns: int, direction: int) -> int | None:
        return self._recording.frame_time_next_to(t_ns, direction)


class TallyIndex:
    """The tally at any time: the nearest kept one before it, and the frames since."""

    def __init__(self, store: FrameStore) -> None:
        self._store = store
        self._kept: list[tuple[int, FrameTally]] = [(NEVER, FrameTally())]
        self._tally = FrameTally()
        self._since = 0
        self._last: tuple[int, FrameTally] | None = None

    def add(self, batch: FrameBatch) -> None:
        """Frames in the order of the recording."""
        for start in range(0, len(batch), CHECKPOINT_ROWS):
            part = batch.cut(start, min(start + CHECKPOINT_ROWS, len(batch)))
            self._tally.add(part)
            self._since += len(part)
            if self._since >= CHECKPOINT_ROWS and len(part):
                self._since = 0
                self._kept.append((int(part.t_ns.max()), self._tally.copy()))

    def at(self, t_ns: int) -> FrameTally:
        """The tally of all frames up to and with a time; do not change it."""
        if self._last is not None and self._last[0] == t_ns:
            return self._last[1]
        kept = self._kept
        low, high = 0, len(kept)
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if kept[middle][0] <= t_ns else (low, middle)
        start, base = kept[low]
        if self._last is not None and start <= self._last[0] < t_ns:
            start, base = self._last
        tally = base.copy()
        frames = self._store.between(start, t_ns)
        recent = int(np.searchsorted(frames.t_ns, t_ns - CHANGED_NS))
        tally.add(frames.cut(0, recent))
        tally.turn(t_ns - CHANGED_NS)
        tally.add(frames.cut(recent, len(frames)))
        self._last = (t_ns, tally)
        return tally
