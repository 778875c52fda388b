"""What a connection makes of what its driver gave: times, frames of its own, and frames that nobody can time."""

from __future__ import annotations

from collections.abc import Sequence

import can
import numpy as np
import pytest

from busprobe.bench.model import Bus
from busprobe.errors import DeviceError
from busprobe.frames import LATE, SENT, FrameBatch, empty_frames
from busprobe.sources import bus_connection
from busprobe.sources.bus_connection import BusConnection
from busprobe.sources.clock import Clock
from busprobe.sources.drain import Haul

MS = 1_000_000
EPOCH = 1_800_000_000_000 * MS


class SetClock(Clock):
    event_ns = EPOCH

    def __init__(self) -> None:
        pass

    def now_ns(self) -> int:
        return self.event_ns

    def wall_ahead_ns(self) -> int:
        return 0


class ScriptedDrain:
    """Gives hauls made beforehand."""

    unreadable = 0
    fault: DeviceError | None = None

    def __init__(self) -> None:
        self.hauls: list[Haul] = []

    def take(self, deadline_ns: int) -> Haul:
        return self.hauls.pop(0)

    def close(self) -> None:
        pass


class Device:
    """A bus without a socket."""

    state = can.BusABC.state

    def fileno(self) -> int:
        raise NotImplementedError


def frames_at(t_ns: np.ndarray) -> FrameBatch:
    n = len(t_ns)
    one = np.zeros(n, np.uint8)
    return FrameBatch(t_ns, ("body",), one, np.full(n, 0x123, np.uint32), one, one, np.zeros(n, np.uint64))


def haul(rows: Sequence[tuple[float, float, float]], empty_ms: float | None = None) -> Haul:
    """(stamp, arrival, look before) of each frame, and when nothing more was found, ms since the epoch of the test."""
    stamps, arrivals, after = EPOCH + np.rint(np.array(rows).reshape(-1, 3).T * MS).astype(np.int64)
    frames = frames_at(stamps) if rows else empty_frames(("body",))
    return Haul(frames, arrivals, after, (), None if empty_ms is None else EPOCH + round(empty_ms * MS))


@pytest.fixture
def drain(monkeypatch: pytest.MonkeyPatch) -> ScriptedDrain:
    made = ScriptedDrain()
    monkeypatch.setattr(bus_connection, "_drain", lambda *_, **__: made)
    return made


def connected(interface: str) -> BusConnection:
    return BusConnection(Bus("body", interface, "x"), Device(), SetClock(), "", "")  # type: ignore[arg-type]


def told(batch: FrameBatch) -> list[tuple[float, int]]:
    return [(float(t - EPOCH) / MS, int(f)) for t, f in zip(batch.t_ns, batch.flags, strict=True)]


REQUEST = can.Message(arbitration_id=0x7DF, data=b"\2\1\x0c", is_extended_id=False)


def test_a_frame_of_ours_moves_none_that_came_before_it(drain: ScriptedDrain) -> None:
    """It goes out while a frame that came 3 ms before still waits in the socket: it waits for that one."""
    bus = connected("socketcan")
    drain.hauls = [haul([(40, 42, 38)], 46), haul([(47, 51, 46)], 52)]
    bus.note_sent(EPOCH + 50 * MS, REQUEST)
    first, second = bus.read(), bus.read()
    assert told(first) == [(40, 0)]
    assert first.complete_to_ns == EPOCH + 45 * MS
    assert told(second) == [(47, 0), (50, SENT)]


def test_a_frame_of_ours_is_given_before_the_fault(drain: ScriptedDrain) -> None:
    bus = connected("socketcan")
    drain.hauls = [haul([], 46), haul([])]
    bus.note_sent(EPOCH + 50 * MS, REQUEST)
    drain.fault = DeviceError("gone")
    assert told(bus.read()) == [(50, SENT)]
    with pytest.raises(DeviceError, match="gone"):
        bus.read()


def test_frames_that_waited_in_the_kernel_keep_their_times(drain: ScriptedDrain) -> None:
    bus = connected("socketcan")
    drain.hauls = [haul([(k * 10, 1600, 5) for k in range(1, 160)], 1601)]
    assert told(bus.read()) == [(k * 10, 0) for k in range(1, 160)]


def test_frames_that_waited_where_nobody_stamps_them_are_flagged(drain: ScriptedDrain) -> None:
    """A driver whose frames are stamped as they are read; the ones read after a stall could be of any time in it."""
    bus = connected("slcan")
    drain.hauls = [haul([(10, 10, 5), (1600, 1600, 12), (1601, 1601, 12), (1604, 1604, 1602)], 1610), haul([], 1650)]
    batch = bus.read()
    assert told(batch) == [(10, 0), (1600, LATE), (1601, LATE), (1604, 0)]
    assert len(bus.read()) == 0


def test_a_late_frame_is_within_what_is_complete(drain: ScriptedDrain) -> None:
    bus = connected("slcan")
    drain.hauls = [haul([(1600, 1600, 12)])]
    assert bus.read().complete_to_ns == EPOCH + 1600 * MS + 1


def test_frames_among_which_the_kernel_dropped_others_are_flagged(
    drain: ScriptedDrain, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its buffer was full some time before the count was read; what is read later can be of before that."""
    bus = connected("socketcan")
    counts = iter([0, 3, 3])
    monkeypatch.setattr(bus, "_fd", 7)
    monkeypatch.setattr(bus_connection, "dropped", lambda fd: next(counts))
    drain.hauls = [
        haul([(10, 12, 5)], 48),
        haul([(60, 62, 50)], 98),
        haul([(90, 1701, 98), (1690, 1701, 98), (1720, 1721, 1715)], 1722),
    ]
    found = []
    for now in (50, 1700, 1750):
        bus.clock.event_ns = EPOCH + now * MS  # type: ignore[attr-defined]
        found += told(bus.read())
    assert [(t, flags) for t, flags in found if flags == 0] == [(10, 0), (1720, 0)]
    assert bus.health().lost == 3
