"""Threads that read sources: what a broken driver does to them, how often they try again, and how they end."""

from __future__ import annotations

import gc
import sys
import threading
import time
from collections.abc import Sequence

import pytest
from scripted import BENCH, ScriptedSource, van_batches
from test_live_scene import now_batches

from busprobe.errors import DeviceError
from busprobe.frames import Condition, FrameBatch, empty_frames
from busprobe.health import Health
from busprobe.session import live, readers
from busprobe.session.live import LiveRun
from busprobe.session.live_scene import LiveScene
from busprobe.session.readers import Came, Gone, Inbox, Opened, QuickTurns, Reader, stop_all
from busprobe.session.verifying import load_plan, verify
from busprobe.sources.clock import Clock

WAIT_S, TRIES = 20.0, 10


class Time:
    """Time that passes only where somebody waits or reads; gives up a reader after so many waits."""

    def __init__(self, waits: int) -> None:
        self.now_s = 100.0
        self.waited: list[float] = []
        self._most = waits

    def monotonic(self) -> float:
        return self.now_s

    def is_set(self) -> bool:
        return len(self.waited) >= self._most

    def wait(self, seconds: float) -> bool:
        self.waited.append(seconds)
        self.now_s += seconds
        return self.is_set()

    def set(self) -> None:
        self._most = 0


class Flapping:
    """Opens, is read for so long each time, and is gone; None: it does not even open."""

    name = "body"

    def __init__(self, time_: Time, good_s: Sequence[float | None]) -> None:
        self._time = time_
        self._good_s = list(good_s)
        self._until_s = 0.0
        self.count = 0

    def open(self, clock: Clock) -> None:
        self._clock = clock
        good_s = self._good_s.pop(0)
        if good_s is None:
            raise DeviceError("body is not plugged in.")
        self.count += 1
        self._until_s = self._time.now_s + good_s

    def read(self) -> FrameBatch:
        if self._time.now_s >= self._until_s:
            raise DeviceError("bus-off.")
        self._time.now_s += 0.05
        return empty_frames(("body",), self._clock.now_ns())

    def close(self) -> None:
        pass

    def health(self) -> Health:
        return Health(errors=self.count)


def flapped(monkeypatch: pytest.MonkeyPatch, good_s: Sequence[float | None]) -> tuple[list[float], Inbox]:
    """How long a reader waited after each time, and what it put."""
    passing = Time(len(good_s))
    inbox = Inbox()
    reader = Reader(Flapping(passing, good_s), Clock(), inbox)
    monkeypatch.setattr(readers, "time", passing)
    monkeypatch.setattr(reader, "_stop_now", passing)
    reader.run()
    return passing.waited, inbox


@pytest.mark.parametrize(
    ("good_s", "waits"),
    [
        ([None] * 7, [0.5, 1, 2, 5, 10, 10, 10]),
        ([0.1] * 7, [0.5, 1, 2, 5, 10, 10, 10]),
        ([4.9] * 3, [0.5, 1, 2]),
        ([0.1, 0.1, 5.0, 0.1, None], [0.5, 1, 0.5, 1, 2]),
        ([60.0, 60.0], [0.5, 0.5]),
    ],
    ids=["never there", "gone at once", "gone soon", "well for a while", "well"],
)
def test_waits_grow_until_a_source_was_well_for_a_while(
    good_s: list[float | None], waits: list[float], monkeypatch: pytest.MonkeyPatch
) -> None:
    waited, inbox = flapped(monkeypatch, good_s)
    assert waited == waits
    events = inbox.take(0.0)
    assert sum(isinstance(event, Opened) for event in events) == sum(one is not None for one in good_s)
    assert sum(isinstance(event, Gone) for event in events) == len(good_s)


