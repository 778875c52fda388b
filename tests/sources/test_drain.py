"""A driver asked for message after message, by a clock of the test's own."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import can
import pytest

from busprobe.bench.model import Bus
from busprobe.sources.drain import HOPELESS, MessageDrain

MS = 1_000_000
BUS = Bus("body", "slcan", "/dev/ttyACM0")


class Driver:
    """Frames at given times; whoever reads may be held up, and a call itself takes 0.1 ms."""

    filters = None

    def __init__(self, sent_ms: Sequence[float], held: Callable[[int], int] = lambda t: 0) -> None:
        """held: by the time at which a call would return, for how much longer it does not."""
        self.now = 0
        self._due = [round(at * MS) for at in sent_ms]
        self._held = held

    def now_ns(self) -> int:
        return self.now

    def recv(self, timeout: float) -> can.Message | None:
        self.now += MS // 10
        until = self.now + round(timeout * 1e9)
        found = bool(self._due) and self._due[0] <= until
        self.now = max(self.now, self._due[0]) if found else until
        if found:
            self._due.pop(0)
        self.now += self._held(self.now)
        return can.Message(arbitration_id=0x123, data=b"12") if found else None


def drain_of(device: Driver, wait_s: float = 0.005) -> MessageDrain:
    return MessageDrain(BUS, device, device.now_ns, "", naps=False, wait_s=wait_s)  # type: ignore[arg-type]


@pytest.mark.parametrize("every_ms", [0.5, 2, 7, 23])
def test_how_long_a_frame_may_have_waited_is_known(every_ms: float) -> None:
    """At any rate of frames: between two looks that found nothing there is little more than one wait and a half."""
    sent = [k * every_ms + 0.3 for k in range(int(100 / every_ms))]
    haul = drain_of(Driver(sent)).take(120 * MS)
    assert len(haul.frames) == len(sent)
    assert (haul.after_ns <= [round(at * MS) for at in sent]).all()
    assert (haul.arrivals_ns - haul.after_ns).max() <= 8.5 * MS


def test_frames_that_waited_while_the_program_was_held_up() -> None:
    """It stood for 1.6 s inside a read: all that came meanwhile came after the look before."""
    held = iter([1600 * MS])
    device = Driver([*range(5, 1700, 10)], lambda now: next(held, 0) if now >= 40 * MS else 0)
    drain = drain_of(device)
    haul = drain.take(50 * MS)
    rest = drain.take(1750 * MS)
    waited = (rest.arrivals_ns - rest.after_ns) // MS
    assert waited.max() >= 1600
    assert (rest.after_ns[waited > 20] <= 45 * MS).all()
    assert waited[-3:].max() <= 9
    assert haul.empty_ns is not None
    assert haul.empty_ns <= 45 * MS


def test_one_thing_that_is_no_frame_is_not_the_end_of_what_waits() -> None:
    """An adapter's answer to a command: a read finds nothing, and frames wait behind it."""
    device = Driver([*range(5, 1700, 10)], lambda now: 0)
    drain = drain_of(device)
    drain.take(50 * MS)
    before = drain.take(60 * MS).after_ns[-1]
    device.now = 1650 * MS
    recv, answers = device.recv, [None]
    drain._recv = lambda timeout: answers.pop() if answers else recv(timeout)
    haul = drain.take(1700 * MS)
    assert haul.after_ns[0] <= before + 10 * MS


def test_a_frame_and_much_rubbish_in_one_batch() -> None:
    """A device that gave one frame is what it was taken for."""

    class Babbles(Driver):
        def recv(self, timeout: float) -> can.Message | None:
            self.now += MS // 10
            if self.now == MS // 10:
                return can.Message(arbitration_id=0x123, data=b"12")
            raise ValueError("rubbish")

    drain = drain_of(Babbles([]))
    haul = drain.take(50 * MS)
    assert drain.unreadable > HOPELESS
    assert (len(haul.frames), drain.fault) == (1, None)


def test_a_port_that_can_be_asked_is_empty_between_frames_that_come_without_rest() -> None:
    """A driver whose shortest read takes longer than the next frame: no read ever finds nothing."""

    class Slow(Driver):
        def recv(self, timeout: float) -> can.Message | None:
            return super().recv(max(timeout, 0.005))

        def is_empty(self) -> bool:
            return not self._due or self._due[0] > self.now

    sent = [k * 2 + 0.3 for k in range(50)]
    device = Slow(sent)
    drain = MessageDrain(BUS, device, device.now_ns, "", naps=False, wait_s=0.005, is_empty=device.is_empty)  # type: ignore[arg-type]
    haul = drain.take(95 * MS)
    assert (haul.after_ns <= [round(at * MS) for at in sent[: len(haul.frames)]]).all()
    assert (haul.arrivals_ns - haul.after_ns).max() <= 8 * MS
    device.now = 1650 * MS
    assert (drain.take(1700 * MS).after_ns <= 100 * MS).all()
