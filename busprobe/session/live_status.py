"""What a live run shows of itself while it goes on."""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np

from busprobe.analysis.frame_tally import frame_bits
from busprobe.bench.model import Bench
from busprobe.frames import ERROR, FrameBatch, InputBatch
from busprobe.report.live_text import LiveStatus, SourceLine
from busprobe.session.live import LiveRun
from busprobe.session.recorder import Recorder


@dataclass
class _Flow:
    rows: int = 0
    """Frames, error frames left out, or polls; as a replay counts them."""
    bits: int = 0


class StatusTaker:
    """Counts what flows through a live run, and takes its status now and then."""

    def __init__(self, bench: Bench) -> None:
        self._bit_rates = {bus.name: bus.bitrate for bus in bench.buses}
        self._flow: dict[str, _Flow] = {}
        self._since = self._start = time.monotonic()

    def add(self, batch: FrameBatch | InputBatch) -> None:
        """An observer of the run."""
        name = batch.channels[0] if isinstance(batch, FrameBatch) and batch.channels else getattr(batch, "box", "")
        flow = self._flow.setdefault(name, _Flow())
        if isinstance(batch, FrameBatch):
            flow.rows += int(np.count_nonzero((batch.flags & np.uint8(ERROR)) == 0))
            flow.bits += int(frame_bits(batch).sum())
        else:
            flow.rows += len(batch)

    def take(self, run: LiveRun, recorder: Recorder | None, failed: int) -> LiveStatus:
        """The status since the last call. failed: checks that have failed so far."""
        now = time.monotonic()
        span = max(now - self._since, 1e-3)
        lines = []
        for name, status in run.status.items():
            flow = self._flow.pop(name, _Flow())
            bit_rate = self._bit_rates.get(name)
            load = flow.bits / span / bit_rate if bit_rate else None
            health = status.health
            lines.append(
                SourceLine(
                    name, status.is_up, flow.rows / span, load, health.lost, health.errors, health.state,
                    status.trouble, status.gaps,
                )
            )  # fmt: skip
        self._since = now
        return LiveStatus(
            now - self._start, tuple(lines), run.inbox.lost, failed, None if recorder is None else recorder.status()
        )
