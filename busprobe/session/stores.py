"""The frames of a recording at any time of it, for looking back."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable
from dataclasses import replace
from operator import itemgetter
from typing import Protocol

import numpy as np

from busprobe.analysis.frame_tally import CHANGED_NS, FrameTally
from busprobe.errors import BusprobeError
from busprobe.frames import ERROR, LATE, FrameBatch, empty_frames, join_frames
from busprobe.recording.read import Recording
from busprobe.timeline import NEVER

CHECKPOINT_ROWS = 20_000
"""The tally of all identifiers is kept after every so many frames, at first."""
MOST_KEPT = 512
"""So many tallies at most: of more every other one is dropped, and twice as many frames lie between later ones."""


class FrameStore(Protocol):
    """Frames by time; those that came late, and error frames in `next_time`, are left out."""

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

    def add(self, batch: FrameBatch) -> FrameBatch:
        """More frames. Returns what is kept: no error frames; a stamp that steps back counts at the newest so far."""
        batch = batch.take((batch.flags & ERROR) == 0)
        if not len(batch):
            return batch
        t_ns = np.maximum(np.maximum.accumulate(batch.t_ns), self._newest)
        self._newest = int(t_ns[-1])
        kept = replace(batch, t_ns=t_ns, complete_to_ns=None)
        self._batches.append(kept)
        self._first.append(int(t_ns[0]))
        return kept

    def between(self, after_ns: int, upto_ns: int) -> FrameBatch:
        start = max(bisect_right(self._first, after_ns) - 1, 0)
        parts = []
        for batch in self._batches[start:]:
            low, high = np.searchsorted(batch.t_ns, (after_ns, upto_ns), "right").tolist()
            if low < high:
                parts.append(batch.cut(low, high))
            elif high == 0:
                break
        return join_frames(parts)

    def next_time(self, t_ns: int, direction: int) -> int | None:
        if direction > 0:
            # The batch before may go on past the time.
            place = max(bisect_right(self._first, t_ns) - 1, 0)
            for batch in self._batches[place : place + 2]:
                if int(batch.t_ns[-1]) > t_ns:
                    return int(batch.t_ns[np.searchsorted(batch.t_ns, t_ns, "right")])
            return None
        place = bisect_left(self._first, t_ns) - 1
        if place < 0:
            return None
        batch = self._batches[place]
        return int(batch.t_ns[np.searchsorted(batch.t_ns, t_ns) - 1])


class OwnStore:
    """Frames of a recording of busprobe's own, fetched when asked for.

    say: told why nothing can be fetched, where the recording is damaged or gone.
    """

    def __init__(self, recording: Recording, say: Callable[[str], None]) -> None:
        self._recording = recording
        self._say = say

    def between(self, after_ns: int, upto_ns: int) -> FrameBatch:
        try:
            return self._recording.frames_between(after_ns, upto_ns)
        except BusprobeError as error:
            self._say(str(error))
            return empty_frames()

    def next_time(self, t_ns: int, direction: int) -> int | None:
        try:
            return self._recording.frame_time_next_to(t_ns, direction)
        except BusprobeError as error:
            self._say(str(error))
            return None


class TallyIndex:
    """The tally at any time: the nearest kept one before it, and the frames since.

    `add` from one thread, `at` from one other.
    """

    def __init__(self, store: FrameStore) -> None:
        self._store = store
        self._kept: list[tuple[int, FrameTally]] = [(NEVER, FrameTally())]
        self._tally = FrameTally()
        self._step, self._since = CHECKPOINT_ROWS, 0
        """Frames from one kept tally to the next, and since the newest."""
        self._waiting: list[FrameBatch] = []
        """Frames that others, still to come, may stand before."""
        self._last: tuple[int, FrameTally] | None = None

    def add(self, batch: FrameBatch) -> None:
        """Frames in the order of the recording, in which channels may lie some way apart in time."""
        self._waiting.append(batch.take((batch.flags & LATE) == 0))
        complete = batch.complete_to
        if complete is None or sum(map(len, self._waiting)) < CHECKPOINT_ROWS:
            return
        frames = join_frames(self._waiting).in_time_order()
        ready = int(np.searchsorted(frames.t_ns, complete))
        self._waiting = [frames.cut(ready, len(frames))]
        start = 0
        while start < ready:
            # Frames of one time stay together: a kept tally has all up to and with its time.
            last = int(frames.t_ns[min(start + CHECKPOINT_ROWS, ready) - 1])
            stop = int(np.searchsorted(frames.t_ns, last, "right"))
            self._tally.add(frames.cut(start, stop))
            self._since += stop - start
            if self._since >= self._step:
                self._keep(last)
            start = stop

    def _keep(self, upto_ns: int) -> None:
        """Keep the tally of all frames up to and with a time."""
        self._since = 0
        self._kept.append((max(upto_ns, self._kept[-1][0]), self._tally.copy()))
        if len(self._kept) > MOST_KEPT:
            # Another list, as the other thread may be looking at this one; the empty tally stays its first.
            self._kept, self._step = self._kept[::2], 2 * self._step

    def at(self, t_ns: int) -> FrameTally:
        """The tally of all frames up to and with a time; do not change it."""
        if self._last is not None and self._last[0] == t_ns:
            return self._last[1]
        kept = self._kept
        start, base = kept[bisect_right(kept, t_ns, key=itemgetter(0)) - 1]
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
