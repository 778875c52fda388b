"""Input boxes read by a program that is held up: what nobody can time is left out, never given a wrong time."""

from __future__ import annotations

from typing import Any

import numpy as np
from boxed import box

from busprobe.frames import InputBatch, join_polls
from busprobe.sources.clock import Clock
from busprobe.sources.polled_box import Fault, Poll, PolledBox
from busprobe.sources.text_box import TextBox
from busprobe.van.box_ports import Levels, text_line

MS = 1_000_000
EPOCH = 1_800_000_000_000 * MS


class SetClock(Clock):
    """Event time that the test moves."""

    def __init__(self) -> None:
        self.event_ns = EPOCH

    def now_ns(self) -> int:
        return self.event_ns


class Board:
    """Prints its milliseconds as a number on eight lines, every 10 ms, into a buffer that has little room."""

    ROOM = 2000

    def __init__(self, clock: SetClock) -> None:
        self._clock = clock
        self._printed_ms = 0
        self._held = b""
        self.stall_ms: dict[int, int] = {}
        """At a time, for how much longer a read takes."""

    @property
    def in_waiting(self) -> int:
        self._print()
        return len(self._held)

    def read(self, size: int) -> bytes:
        self._clock.event_ns += 5 * MS
        now_ms = (self._clock.event_ns - EPOCH) // MS
        for at in [at for at in self.stall_ms if at <= now_ms]:
            self._clock.event_ns += self.stall_ms.pop(at) * MS
        self._print()
        given, self._held = self._held, b""
        return given

    def close(self) -> None:
        pass

    def _print(self) -> None:
        while self._printed_ms + 10 <= (self._clock.event_ns - EPOCH) // MS - 1:
            self._printed_ms += 10
            line = text_line(self._printed_ms * 1000, Levels(self._printed_ms // 10 % 256), 8)
            if len(self._held) + len(line) <= self.ROOM:
                self._held += line


def test_lines_of_a_board_whose_buffer_ran_over() -> None:
    """Held up for 3 s: of the lines that waited the newest are lost, the oldest look as if they came now."""
    clock = SetClock()
    board = Board(clock)
    source = TextBox(box("text-lines", "x"), lambda *_: board)
    source.open(clock)
    board.stall_ms = {500: 3000}
    batches: list[Any] = []
    while clock.event_ns < EPOCH + 5000 * MS:
        batches.append(source.read())
    samples: InputBatch = join_polls(batches)
    ms = (samples.t_ns - EPOCH) / MS
    error = (ms / 10 - samples.mask.astype(np.float64) + 128) % 256 - 128
    assert len(samples) > 150
    assert np.abs(error).max() * 10 <= 6


class Answers:
    """A box that answers after 4 ms; now and then whoever asks is held up."""

    def __init__(self, held_ms: dict[int, int]) -> None:
        self._held_ms = held_ms
        self._count = 0

    def connect(self) -> None: ...
    def disconnect(self) -> None: ...

    def poll(self, clock: Clock) -> Poll | Fault:
        assert isinstance(clock, SetClock)
        self._count += 1
        request_ns = clock.event_ns
        clock.event_ns += (4 + self._held_ms.get(self._count, 0)) * MS
        return Poll(request_ns, clock.event_ns, self._count)


def polled(held_ms: dict[int, int], monkeypatch: Any) -> InputBatch:
    clock = SetClock()
    monkeypatch.setattr(
        "busprobe.sources.polled_box.time.sleep",
        lambda s: setattr(clock, "event_ns", clock.event_ns + round(s * 1e9)),
    )
    source = PolledBox(box("modbus-tcp", "x"), Answers(held_ms))
    source.open(clock)
    return join_polls([source.read() for _ in range(24)])


def test_an_answer_that_took_far_longer_than_the_others_is_left_out(monkeypatch: Any) -> None:
    """The box looked at its lines at once; the program was held up for 0.8 s before it had the answer."""
    samples = polled({30: 800}, monkeypatch)
    masks = samples.mask.tolist()
    assert 30 not in masks
    assert {29, 31} <= set(masks)


def test_a_box_that_has_become_slow_is_believed_soon(monkeypatch: Any) -> None:
    masks = polled(dict.fromkeys(range(20, 200), 40), monkeypatch).mask.tolist()
    assert 20 not in masks
    assert set(range(30, 38)) <= set(masks)
