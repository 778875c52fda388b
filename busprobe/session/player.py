"""Moves the instant that a replay shows: play, seek, step to frames and marks."""

from __future__ import annotations

import time
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from busprobe.engine.history import History
from busprobe.frames import Int64Array
from busprobe.results import CheckResult, Logged
from busprobe.session.scene import SPEEDS
from busprobe.session.snapshot import Mark
from busprobe.session.stores import FrameStore
from busprobe.timeline import NO_TIMES


class ReplayPlayer:
    """The position runs with a clock while it plays; everything else sets it.

    span: start and end of what is loaded so far. marks: all marks but edges, in order of time.
    results: all checks and the trigger log so far.
    """

    def __init__(
        self,
        store: FrameStore,
        histories: Mapping[str, History],
        span: Callable[[], tuple[int, int]],
        marks: Callable[[], Sequence[Mark]],
        keep_marker: Callable[[int, str], str],
        results: Callable[[], tuple[Sequence[CheckResult], Sequence[Logged]]],
    ) -> None:
        self._store = store
        self._histories = histories
        self._span = span
        self._marks = marks
        self._keep_marker = keep_marker
        self._results = results
        self._at_ns: int | None = None
        self._since = 0.0
        self._playing = False
        self._speed = 1.0

    @property
    def position_ns(self) -> int:
        start, end = self._span()
        at = start if self._at_ns is None else self._at_ns
        if self._playing:
            at += round((time.monotonic() - self._since) * 1e9 * self._speed)
            at = min(end, at)
        return min(max(at, start), end)

    @property
    def is_playing(self) -> bool:
        return self._playing and self.position_ns < self._span()[1]

    @property
    def speed(self) -> float:
        return self._speed

    @property
    def marks(self) -> Sequence[Mark]:
        return self._marks()

    @property
    def checks(self) -> Sequence[CheckResult]:
        return self._results()[0]

    @property
    def triggers(self) -> Sequence[Logged]:
        return self._results()[1]

    def edges(self, signal: str) -> Int64Array:
        if signal not in self._histories:
            return NO_TIMES
        past = self._histories[signal].past
        return past.t_ns[1:][np.diff(past.edges) > 0]

    def play(self) -> None:
        start, end = self._span()
        at = self.position_ns
        self._set(start if at >= end else at)
        self._playing = True

    def pause(self) -> None:
        self._set(self.position_ns)
        self._playing = False

    def set_speed(self, speed: float) -> None:
        self._set(self.position_ns)
        self._speed = min(max(speed, SPEEDS[0]), SPEEDS[-1])

    def seek(self, t_ns: int) -> None:
        self._set(t_ns)

    def step_frame(self, direction: int) -> None:
        self.pause()
        found = self._store.next_time(self.position_ns, direction)
        if found is not None:
            self._set(found)

    def step_mark(self, direction: int, kind: str, signal: str | None = None) -> Mark | None:
        self.pause()
        at = self.position_ns
        found = self._edge(at, direction, signal) if kind == "edge" else self._mark(at, direction, kind)
        if found is not None:
            self._set(found.t_ns)
        return found

    def add_marker(self, note: str) -> str:
        return self._keep_marker(self.position_ns, note)

    def _set(self, t_ns: int) -> None:
        """Go to a time; what has played to the end stays paused there."""
        start, end = self._span()
        self._playing = self.is_playing
        self._at_ns = min(max(t_ns, start), end)
        self._since = time.monotonic()

    def _mark(self, at: int, direction: int, kind: str) -> Mark | None:
        marks = [m for m in self._marks() if kind in ("any", m.kind)]
        times = [m.t_ns for m in marks]
        place = bisect_right(times, at) if direction > 0 else bisect_left(times, at) - 1
        return marks[place] if 0 <= place < len(marks) else None

    def _edge(self, at: int, direction: int, signal: str | None) -> Mark | None:
        """The next or last change from known to known of a signal."""
        if signal is None or signal not in self._histories:
            return None
        past = self._histories[signal].past
        here = past.index_at(at)
        if direction > 0:
            place = int(np.searchsorted(past.edges, past.edges[here], "right"))
            found = place < len(past.t_ns)
        else:
            before = max(int(np.searchsorted(past.t_ns, at)) - 1, 0)
            place = int(np.searchsorted(past.edges, past.edges[before]))
            found = past.edges[before] > 0
        return Mark(int(past.t_ns[place]), "edge", signal) if found else None
