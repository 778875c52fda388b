"""A live bench whose bus and box do at once what a test's hands do, and somebody who watches its walk meanwhile."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
import pytest
from drive import DATABASE, HEAD, MS, on_channels

from busprobe.bench.load import loads
from busprobe.engine.plan import build
from busprobe.frames import FrameBatch, InputBatch
from busprobe.health import Health
from busprobe.session import live, walk_seen
from busprobe.session.live_scene import LiveScene
from busprobe.session.walk_seen import Happening, Seen
from busprobe.session.wiggle import Wiggle
from busprobe.sources.clock import Clock

SIGNALS = """
[signals]
gear = { from = "body.Transmission.SelectedGear", role = "gear", values = { Park = "P", Reverse = "R", \
Neutral = "N", Drive = "D" } }
brake = { from = "body.Brake.PedalSwitch", role = "brake", max_age = "100 ms" }
rear_door = { from = "box.switch_wire", role = "door" }
"""
"""The line of the door is debounced by 40 ms and polled every 10 ms."""
LOOK_S = 0.02
WAIT_S = 60.0
GEARS = {"P": 0, "R": 1, "D": 3}


class Source:
    """Gives what is so now, every 20 ms; at the pace of the clock."""

    def __init__(self, name: str) -> None:
        self.name = name
        self._clock: Clock | None = None
        self._last_ns = 0

    def open(self, clock: Clock) -> None:
        self._clock, self._last_ns = clock, clock.now_ns()

    def close(self) -> None:
        pass

    def health(self) -> Health:
        return Health()

    def _wait(self) -> int:
        assert self._clock is not None
        time.sleep(0.02)
        return self._clock.now_ns()


class Bus(Source):
    """Pedal and selector, every 20 ms; what was sent while nobody read is read later."""

    def __init__(self) -> None:
        super().__init__("body")
        self.is_pressed, self.gear, self.is_silent = False, "P", False
        self.last_ns = 0
        """When it was heard last."""

    def read(self) -> FrameBatch:
        now_ns = self._wait()
        times = [] if self.is_silent else list(range(self._last_ns + 20 * MS, now_ns + 1, 20 * MS))
        self._last_ns = now_ns if self.is_silent else times[-1] if times else self._last_ns
        self.last_ns = times[-1] if times else self.last_ns
        payloads = ((272, f"0{int(self.is_pressed)}"), (256, f"0{GEARS[self.gear]}00"))
        sent = on_channels([(0, "body", identifier, payload) for _ in times for identifier, payload in payloads])
        return replace(sent, t_ns=np.repeat(np.array(times, np.int64), len(payloads)), complete_to_ns=now_ns)


class Box(Source):
    """A door switch, polled every 10 ms."""

    def __init__(self) -> None:
        super().__init__("box")
        self.is_open = self.chatters = False
        self.changes = 0
        """Of level, so far."""
        self._level = False

    def read(self) -> InputBatch:
        now_ns = self._wait()
        times = np.arange(self._last_ns + 10 * MS, now_ns + 1, 10 * MS)
        levels = []
        for _ in times:
            level = not self._level if self.chatters else self.is_open
            self.changes += level != self._level
            self._level = level
            levels.append(0 if level else 2)  # active low
        self._last_ns = int(times[-1]) if len(times) else self._last_ns
        millivolts = np.zeros((len(times), 2), np.int32)
        return InputBatch("box", times, np.array(levels, np.uint64), millivolts, complete_to_ns=self._last_ns)


class Hands:
    """What is done at the vehicle, and the guide that looks on."""

    def __init__(self, scene: LiveScene, bus: Bus, box: Box) -> None:
        self.scene, self.bus, self.box = scene, bus, box
        self.heard: list[Happening] = []
        self.longest_s = 0.0
        """Time between two looks: more than a little, and the machine holds everybody up."""

    def watch(self, seconds: float = 0.0, until: Callable[[], bool] | None = None) -> None:
        """Look on for so long, or until something is so; once at least."""
        last = time.monotonic()
        end = last + (WAIT_S if until is not None else seconds)
        is_over = False
        while not is_over:
            self.heard += self.scene.guide.look(self.scene.snapshot())
            time.sleep(LOOK_S)
            self.longest_s, last = max(self.longest_s, time.monotonic() - last), time.monotonic()
            is_so = until is not None and until()
            is_over = is_so or last >= end
        assert until is None or is_so, "it does not come"

    def pedal(self, *, pressed: bool) -> None:
        """Press or release it, and wait until the edge has been seen to settle."""
        self.bus.is_pressed = pressed
        self.watch(until=lambda: self.step_or_none is None or self.step.settled_on == pressed)

    @property
    def step_or_none(self) -> Seen | None:
        walk = self.scene.guide.walk
        return None if walk is None else walk.seen

    @property
    def step(self) -> Seen:
        seen = self.step_or_none
        assert seen is not None
        return seen

    @property
    def wiggle(self) -> Wiggle:
        wiggle = self.scene.guide.wiggle
        assert wiggle is not None
        return wiggle

    def says(self, name: str, text: str) -> Callable[[], bool]:
        """Whether a signal says a text."""

        def is_so() -> bool:
            now = self.scene.snapshot().signal(name)
            return now is not None and now.text == text

        return is_so

    def ask(self, signal: str) -> None:
        self.scene.guide.ask(signal)
        self.watch(until=lambda: self.step_or_none is not None)


@contextmanager
def hands() -> Iterator[Hands]:
    """A scene whose signals are all known."""
    bus, box = Bus(), Box()
    bench = loads(HEAD + SIGNALS)
    with pytest.MonkeyPatch.context() as patient:  # what a busy machine holds up is neither silent nor unseen
        patient.setattr(live, "SILENT_S", 5.0)
        scene = LiveScene(build(bench, {"body": [DATABASE]}), {"body": [DATABASE]}, [bus, box])
        patient.setattr(walk_seen, "JUMP_NS", 60_000 * MS)
        try:
            watcher = Hands(scene, bus, box)
            watcher.watch(until=lambda: all(one.code <= 1 for one in scene.snapshot().signals))
            watcher.heard.clear()
            yield watcher
        finally:
            scene.close()