def test_a_loose_plug_makes_few_rows_in_a_day(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a device that opens and fails 0.1 s later, again and again for 8 hours."""
    waited, inbox = flapped(monkeypatch, [0.1] * 3000)
    assert sum(waited) > 8 * 3600
    assert sum(isinstance(event, Opened) for event in inbox.take(0.0)) == 3000


def test_what_is_gone_says_how_its_connection_had_been_doing(monkeypatch: pytest.MonkeyPatch) -> None:
    _, inbox = flapped(monkeypatch, [None, 0.1, None, 0.1])
    found = [event.health for event in inbox.take(0.0) if isinstance(event, Gone)]
    assert found == [None, Health(errors=1), None, Health(errors=2)]


class Breaking(ScriptedSource):
    """A driver that raises anything wherever it can once it is broken."""

    def read(self) -> FrameBatch:
        raise OSError(5, "Input/output error")

    def close(self) -> None:
        raise OSError(5, "Input/output error")

    def health(self) -> Health:
        raise AttributeError("no such port")


def test_a_driver_that_fails_in_closing_is_opened_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(readers, "BACK_OFF_S", (0.01,))
    source, inbox = Breaking("body", []), Inbox()
    reader = Reader(source, Clock(), inbox)
    reader.start()
    end = time.monotonic() + WAIT_S
    while source.opened < 3:
        assert time.monotonic() < end, "it is not opened again"
        time.sleep(0.01)
    assert reader.is_alive()
    stop_all([reader], time.monotonic() + WAIT_S)
    assert not reader.is_alive()
    gone = next(event for event in inbox.take(0.0) if isinstance(event, Gone))
    assert gone.text == "body: its driver failed (OSError: [Errno 5] Input/output error)."


class Hanging(ScriptedSource):
    """A driver that does not come back from reading, or from opening, until `free` is set."""

    def __init__(self, *given: object, opens: bool = True, **more: object) -> None:
        super().__init__(*given, **more)  # type: ignore[arg-type]
        self.hangs, self.free = threading.Event(), threading.Event()
        self._opens = opens

    def open(self, clock: Clock) -> None:
        super().open(clock)
        if not self._opens:
            self.free.wait(WAIT_S)

    def read(self) -> FrameBatch:
        if self.hangs.is_set():
            self.free.wait(WAIT_S)
        return super().read()  # type: ignore[return-value]


def test_readers_that_hang_are_waited_for_together_and_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Unless the machine holds the test up; of a few times it does not do so each time."""
    monkeypatch.setattr(live, "STOPPING_S", 0.5)
    frames, polls = van_batches(1, 10)
    took: list[float] = []
    while not took or (len(took) < TRIES and min(took) >= 0.95):
        sources = [Hanging("body", frames, pause_s=0.02), Hanging("box", polls, pause_s=0.02)]
        run = LiveRun(load_plan(BENCH)[0], sources, Clock())
        run.start()
        try:
            for source in sources:
                source.hangs.set()
            time.sleep(0.1)
            begun = time.monotonic()
            run.finish()
            run.stop()
            took.append(time.monotonic() - begun)
        finally:
            for source in sources:
                source.free.set()
    assert 0.4 < min(took) < 0.95


def test_a_recording_is_closed_although_all_drivers_hang(tmp_path) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "hung.duckdb"
    frames, polls = now_batches(1)
    sources = [Hanging("body", frames, pause_s=0.05), Hanging("box", polls, pause_s=0.05)]
    scene = LiveScene(*load_plan(BENCH), sources)
    try:
        assert scene.start_recording(str(path)) == ""
        end = time.monotonic() + WAIT_S
        while (now := scene.snapshot().recorder) is None or not now.rows:
            assert time.monotonic() < end
            time.sleep(0.02)
        for source in sources:
            source.hangs.set()
        time.sleep(0.2)
        waits: list[float] = []
        wait = readers.stop_all
        patch = pytest.MonkeyPatch()
        patch.setattr(live, "stop_all", lambda ours, by_s: (waits.append(by_s - time.monotonic()), wait(ours, by_s)))
        scene.close()
        patch.undo()
        assert sum(max(wait_s, 0.0) for wait_s in waits) <= live.STOPPING_S, "the readers are waited for once, 2 s"
        assert not scene._thread.is_alive()
        assert not path.with_name(path.name + ".wal").exists()
        assert verify(path, BENCH).frames > 0
    finally:
        for source in sources:
            source.free.set()
        scene.close()


def test_a_driver_that_hangs_while_it_is_opened_holds_no_picture_up() -> None:
    frames, polls = van_batches(1, 5)
    body = Hanging("body", frames, opens=False)
    begun = time.monotonic()
    scene = LiveScene(*load_plan(BENCH), [body, ScriptedSource("box", polls, missing=True)])
    try:
        assert time.monotonic() - begun < WAIT_S / 2
        assert scene.snapshot().mode == "live"
    finally:
        body.free.set()
        scene.close()


def test_a_driver_that_hangs_from_the_start_is_down_from_the_start(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its bus is not asleep: what it carries is unknown."""
    monkeypatch.setattr(live, "OPENING_S", 0.3)
    frames, polls = van_batches(1, 5)
    body = Hanging("body", frames, opens=False)
    run = LiveRun(load_plan(BENCH)[0], [body, ScriptedSource("box", polls, pause_s=0.02)], Clock())
    run.start(must_open=False)
    try:
        end = time.monotonic() + WAIT_S
        while not [row for row in run.states if row.source == "body"]:
            assert time.monotonic() < end
            run.turn()
        (row,) = (row for row in run.states if row.source == "body")
        assert (row.t_ns, row.condition) == (run.start_ns, Condition.DOWN)
        assert row.note == run.status["body"].trouble == "body gives nothing: its driver hangs."
    finally:
        body.free.set()
        run.stop()


def test_a_run_that_begins_while_a_source_is_down_says_so_from_its_very_beginning() -> None:
    """Whatever was said of the source in the run before, which went on to a little after."""
    frames, _ = van_batches(3, 10)
    run = LiveRun(load_plan(BENCH)[0], [ScriptedSource("body", frames)], Clock())
    start_ns = frames[0].complete_to
    assert start_ns is not None
    run._handle(Came("body", frames[0]))
    run._handle(Came("body", frames[1]))
    run._handle(Gone("body", "body was pulled out."))
    assert run.states[-1].t_ns > start_ns
    run.begin(None, None, start_ns)
    assert [(row.t_ns, row.condition) for row in run.states] == [(start_ns, Condition.DOWN)]


def test_while_readers_run_what_is_there_is_not_looked_through_for_garbage(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of two runs, one beginning before the other has ended, the last to end puts back what was before."""
    monkeypatch.setattr(QuickTurns, "_lasting", set())  # those that other tests left
    found_s = sys.getswitchinterval()
    sys.setswitchinterval(0.005)
    try:
        first, second = QuickTurns(), QuickTurns()
        first.begin()
        second.begin()
        first.end()
        first.end()
        assert gc.get_freeze_count() > 1000
        assert sys.getswitchinterval() < 0.005
        second.end()
        assert gc.get_freeze_count() == 0
        assert sys.getswitchinterval() == pytest.approx(0.005)
    finally:
        sys.setswitchinterval(found_s)
