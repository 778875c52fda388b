"""Rates and load of a live bus: those that a replay of the same frames tells."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from busprobe.bench.model import Bench, Bus
from busprobe.frames import ERROR, EXTENDED, FD, REMOTE, SENT, SWITCHED, FrameBatch, InputBatch
from busprobe.session import live_status
from busprobe.session.flow import Flow
from busprobe.session.live import LiveRun
from busprobe.session.live_status import StatusTaker

BIT_RATE = 500_000
S = 1_000_000_000
COUNT = 400


def batch(flags: int, length: int) -> FrameBatch:
    """Frames spread over one second."""
    n = COUNT
    return FrameBatch(
        np.arange(n, dtype=np.int64) * (S // n), ("body",), np.zeros(n, np.uint8), np.full(n, 0x123, np.uint32),
        np.full(n, flags, np.uint8), np.full(n, length, np.uint8), np.zeros(n, np.uint64),
    )  # fmt: skip


class Watch:
    """A run of one bus and one box, and a clock that is set by hand."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.now_s = 0.0
        monkeypatch.setattr(live_status, "time", SimpleNamespace(monotonic=lambda: self.now_s))
        self.taker = StatusTaker(Bench(None, "", "van", buses=(Bus("body", bitrate=BIT_RATE),)))
        health = SimpleNamespace(lost=0, errors=0, state="")
        state = SimpleNamespace(health=health, is_up=True, trouble="", gaps=0)
        self.run = SimpleNamespace(status={"body": state, "box": state}, inbox=SimpleNamespace(lost=0))

    def after_1_s(self, source: str) -> tuple[float, float | None]:
        """What flowed a second, and the load."""
        self.now_s += 1.0
        status = self.taker.take(cast("LiveRun", self.run), None, 0)
        line = next(line for line in status.sources if line.name == source)
        return line.per_second, line.load


@pytest.mark.parametrize(
    ("flags", "length", "frames", "bits"),
    [
        pytest.param(0, 8, COUNT, 111, id="data"),
        pytest.param(EXTENDED, 8, COUNT, 131, id="29 bit"),
        pytest.param(REMOTE, 8, COUNT, 47, id="remote: no payload"),
        pytest.param(REMOTE | EXTENDED, 8, COUNT, 67, id="remote, 29 bit"),
        pytest.param(SENT, 8, COUNT, 111, id="sent: it loads the bus too"),
        pytest.param(ERROR, 8, 0, 0, id="error frames load it by nobody knows how much"),
        pytest.param(FD | SWITCHED, 64, COUNT, 559, id="FD"),
    ],
)
def test_live_and_replayed_the_same(
    monkeypatch: pytest.MonkeyPatch, flags: int, length: int, frames: int, bits: int
) -> None:
    """Bits beside the payload, 3 bits of space among them: 47 and 67 (ISO 11898-1, stuff bits left out)."""
    given, watch, replay = batch(flags, length), Watch(monkeypatch), Flow()
    watch.taker.add(given)
    assert watch.after_1_s("body") == (frames, frames * bits / BIT_RATE)
    assert watch.after_1_s("body") == (0, 0)
    replay.add(given)
    assert replay.at("body", S)[:2] == (frames, frames * bits)


def test_polls_of_a_box(monkeypatch: pytest.MonkeyPatch) -> None:
    watch = Watch(monkeypatch)
    t_ns = np.arange(10, dtype=np.int64)
    watch.taker.add(InputBatch("box", t_ns, np.zeros(10, np.uint64)))
    assert watch.after_1_s("box") == (10, None)
