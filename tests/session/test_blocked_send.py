"""A live run that asks while its driver's send blocks, as that of an adapter on a wire that nobody acknowledges on."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from functools import partial
from pathlib import Path

import can
import pytest
from virtual_vehicle import polling_bench

from busprobe.engine.plan import build
from busprobe.report.live_text import LiveStatus, status_line
from busprobe.session import asking
from busprobe.session.live import LiveRun
from busprobe.session.live_bench import LiveOptions, run_live
from busprobe.session.live_scene import LiveScene
from busprobe.session.polling import start_polling
from busprobe.sources.bus import BusSource
from busprobe.sources.clock import Clock
from busprobe.tui.view.requests import request_lines

POLL = 'poll = ["0C", "42"]\nevery = "500 ms"'
NOT_SENT = 'Bus "body": the frame was not sent: Transmit buffer full.'
WAIT_S = 30.0


class Deaf(BusSource):
    """A bus source whose driver takes its time over every frame, and then takes none.

    for_turns: a send takes besides until this many turns have been made meanwhile, `WAIT_S` where none are.
    """

    def __init__(self, *given: object, takes_s: float = 0.5, for_turns: int = 0) -> None:
        super().__init__(*given)  # type: ignore[arg-type]
        self.takes_s, self.for_turns = takes_s, for_turns
        self.tried = self.turns = 0
        self.turned: list[bool] = []
        """Of each send that is over, whether the turns went on."""
        self.free = threading.Event()

    def open(self, clock: Clock) -> None:
        super().open(clock)
        assert self._connection is not None
        self._connection.device.send = self._never  # type: ignore[method-assign]

    def _never(self, _message: can.Message, timeout: float | None = None) -> None:
        assert timeout is not None
        self.tried += 1
        turns = self.turns + self.for_turns
        self.free.wait(self.takes_s)
        end = time.monotonic() + WAIT_S
        while self.turns < turns and time.monotonic() < end:
            time.sleep(0.001)
        self.turned.append(self.turns >= turns)
        raise can.CanOperationError("Transmit buffer full")


@pytest.fixture(autouse=True)
def no_long_listening(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(asking, "start_polling", partial(start_polling, listen_ns=0))


@pytest.fixture
def others(tmp_path: Path) -> Iterator[can.BusABC]:
    """Somebody else on the bus."""
    with can.Bus(interface="virtual", channel=tmp_path.name) as bus:
        yield bus


def frame(number: int) -> can.Message:
    return can.Message(arbitration_id=0x123, is_extended_id=False, data=number.to_bytes(8, "little"))


def until(condition: Callable[[], bool]) -> None:
    end = time.monotonic() + WAIT_S
    while not condition():
        assert time.monotonic() < end, "it does not come"
        time.sleep(0.01)


def test_the_turns_stay_short_and_no_frame_is_lost(tmp_path: Path, others: can.BusABC) -> None:
    """A send of 0.5 s for each waiting batch had made turns of 10 s and more."""
    bench, clock = polling_bench(tmp_path.name, POLL), Clock()
    source = Deaf(bench.buses[0], for_turns=5)
    polling = start_polling(bench, [source], clock, listen_ns=0)
    assert polling is not None
    run = LiveRun(build(bench, {}), [source], clock, observers=(polling.observe,))
    run.start()
    begun, sent = time.monotonic(), 0

    def is_over() -> bool:
        nothing_out = polling._requester._outbox.oldest is None
        return polling.health.not_taken >= 3 and nothing_out and time.monotonic() > begun + 4.0

    while not is_over() and time.monotonic() < begun + WAIT_S:
        others.send(frame(sent))
        sent += 1
        run.turn()
        source.turns += 1
    took_s = time.monotonic() - begun
    polling.stop()
    end = time.monotonic() + WAIT_S
    while run.frames < sent and time.monotonic() < end:
        run.turn()
    run.finish()
    assert source.turned == [True] * source.tried
    assert (run.frames, run.inbox.lost) == (sent, 0)
    assert 3 <= source.tried <= 1 + sum(took_s > wait_s for wait_s in (0.5, 1.5, 3.5, 8.5, 18.5)), "ever more seldom"
    assert (polling.health.requests, polling.health.not_taken) == (0, source.tried)
    (note,) = polling.notes()
    assert note.startswith(f"No OBD request was sent. The adapter did not take {source.tried} OBD requests. ")
    assert NOT_SENT in note


def test_a_run_ends_when_its_time_is_over_and_the_status_says_why_nothing_is_asked(tmp_path: Path) -> None:
    bench = polling_bench(tmp_path.name, POLL)
    shown: list[LiveStatus] = []
    source = Deaf(bench.buses[0], for_turns=3)

    def one_more(_batch: object) -> None:
        source.turns += 1

    begun = time.monotonic()
    run_live(
        build(bench, {}), {}, LiveOptions(for_ns=2_000_000_000, allow_requests=True), show=shown.append,
        sources=[source], observers=(one_more,),
    )  # fmt: skip
    assert time.monotonic() - begun < WAIT_S / 2
    source.turns += source.for_turns
    assert NOT_SENT in status_line(shown[-1])


def test_a_send_that_never_comes_back_is_said_and_lets_the_picture_go_on(tmp_path: Path, others: can.BusABC) -> None:
    bench = polling_bench(tmp_path.name, POLL)
    source = Deaf(bench.buses[0], takes_s=WAIT_S)
    try:
        with closing(LiveScene(build(bench, {}), {}, [source], allow_requests=True)) as scene:
            until(lambda: any("has not taken a frame" in one.paused for one in scene.snapshot().requests))
            lines = ["".join(span.text for span in line) for line in request_lines(scene.snapshot())]
            assert any(line.startswith(' body, requests paused: Bus "body": the adapter has not') for line in lines)
            before_ns = scene.snapshot().t_ns
            others.send(frame(1))
            until(lambda: scene.snapshot().t_ns > before_ns + 500_000_000)
            assert int(scene.snapshot().frames.count.sum()) == 1
            assert source.tried == 1
            begun = time.monotonic()
        assert time.monotonic() - begun < WAIT_S / 2
        assert not scene._thread.is_alive()
    finally:
        source.free.set()
