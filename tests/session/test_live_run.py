"""A live run: it says what a replay of its recording says, and it survives what happens to adapters."""

from __future__ import annotations

import signal
import threading
import time
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from scripted import BENCH, ScriptedSource, play, van_batches

from busprobe.errors import DeviceError
from busprobe.frames import Condition, FrameBatch, StateBatch
from busprobe.recording.read import open_recording
from busprobe.results import Outcome, Verdict
from busprobe.session import live
from busprobe.session.live import LiveRun
from busprobe.session.live_bench import LiveOptions, run_live
from busprobe.session.readers import Came, Gone
from busprobe.session.verifying import load_plan, verify
from busprobe.sources.clock import Clock
from busprobe.sources.live import batch_end_ns


@pytest.mark.parametrize("seed", [11, 12, 13])
def test_replay_says_what_the_live_run_said(seed: int, tmp_path: Path) -> None:
    """Line by line the same log, the same checks and triggers, for three vans."""
    frames, polls = van_batches(seed)
    recording = tmp_path / "drive.duckdb"
    sources = [ScriptedSource("body", frames, pause_s=0.0005 * (seed % 3)), ScriptedSource("box", polls)]
    live = play(sources, recording).results
    replayed = verify(recording, BENCH)
    assert replayed.log == live.log
    assert replayed.checks == live.checks
    assert replayed.triggers == live.triggers
    with open_recording(recording) as kept:
        assert kept.events() == live.log
    assert len(live.log) > 50


def test_an_adapter_pulled_out_and_back_is_a_gap(tmp_path: Path) -> None:
    """The gap is marked, the signals are unknown meanwhile, and the replay says the same."""
    frames, polls = van_batches(3, 60)
    recording = tmp_path / "gap.duckdb"
    bus = ScriptedSource("body", frames, pause_s=0.01, trouble=30)
    outcome = play([bus, ScriptedSource("box", polls, pause_s=0.01)], recording)
    assert bus.opened == 2
    with open_recording(recording) as kept:
        rows = [row for batch in kept.batches() if isinstance(batch, StateBatch) for row in batch.rows]
    # A source that has given everything gets no further, and is down in the end.
    of_bus = [row for row in rows if row.source == "body"]
    assert [row.condition for row in of_bus][:2] == [Condition.DOWN, Condition.UP]
    assert of_bus[0].note == "body was pulled out."
    replayed = verify(recording, BENCH)
    assert replayed.log == outcome.results.log
    assert replayed.checks == outcome.results.checks


def test_a_source_lost_right_after_a_recording_began_is_down_from_its_beginning() -> None:
    """What was heard before a run begun in mid-run is none of its times."""
    plan, _ = load_plan(BENCH)
    frames, _ = van_batches(3, 10)
    run = LiveRun(plan, [ScriptedSource("body", frames)], Clock())
    run._handle(Came("body", frames[0]))
    assert frames[0].complete_to is not None
    start_ns = frames[0].complete_to + 30_000_000
    run.begin(None, None, start_ns)
    run._handle(Gone("body", "body was pulled out."))
    (row,) = run.states
    assert row.condition is Condition.DOWN
    assert row.t_ns > start_ns


