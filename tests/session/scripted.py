"""Live sources that play batches made beforehand: no device, no waiting for the clock."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from busprobe.engine.plan import Plan
from busprobe.errors import DeviceError
from busprobe.frames import FrameBatch, InputBatch, empty_frames
from busprobe.health import Health
from busprobe.report.live_text import LiveStatus
from busprobe.session import live
from busprobe.session.live_bench import LiveOptions, LiveOutcome, run_live
from busprobe.session.verifying import load_plan
from busprobe.sources.clock import Clock
from busprobe.van.generate import generate

SAMPLES = Path(__file__).parents[2] / "dbc_samples"
BENCH = SAMPLES / "patrol_van.toml"


class ScriptedSource:
    """Gives its batches one by one, `pause_s` apart; then says it is complete, and idles.

    trouble: at which read it raises DeviceError, once. stall: at which read it hangs, once, and until what is set.
    """

    def __init__(
        self,
        name: str,
        batches: Sequence[FrameBatch | InputBatch],
        *,
        pause_s: float = 0.0,
        trouble: int | None = None,
        missing: bool = False,
        stall: tuple[int, threading.Event] | None = None,
    ) -> None:
        self._name = name
        self._batches = list(batches)
        self._pause_s = pause_s
        self._trouble = trouble
        self._missing = missing
        self._stall = stall
        self.at = 0
        self.opened = 0
        self.done = threading.Event()

    @property
    def name(self) -> str:
        return self._name

    def open(self, clock: Clock) -> None:
        self.opened += 1
        if self._missing:
            raise DeviceError(f"{self._name} is not plugged in.")

    def read(self) -> FrameBatch | InputBatch:
        if self._pause_s:
            time.sleep(self._pause_s)
        if self.at == self._trouble:
            self._trouble = None
            raise DeviceError(f"{self._name} was pulled out.")
        if self._stall is not None and self.at == self._stall[0]:
            over, self._stall = self._stall[1], None
            over.wait(60.0)
        if self.at < len(self._batches):
            self.at += 1
            return self._batches[self.at - 1]
        self.done.set()
        time.sleep(0.01)
        last = self._batches[-1]
        if isinstance(last, FrameBatch):
            return empty_frames(last.channels, last.complete_to_ns)
        return replace(last.cut(0, 0), complete_to_ns=last.complete_to_ns)

    def close(self) -> None:
        pass

    def health(self) -> Health:
        return Health()


def van_batches(seed: int, seconds: float | None = None) -> tuple[list[FrameBatch], list[InputBatch]]:
    """The drive of the simulated van, bus and box apart."""
    frames: list[FrameBatch] = []
    polls: list[InputBatch] = []
    for batch in generate(seed):
        if isinstance(batch, FrameBatch):
            frames.append(batch)
        elif isinstance(batch, InputBatch):
            polls.append(batch)
    if seconds is not None:
        frames, polls = frames[: round(seconds)], polls[: round(seconds)]
    return frames, polls


def play(
    sources: Sequence[ScriptedSource],
    record: Path | None = None,
    *,
    plan: Plan | None = None,
    observer: Callable[[FrameBatch | InputBatch], None] | None = None,
    for_s: float = 60.0,
    on_wake: bool = False,
    until_down: bool = False,
    silent_s: float = 1.0,
) -> LiveOutcome:
    """Run until all sources have given everything. until_down: ... and are said to be down.

    silent_s: a source that gets no further for so long is; what a busy machine holds up is not to be.
    """
    given, databases = load_plan(BENCH)
    stop = threading.Event()

    def show(status: LiveStatus) -> None:
        if until_down and any(source.is_up for source in status.sources):
            return
        if all(s.done.is_set() or s._missing for s in sources):
            stop.set()

    options = LiveOptions(for_ns=round(for_s * 1e9), record=record, on_wake=on_wake)
    with pytest.MonkeyPatch.context() as patience:
        patience.setattr(live, "SILENT_S", silent_s)
        return run_live(
            plan or given, databases, options, show=show, observers=() if observer is None else (observer,),
            sources=sources, stop=stop,
        )  # fmt: skip
