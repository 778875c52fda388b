"""Frames on their way out while the driver blocks: nobody waits, nothing piles up, nothing is sent that is over."""

from __future__ import annotations

import threading
import time
from itertools import pairwise

import pytest
from obd_bus import MS, PERMIT, START, ObdBus, answers, padded

from busprobe.errors import DeviceError
from busprobe.sources.outbox import NOT_WANTED, Handed, Outbox
from busprobe.sources.poller import Poller
from busprobe.sources.requests import Requester
from busprobe.van.control_units import ControlUnit

REQUEST = padded("02 01 0D")
WAIT_S = 20.0


class Blocking:
    """A send that does not come back until `free` is set; `error` is what it then raises."""

    def __init__(self, error: Exception | None = None) -> None:
        self.free = threading.Event()
        self.begun: list[int] = []
        self.error = error

    def send(self, identifier: int, _data: bytes, _permit: object, *, extended: bool = False) -> int:
        assert extended == (identifier > 0x7FF)
        self.begun.append(identifier)
        assert self.free.wait(WAIT_S)
        if self.error is not None:
            raise self.error
        return START + 7


def over(*handed: Handed) -> None:
    end = time.monotonic() + WAIT_S
    while not all(one.is_over for one in handed):
        assert time.monotonic() < end, "it is never over"
        time.sleep(0.001)


def test_a_driver_that_blocks_holds_up_nobody() -> None:
    sender = Blocking()
    outbox = Outbox(sender, PERMIT, own_thread=True)
    begun = time.monotonic()
    first, second = outbox.hand(0x7DF, REQUEST, START), outbox.hand(0x18DB33F1, REQUEST, START)
    assert time.monotonic() - begun < WAIT_S / 2
    assert (outbox.finished(), outbox.oldest) == ([], first)
    sender.free.set()
    over(first, second)
    assert outbox.finished() == [first, second]
    assert (outbox.finished(), outbox.oldest) == ([], None)
    assert sender.begun == [0x7DF, 0x18DB33F1]
    assert [one.trouble for one in (first, second)] == ["", ""]
    assert first.sent_ns == START + 7 <= first.out_ns
    outbox.close()


def test_what_waits_behind_it_can_be_dropped() -> None:
    sender = Blocking()
    outbox = Outbox(sender, PERMIT, own_thread=True)
    first = outbox.hand(0x7DF, REQUEST, START)
    while not sender.begun:
        time.sleep(0.001)
    second = outbox.hand(0x7E0, REQUEST, START)
    outbox.drop_waiting()
    third = outbox.hand(0x7E1, REQUEST, START)
    sender.free.set()
    over(first, second, third)
    assert sender.begun == [0x7DF, 0x7E1]
    assert [one.trouble for one in outbox.finished()] == ["", NOT_WANTED, ""]
    outbox.close()


def test_once_closed_it_sends_nothing_and_its_thread_ends() -> None:
    sender = Blocking()
    outbox = Outbox(sender, PERMIT, own_thread=True)
    first, second = outbox.hand(0x7DF, REQUEST, START), outbox.hand(0x7E0, REQUEST, START)
    while not sender.begun:
        time.sleep(0.001)
    outbox.close()
    outbox.close()
    third = outbox.hand(0x7E1, REQUEST, START)
    sender.free.set()
    over(first, second, third)
    assert sender.begun == [0x7DF]
    assert [one.trouble for one in outbox.finished()] == ["", NOT_WANTED, NOT_WANTED]
    assert outbox._thread is not None
    outbox._thread.join(WAIT_S)
    assert not outbox._thread.is_alive()


@pytest.mark.parametrize(
    ("error", "told"),
    [
        (DeviceError("The frame was not sent."), "The frame was not sent."),
        (TypeError("no fd"), 'Bus "body": its driver failed to send (TypeError: no fd).'),
    ],
    ids=["as sources say it", "whatever a driver raises"],
)
def test_trouble_is_said_and_the_next_frame_goes_out(error: Exception, told: str) -> None:
    sender = Blocking(error)
    sender.free.set()
    outbox = Outbox(sender, PERMIT, own_thread=True)
    first = outbox.hand(0x7DF, REQUEST, START)
    over(first)
    sender.error = None
    second = outbox.hand(0x7DF, REQUEST, START)
    over(second)
    assert [one.trouble for one in outbox.finished()] == [told, ""]
    outbox.close()


class Gone(ObdBus):
    """A bus whose adapter takes no frame until `back_ms`."""

    def __init__(self, back_ms: int) -> None:
        super().__init__(ControlUnit(0x7E8, {0x0C: b"\x1a\xf8"}))
        self.back_ms = back_ms
        self.tried: list[int] = []

    def send(self, identifier, data, permit, *, extended=False):  # type: ignore[no-untyped-def]
        self.tried.append(self.ms)
        self.is_gone = self.ms < self.back_ms
        return super().send(identifier, data, permit, extended=extended)