def test_a_reader_that_stalls_is_declared_down_and_its_late_records_are_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It stalls until it is said to be down, however long that takes."""
    is_down, say_down = threading.Event(), LiveRun._down

    def down(run: LiveRun, name: str, note: str) -> None:
        say_down(run, name, note)
        if run.status["box"].gaps:
            is_down.set()

    monkeypatch.setattr(LiveRun, "_down", down)
    frames, polls = van_batches(4, 40)
    recording = tmp_path / "stall.duckdb"
    box = ScriptedSource("box", polls, pause_s=0.005, stall=(20, is_down))
    outcome = play([ScriptedSource("body", frames, pause_s=0.005), box], recording, silent_s=0.1)
    assert is_down.is_set()
    with open_recording(recording) as kept:
        count = sum(len(b) for b in kept.batches() if getattr(b, "box", "") == "box")
    assert count == sum(map(len, polls))
    assert verify(recording, BENCH).log == outcome.results.log


def run_by_hand(monkeypatch: pytest.MonkeyPatch) -> tuple[LiveRun, list[float], list[Came]]:
    """A run whose time is the one entry of a list; a batch of each source has come, the next ones are at hand."""
    now = [100.0]
    monkeypatch.setattr(live, "time", SimpleNamespace(monotonic=lambda: now[0]))
    frames, polls = van_batches(4, 10)
    run = LiveRun(load_plan(BENCH)[0], [ScriptedSource("body", frames), ScriptedSource("box", polls)], Clock())
    run._handle(Came("body", frames[0]))
    run._handle(Came("box", polls[0]))
    return run, now, [Came("body", frames[1]), Came("box", polls[1])]


@pytest.mark.parametrize(
    ("step_s", "turns", "gaps"), [(1.0, 2, 0), (0.04, 5, 1)], ids=["the machine", "the readers alone"]
)
def test_a_machine_that_holds_the_whole_run_up_puts_no_source_down(
    monkeypatch: pytest.MonkeyPatch, step_s: float, turns: int, gaps: int
) -> None:
    """Where the run itself got no further, its readers could not either; where it did, they are silent."""
    run, now, _ = run_by_hand(monkeypatch)
    for _ in range(turns):
        run.turn()
        now[0] += step_s
    assert [status.gaps for status in run.status.values()] == [gaps, gaps]


@pytest.mark.parametrize(
    ("came", "after_s", "is_evaluated"),
    [(2, 0.05, True), (2, 0.02, False), (1, 0.05, False), (1, 0.061, True)],
    ids=["all got further", "too soon", "one did not", "too late to wait"],
)
def test_it_evaluates_once_all_sources_have_got_further(
    monkeypatch: pytest.MonkeyPatch, came: int, after_s: float, *, is_evaluated: bool
) -> None:
    run, now, next_events = run_by_hand(monkeypatch)
    run.turn()
    before = run._advanced
    now[0] += after_s
    for event in next_events[:came]:
        run._handle(event)
    run.turn()
    assert (run._advanced > before) is is_evaluated


@pytest.mark.parametrize(("begins_ms", "ends_ms"), [(0, 50), (39, 50), (40, 100), (49, 100), (50, 100), (75, 100)])
def test_batches_end_at_the_same_instants_and_none_is_short(begins_ms: int, ends_ms: int) -> None:
    assert batch_end_ns(begins_ms * 1_000_000) == ends_ms * 1_000_000


def test_one_source_missing_does_not_hold_the_other_back() -> None:
    frames, _ = van_batches(5, 20)
    bus = ScriptedSource("body", frames)
    outcome = play([bus, ScriptedSource("box", [], missing=True)])
    assert outcome.run.frames == sum(map(len, frames))
    assert outcome.run.status["box"].trouble == "box is not plugged in."


def test_no_source_at_all_is_an_error_that_names_each() -> None:
    with pytest.raises(DeviceError) as error:
        play([ScriptedSource("body", [], missing=True), ScriptedSource("box", [], missing=True)])
    assert str(error.value) == "body is not plugged in.\nbox is not plugged in."


def test_the_system_clock_steps_by_an_hour(monkeypatch: pytest.MonkeyPatch) -> None:
    """Event time comes from the monotonic clock alone."""
    from busprobe.sources.clock import Clock

    clock = Clock()
    before = clock.now_ns()
    real = time.time_ns
    monkeypatch.setattr(time, "time_ns", lambda: real() + 3_600_000_000_000)
    assert 0 <= clock.now_ns() - before < 5_000_000_000


def test_a_slow_observer_loses_nothing(tmp_path: Path) -> None:
    """What watches may be slow: the recording has everything all the same."""
    frames, polls = van_batches(6, 30)
    recording = tmp_path / "slow.duckdb"

    def dawdle(batch: object) -> None:
        time.sleep(0.01)

    outcome = play([ScriptedSource("body", frames), ScriptedSource("box", polls)], recording, observer=dawdle)
    assert outcome.run.inbox.lost == 0
    with open_recording(recording) as kept:
        assert sum(len(b) for b in kept.batches() if isinstance(b, FrameBatch)) == sum(map(len, frames))


def test_the_inbox_counts_what_it_cannot_hold(monkeypatch: pytest.MonkeyPatch) -> None:
    from busprobe.session import readers

    monkeypatch.setattr(readers, "MOST_ROWS", 100)
    inbox = readers.Inbox()
    frames, _ = van_batches(7, 10)
    for batch in frames:
        inbox.put(readers.Came("body", batch))
    taken = sum(len(e.batch) for e in inbox.take(0.0) if isinstance(e, readers.Came))
    assert inbox.lost > 0
    assert taken + inbox.lost == sum(map(len, frames))


def test_ctrl_c_ends_the_run_with_all_that_was_taken_in(tmp_path: Path) -> None:
    """It may come at any instant: the replay says the same, and the handler before is back afterwards."""
    frames, polls = van_batches(8, 30)
    recording = tmp_path / "stopped.duckdb"
    before = signal.getsignal(signal.SIGINT)

    def interrupt(batch: object) -> None:
        if isinstance(batch, FrameBatch) and batch is frames[15]:
            signal.raise_signal(signal.SIGINT)

    outcome = play(
        [ScriptedSource("body", frames, pause_s=0.001), ScriptedSource("box", polls)], recording, observer=interrupt
    )
    assert signal.getsignal(signal.SIGINT) is before
    assert verify(recording, BENCH).log == outcome.results.log


def test_a_driver_that_raises_anything_is_a_gap(monkeypatch: pytest.MonkeyPatch) -> None:
    """The source says what happened and is opened again; the run goes on."""
    frames, polls = van_batches(9, 30)
    bus = ScriptedSource("body", frames, pause_s=0.01)
    read, raised = bus.read, []

    def fails_once() -> FrameBatch:
        if bus.at == 10 and not raised:
            raised.append(1)
            raise ZeroDivisionError("in the driver")
        return read()  # type: ignore[return-value]

    monkeypatch.setattr(bus, "read", fails_once)
    outcome = play([bus, ScriptedSource("box", polls, pause_s=0.01)])
    assert bus.opened == 2
    assert outcome.run.status["body"].gaps >= 1
    assert outcome.run.frames == sum(map(len, frames))


def test_a_hunt_begins_with_the_frame_that_wakes_the_bus(tmp_path: Path) -> None:
    """With on_wake the first frame is in the recording, and the replay says what the run said."""
    frames, polls = van_batches(10, 40)
    recording = tmp_path / "hunt.duckdb"
    outcome = play(
        [ScriptedSource("body", frames, pause_s=0.01), ScriptedSource("box", polls, pause_s=0.01)], recording,
        on_wake=True,
    )  # fmt: skip
    with open_recording(recording) as kept:
        assert kept.frame_count == sum(map(len, frames))
        assert kept.start_ns == next(int(b.t_ns[0]) for b in frames if len(b))
    assert verify(recording, BENCH).log == outcome.results.log


def test_a_box_that_is_gone_for_good_is_no_pass() -> None:
    """Time goes on without any source: what must hold is unknown from the last poll on, never passed."""
    _, polls = van_batches(14, 30)
    box = ScriptedSource("box", polls, pause_s=0.01)
    outcome = play([box], until_down=True)
    charging = next(c for c in outcome.results.checks if c.name == "Charging voltage below 15 V")
    assert charging.verdict is Verdict.UNDECIDED
    (lost,) = [o for o in charging.occurrences if o.outcome is Outcome.UNDECIDED]
    assert lost.t_ns == polls[-1].complete_to + 1
    assert lost.signals is not None
    assert lost.signals["battery"] == "unknown (box down)"


class _Interrupted(threading.Event):
    """Ctrl-C comes again in the midst of the answer to the first, where the event's own lock is held."""

    def set(self) -> None:
        assert not self.entered, "waits for itself"
        self.entered = True
        signal.raise_signal(signal.SIGINT)
        super().set()
        self.entered = False

    entered = False


