"""When a channel is heard, and when it is asleep.

frames   x xx x x              xx x
silence       |<-- over 2 s -->|
asleep             |‾‾‾‾‾‾‾‾‾‾‾|          told 2 s after the last frame
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from busprobe.frames import ERROR, SENT, BoolArray, FrameBatch, Int64Array
from busprobe.obd_identifiers import is_answer, obd_rows
from busprobe.timeline import FOREVER, NEVER, NO_TIMES

SLEEP_NS = 2_000_000_000
"""A channel is asleep once nothing was heard on it for longer than this."""


@dataclass(frozen=True)
class Sleep:
    """Silence on a channel of more than 2 s."""

    last_ns: int
    """Time of the last frame before it."""
    wake_ns: int | None = None
    """Time of the first frame after it; None: not yet."""

    @property
    def told_ns(self) -> int:
        """From this time on it is sure."""
        return self.last_ns + SLEEP_NS + 1


class ChannelPulse:
    """When a channel was heard: finds its sleeps, and the frame next to any time.

    Times are those of all its frames, in order. `advance` takes the new ones. While its
    adapter is down a channel does not fall asleep.
    """

    def __init__(self) -> None:
        self.first_ns: int | None = None
        self.sleeps: list[Sleep] = []
        """Those that touch the stretch taken last."""
        self.upto_ns = NEVER
        self.is_down = False
        self._times: Int64Array = NO_TIMES
        """The frames taken last."""
        self._silent_from = NEVER
        """What silence counted from as they came: the frame before them, or the adapter coming up."""

    @property
    def is_asleep(self) -> bool:
        """Whether it was asleep at the end of the stretch taken last."""
        return bool(self.sleeps) and self.sleeps[-1].wake_ns is None

    def advance(self, times: Int64Array, upto_ns: int) -> list[Sleep]:
        """Take frames up to a time. Returns sleeps that became sure or ended."""
        if len(times) and self.first_ns is None:
            self.first_ns = int(times[0])
        self._silent_from = self.heard_before(FOREVER)
        self._times, self.upto_ns = times, upto_ns
        self.sleeps = [s for s in self.sleeps if s.wake_ns is None]
        news: list[Sleep] = []
        if self.is_down:
            return news
        if self._silent_from > NEVER:
            times = np.concatenate([[self._silent_from], times]).astype(np.int64)
        for i in np.flatnonzero(np.diff(times) > SLEEP_NS).tolist():
            self.sleeps = [s for s in self.sleeps if s.wake_ns is not None]
            news.append(Sleep(int(times[i]), int(times[i + 1])))
            self.sleeps.append(news[-1])
        if len(times) and not self.is_asleep and upto_ns > int(times[-1]) + SLEEP_NS:
            news.append(Sleep(int(times[-1])))
            self.sleeps.append(news[-1])
        return news

    def down(self) -> None:
        """The adapter is down: nothing can be heard, which is no sleep."""
        self.is_down = True
        self.sleeps = []

    def up(self, t_ns: int) -> None:
        """The adapter came back: silence counts from now."""
        self.is_down = False
        self.sleeps = []
        self._times, self._silent_from = NO_TIMES, t_ns

    def heard_before(self, t_ns: int) -> int:
        """Time of the last frame before `t_ns`, or from which silence counted; NEVER if none."""
        place = int(np.searchsorted(self._times, t_ns)) - 1
        return int(self._times[place]) if place >= 0 else self._silent_from

    def heard_from(self, t_ns: int) -> int | None:
        """Time of the first frame at or after `t_ns`; None: none so far."""
        place = int(np.searchsorted(self._times, t_ns))
        return int(self._times[place]) if place < len(self._times) else None

    def next_sleep(self, t_ns: int) -> Sleep | None:
        """The first sleep that becomes sure after `t_ns`, as far as known."""
        return next((s for s in self.sleeps if s.told_ns > t_ns), None)

    def wake_after(self, t_ns: int) -> int | None:
        """Time of the first frame ever, or after the sleep that lasts over `t_ns`."""
        if self.first_ns is not None and self.first_ns >= t_ns:
            return self.first_ns
        return next((s.wake_ns for s in self.sleeps if s.wake_ns is not None and s.wake_ns > t_ns), None)


def shows_awake(frames: FrameBatch) -> BoolArray:
    """(n,) frames that show that a bus is awake: no error frames, and no requests of our own."""
    heard: BoolArray = (frames.flags & np.uint8(ERROR)) == 0
    if (frames.flags & np.uint8(SENT)).any():
        rows = obd_rows(frames)
        own = [not is_answer(i) for i in frames.identifier[rows].tolist()]
        rows = rows[np.array(own, np.bool_) & ((frames.flags[rows] & np.uint8(SENT)) != 0)]
        heard[rows] = False
    return heard
