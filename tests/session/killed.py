"""A process that records until it is killed: python killed.py FILE. Frames carry a rising counter."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

from busprobe.bench.model import Bench, Bus
from busprobe.engine.plan import build
from busprobe.frames import FrameBatch
from busprobe.health import Health
from busprobe.session.live_bench import LiveOptions, run_live
from busprobe.sources.clock import Clock

PER_BATCH = 100


class CountingSource:
    """2,000 frames/s in batches of 50 ms, stamped with the clock."""

    name = "body"

    def __init__(self) -> None:
        self._count = 0
        self._clock = Clock()

    def open(self, clock: Clock) -> None:
        self._clock = clock

    def read(self) -> FrameBatch:
        time.sleep(0.05)
        now = self._clock.now_ns()
        count = np.arange(self._count, self._count + PER_BATCH)
        self._count += PER_BATCH
        print(now, flush=True)
        return FrameBatch(
            now - (PER_BATCH - 1 - np.arange(PER_BATCH)) * 10_000, ("body",), np.zeros(PER_BATCH, np.uint8),
            np.full(PER_BATCH, 0x100, np.uint32), np.zeros(PER_BATCH, np.uint8),
            np.full(PER_BATCH, 8, np.uint8), count.astype(np.uint64), complete_to_ns=now,
        )  # fmt: skip

    def close(self) -> None:
        pass

    def health(self) -> Health:
        return Health()


if __name__ == "__main__":
    bench = Bench(None, "", "killed", buses=(Bus("body"),))
    run_live(build(bench, {}), {}, LiveOptions(record=Path(sys.argv[1])), sources=[CountingSource()])