def test_interrupt_in_the_midst_of_an_interrupt() -> None:
    plan, databases = load_plan(BENCH)
    frames, polls = van_batches(7, 5)
    sources = [ScriptedSource("body", frames), ScriptedSource("box", polls)]
    stop = _Interrupted()

    def show(_status: object) -> None:
        signal.raise_signal(signal.SIGINT)

    run_live(plan, databases, LiveOptions(for_ns=60_000_000_000), show=show, sources=sources, stop=stop)
    assert stop.is_set()


def test_a_source_that_is_lost_last_of_all_makes_the_run_no_longer(tmp_path: Path) -> None:
    """Its row of state comes after all that it gave; stamps that are ahead of the clock leave nothing later."""
    frames, polls = van_batches(3, 20)
    by = Clock().now_ns() + 3_600_000_000_000 - int(polls[0].t_ns[0])
    ahead = [replace(b, t_ns=b.t_ns + by, complete_to_ns=(b.complete_to or 0) + by) for b in frames]
    ahead_too = [replace(b, t_ns=b.t_ns + by, complete_to_ns=(b.complete_to or 0) + by) for b in polls]
    recording = tmp_path / "ahead.duckdb"
    sources = [ScriptedSource("body", ahead, trouble=len(ahead)), ScriptedSource("box", ahead_too, trouble=len(polls))]
    outcome = play(sources, recording)
    assert [row.condition for row in outcome.run.states][:2] == [Condition.DOWN] * 2
    replayed = verify(recording, BENCH)
    assert replayed.end_ns == outcome.results.end_ns
    assert replayed.log == outcome.results.log
    with open_recording(recording) as kept:
        assert kept.events() == outcome.results.log