def test_an_adapter_that_takes_no_frame_is_tried_ever_more_seldom() -> None:
    bus = Gone(30_000)
    requester = bus.requester()
    poller = Poller(requester, [0x0C], 100 * MS)
    while bus.ms < 40_000:
        requester.feed(bus.advance())
        poller.step(bus.now_ns)
        if bus.ms == 29_000:
            assert poller.health.paused == 'The adapter of the bus "body" is gone.'
    failed = [ms for ms in bus.tried if ms < 30_000]
    assert [later - earlier for earlier, later in pairwise(failed)] == [500, 1000, 2000, 5000, 10_000, 10_000]
    health = poller.health
    assert (health.not_taken, health.paused) == (len(failed), "")
    again = [ms for ms in bus.tried if ms >= 30_000]
    assert len(again) - health.requests in (0, 1), "the last one may still be out"
    assert len(again) > 10
    assert all(100 <= later - earlier < 400 for earlier, later in pairwise(again)), "the pace is the usual one"


class Slow(ObdBus):
    """A bus whose adapter hangs while it is given a frame, until `free` is set; the frame then goes out."""

    def __init__(self) -> None:
        super().__init__(ControlUnit(0x7E8, {0x0C: b"\x1a\xf8", 0x0D: b"\x3c"}))
        self.free = threading.Event()
        self.entered = 0

    def send(self, identifier, data, permit, *, extended=False):  # type: ignore[no-untyped-def]
        self.entered += 1
        assert self.free.wait(WAIT_S)
        return super().send(identifier, data, permit, extended=extended)


def test_while_the_adapter_hangs_nothing_else_is_asked_and_it_is_said() -> None:
    bus = Slow()
    requester = Requester(bus, PERMIT, 0, own_thread=True)
    poller = Poller(requester, [0x0C], 100 * MS)
    try:
        requester.feed(bus.advance())
        begun = time.monotonic()
        poller.step(bus.now_ns)
        while bus.ms < 900:
            requester.feed(bus.advance())
            assert poller.step(bus.now_ns) is None
        assert poller.health.paused == ""
        while bus.ms < 60_000:
            requester.feed(bus.advance())
            assert poller.step(bus.now_ns) is None
        assert time.monotonic() - begun < WAIT_S / 2
        assert poller.health.paused == (
            'Bus "body": the adapter has not taken a frame for more than 1 s; nothing is asked until it does. '
            "Look at the wires and the bit rate; else unplug it and plug it in again."
        )
        end = time.monotonic() + WAIT_S
        while not bus.entered:
            assert time.monotonic() < end, "the thread that sends does not come to it"
            time.sleep(0.001)
        assert bus.entered == 1
        bus.free.set()
        found = None
        while found is None:
            assert time.monotonic() < end
            time.sleep(0.001)
            requester.feed(bus.advance())
            found = poller.step(bus.now_ns)
        assert answers(found) == [("7E8", "41 0C 1A F8")]
        assert (poller.health.paused, poller.health.requests, poller.health.not_taken) == ("", 1, 0)
    finally:
        bus.free.set()
        requester.close()


def test_a_program_that_was_held_up_does_not_blame_the_adapter() -> None:
    """The thread that sends could not go on either: it has its second once the program goes on."""
    bus = Slow()
    requester = Requester(bus, PERMIT, 0, own_thread=True)
    try:
        requester.feed(bus.advance())
        requester.ask(b"\x01\x0c")
        assert requester.step(bus.now_ns) is None
        bus.now_ns += 3_000 * MS
        held_up_ms = bus.ms
        said = []
        while bus.ms < held_up_ms + 1_500:
            requester.feed(bus.advance())
            assert requester.step(bus.now_ns) is None
            if requester.stuck(bus.now_ns):
                said.append(bus.ms - held_up_ms)
        assert 700 <= said[0] <= 1_000
    finally:
        bus.free.set()
        requester.close()


def test_an_answer_that_came_while_the_program_was_held_up_counts() -> None:
    """The batch that has it says that it is complete to a time long ago."""
    bus = ObdBus(ControlUnit(0x7E8, {0x0C: b"\x1a\xf8"}))
    requester = bus.requester()
    requester.feed(bus.advance())
    requester.ask(b"\x01\x0c")
    assert requester.step(bus.now_ns) is None
    assert requester.step(bus.now_ns + 5_000 * MS) is None
    requester.feed(bus.advance())
    found = requester.step(bus.now_ns + 5_000 * MS)
    while found is None:
        requester.feed(bus.advance())
        found = requester.step(bus.now_ns + 5_000 * MS)
    assert answers(found) == [("7E8", "41 0C 1A F8")]


def test_a_frame_that_was_not_taken_hides_nobody_who_sends_the_same() -> None:
    bus = ObdBus()
    requester = bus.requester()
    bus.is_gone = True
    assert bus.exchange(requester, "01 0D").trouble
    bus.others(bus.ms + 5, 0x7DF, "02 01 0D")
    requester.feed(bus.advance())
    seen = requester.manners.testers.seen
    assert seen is not None
    assert (seen.requests, seen.asked) == (1, ("01 0D",))
