"""What the tests of input boxes share: boxes, a port made of a script, bounded reading."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from busprobe.bench.model import InputBox, Line
from busprobe.errors import DeviceError
from busprobe.frames import InputBatch, join_polls
from busprobe.sources.clock import Clock
from busprobe.sources.live import LiveSource

PATIENCE_S = 60.0


class ShiftedClock(Clock):
    """A clock that a test can put forward."""

    def __init__(self) -> None:
        super().__init__()
        self.ahead_ns = 0

    def now_ns(self) -> int:
        return super().now_ns() + self.ahead_ns


class PacedClock(Clock):
    """A clock that goes on by so much at every look at it, however long the machine takes."""

    def __init__(self, step_ns: int = 3_000_000) -> None:
        super().__init__()
        self._at_ns, self._step_ns = super().now_ns(), step_ns

    def now_ns(self) -> int:
        self._at_ns += self._step_ns
        return self._at_ns


def box(
    driver: str, port: str | None, *, on_off: int = 8, analogue: int = 0, ms: float = 10, **options: Any
) -> InputBox:
    """A box with so many lines, read every so many ms."""
    lines = [Line(f"line{k}", k) for k in range(on_off)]
    lines += [Line(f"volts{k}", k, analogue=True) for k in range(analogue)]
    return InputBox("box", driver, port, int(ms * 1e6), tuple(lines), options)


def read_until(source: LiveSource, enough: Callable[[InputBatch], bool]) -> InputBatch:
    """All that comes until it is enough, joined; never for ever."""
    batches: list[InputBatch] = []
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        batch = source.read()
        assert isinstance(batch, InputBatch)
        assert batch.complete_to_ns is not None
        batches.append(batch)
        joined = join_polls(batches)
        if enough(joined):
            return joined
    raise AssertionError(f"not enough in {PATIENCE_S:g} s: {len(joined)} samples, {source.health()}")


def read_until_given_up(source: LiveSource) -> tuple[int, str]:
    """How far it was complete before it said that the box is gone, and what it said; never for ever."""
    complete_ns = 0
    deadline = time.monotonic() + PATIENCE_S
    try:
        while time.monotonic() < deadline:
            complete_ns = source.read().complete_to_ns or 0
    except DeviceError as error:
        return complete_ns, str(error)
    raise AssertionError(f"still there after {PATIENCE_S:g} s")


def crc16(data: bytes) -> bytes:
    """CRC of Modbus RTU, bit by bit; 4B37 for "123456789" in the catalogues of checks."""
    value = 0xFFFF
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ (0xA001 if value & 1 else 0)
    return value.to_bytes(2, "little")


class ScriptedPort:
    """Stands in for an open serial port: each request gets the next answer of a list, None being silence."""

    def __init__(self, answers: list[bytes | None]) -> None:
        self.answers = answers
        self.requests: list[bytes] = []
        self.is_open = True
        self._waiting = b""

    @property
    def in_waiting(self) -> int:
        return len(self._waiting)

    def write(self, data: bytes) -> int:
        self.requests.append(bytes(data))
        answer = self.answers.pop(0)
        if answer is not None:
            self._waiting += answer
        return len(data)

    def read(self, size: int = 1) -> bytes:
        """Nothing where a real port would wait for its time-out."""
        data, self._waiting = self._waiting[:size], self._waiting[size:]
        return data

    def put(self, data: bytes) -> None:
        """Something comes without being asked for."""
        self._waiting += data

    def close(self) -> None:
        self.is_open = False
