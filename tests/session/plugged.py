"""Live sources that give a drive at the pace at which it was driven, and can be pulled out meanwhile."""

from __future__ import annotations

import threading
import time
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace

from scripted import BENCH, van_batches

from busprobe.errors import DeviceError
from busprobe.frames import FrameBatch, InputBatch
from busprobe.health import Health
from busprobe.session.live_scene import LiveScene
from busprobe.session.verifying import load_plan
from busprobe.sources.clock import Clock

READ_NS = 50_000_000
FROM_S = 110
"""Where in the drive it begins: the van moves, then brakes."""
SLEPT_NS = 5_000_000_000
WAIT_S = 60.0


class PluggedSource:
    """What was driven while it is out, or while nobody reads, is lost as it would be."""

    def __init__(self, name: str, drive: Sequence[FrameBatch] | Sequence[InputBatch], by_ns: int, *, is_in: bool):
        """by_ns: added to the times of the drive."""
        self._drive = [batch for batch in drive if len(batch)]
        self._starts = [int(batch.t_ns[0]) + by_ns for batch in self._drive]
        self._by_ns = by_ns
        self._name = name
        self._from_ns = 0
        self._clock: Clock | None = None
        self.is_in = threading.Event()
        self.opened = 0
        self.stall_s = 0.0
        """How long the next reading takes longer, once."""
        if is_in:
            self.is_in.set()

    @property
    def name(self) -> str:
        return self._name

    def open(self, clock: Clock) -> None:
        if not self.is_in.is_set():
            raise DeviceError(f"{self.name} is not plugged in.", hint="Plug it in.")
        self.opened += 1
        self._clock, self._from_ns = clock, clock.now_ns()

    def read(self) -> FrameBatch | InputBatch:
        stall_s, self.stall_s = self.stall_s, 0.0
        time.sleep(READ_NS / 1e9 + stall_s)
        if not self.is_in.is_set() or self._clock is None:
            raise DeviceError(f"{self.name} was pulled out.", hint="Plug it in again.")
        if self._clock.now_ns() - self._from_ns > SLEPT_NS:  # what was sent while the machine slept is lost
            self._from_ns = self._clock.now_ns() - READ_NS
        place = max(bisect_right(self._starts, self._from_ns) - 1, 0)
        upto_ns = min([self._clock.now_ns(), *self._starts[place + 1 : place + 2]])
        whole = self._drive[place]
        t_ns = whole.t_ns + self._by_ns
        low, high = map(int, t_ns.searchsorted([self._from_ns, upto_ns]))
        self._from_ns = upto_ns
        return replace(whole.cut(low, high), t_ns=t_ns[low:high], complete_to_ns=upto_ns - 1)

    def close(self) -> None:
        self._clock = None

    def health(self) -> Health:
        return Health()


def van_sources(*, is_in: bool, seed: int = 1) -> list[PluggedSource]:
    """Bus and box of the simulated van."""
    frames, polls = van_batches(seed)
    by_ns = Clock().now_ns() - int(polls[FROM_S].t_ns[0])
    return [PluggedSource(name, drive, by_ns, is_in=is_in) for name, drive in (("body", frames), ("box", polls))]


@contextmanager
def driving(*, is_in: bool = True) -> Iterator[tuple[LiveScene, PluggedSource, PluggedSource]]:
    """A live scene of the shipped bench file, its bus and its box."""
    bus, box = van_sources(is_in=is_in)
    scene = LiveScene(*load_plan(BENCH), [bus, box])
    try:
        yield scene, bus, box
    finally:
        scene.close()
