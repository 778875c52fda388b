"""What nobody can time, or logic could not take in: down and up again, live and in the replay."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scripted import BENCH, ScriptedSource, play, van_batches

from busprobe.frames import LATE, Condition, FrameBatch, InputBatch, SourceState, StateBatch, empty_frames
from busprobe.recording.read import open_recording
from busprobe.session import readers
from busprobe.session.gaps import HELD_UP, NOT_TAKEN_IN, Unsure, lost_states
from busprobe.session.live import LiveRun
from busprobe.session.readers import Came, Inbox, Lost
from busprobe.session.verifying import load_plan, verify
from busprobe.sources.clock import Clock

DOWN, UP = Condition.DOWN, Condition.UP


def batch(*rows: tuple[int, bool]) -> FrameBatch:
    """(time, whether it is flagged) of each frame."""
    n = len(rows)
    zero = np.zeros(n, np.uint8)
    flags = np.array([LATE * late for _, late in rows], np.uint8)
    t_ns = np.array([t for t, _ in rows], np.int64)
    return FrameBatch(t_ns, ("body",), zero, np.full(n, 0x123, np.uint32), flags, zero, np.zeros(n, np.uint64))


def told(unsure: Unsure, given: FrameBatch, from_ns: int) -> list[tuple[int, Condition]]:
    return [(row.t_ns, row.condition) for row in unsure.states("body", given, from_ns)]


@pytest.mark.parametrize(
    ("rows", "states"),
    [
        ([(5, False), (9, False)], []),
        ([(5, False), (9, True), (12, True), (13, False)], [(6, DOWN), (13, UP)]),
        ([(9, True), (13, False)], [(4, DOWN), (10, UP)]),
        ([(5, False), (9, True)], [(6, DOWN)]),
    ],
    ids=["nothing", "in the midst", "from the beginning", "to the end"],
)
def test_rows_that_nobody_can_time(rows: list[tuple[int, bool]], states: list[tuple[int, Condition]]) -> None:
    assert told(Unsure(), batch(*rows), 4) == states


def test_a_backlog_of_several_batches_is_one_gap() -> None:
    unsure = Unsure()
    assert told(unsure, batch((9, True)), 4) == [(4, DOWN)]
    assert told(unsure, batch((12, True), (15, True)), 10) == []
    assert told(unsure, batch(), 16) == [(16, UP)]
    assert told(unsure, batch((20, False)), 17) == []


def test_good_rows_between_two_stalls_are_out_of_both() -> None:
    unsure = Unsure()
    assert told(unsure, batch((9, True)), 4) == [(4, DOWN)]
    assert told(unsure, batch((12, False), (15, True)), 10) == [(10, UP), (13, DOWN)]


def test_polls_too() -> None:
    polls = InputBatch("box", np.array([5, 9]), np.zeros(2, np.uint64), late=np.array([False, True]))
    assert Unsure().states("box", polls, 4) == [SourceState(6, "box", DOWN, HELD_UP)]


def test_what_was_dropped_is_a_gap_and_never_an_empty_one() -> None:
    assert lost_states("body", 4, 20) == [SourceState(4, "body", DOWN, NOT_TAKEN_IN), SourceState(20, "body", UP)]
    assert [row.t_ns for row in lost_states("body", 4, None)] == [4, 5]


# The inbox.


def names(inbox: Inbox) -> list[object]:
    return [(type(e).__name__, e.upto_ns if isinstance(e, Lost) else 0) for e in inbox.take(0.0)]


def test_the_inbox_tells_what_it_dropped_in_its_place(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(readers, "MOST_ROWS", 1)
    inbox = Inbox()
    for t in (1, 2, 3, 4):
        inbox.put(Came("body", batch((t, False))))
    inbox.put(Came("body", empty_frames(("body",), 9)))
    assert names(inbox) == [("Came", 0), ("Came", 0), ("Lost", 4)]
    inbox.put(Came("body", batch((10, False))))
    assert names(inbox) == [("Came", 0)]


# A live run, and its replay.


def flagged(frames: Sequence[FrameBatch], numbers: range) -> list[FrameBatch]:
    """The rows of some batches flagged by their source."""
    return [
        replace(given, flags=given.flags | np.uint8(LATE)) if i in numbers else given for i, given in enumerate(frames)
    ]


def states_in(recording: Path, source: str) -> list[SourceState]:
    with open_recording(recording) as kept:
        rows = [row for given in kept.batches() if isinstance(given, StateBatch) for row in given.rows]
    return [row for row in rows if row.source == source]


def test_signals_are_unknown_where_nobody_knows_when_frames_came(tmp_path: Path) -> None:
    """Live and in the replay; the frames are in the recording, and counted."""
    frames, polls = van_batches(3, 60)
    frames = flagged(frames, range(20, 23))
    recording = tmp_path / "held.duckdb"
    outcome = play(
        [ScriptedSource("body", frames, pause_s=0.002), ScriptedSource("box", polls, pause_s=0.002)], recording
    )
    down, up = states_in(recording, "body")[:2]
    assert (down.condition, down.note, up.condition) == (DOWN, HELD_UP, UP)
    assert int(frames[19].t_ns[-1]) < down.t_ns <= int(frames[20].t_ns[0])
    assert int(frames[22].t_ns[-1]) < up.t_ns <= int(frames[23].t_ns[0])
    assert outcome.results.late == sum(map(len, frames[20:23]))
    replayed = verify(recording, BENCH)
    assert replayed.log == outcome.results.log
    assert replayed.checks == outcome.results.checks
    with open_recording(recording) as kept:
        assert kept.frame_count == sum(map(len, frames))


def box_of(t_s: float, level: int) -> InputBatch:
    t_ns = round(t_s * 1e9) + 1_800_000_000_000_000_000 + np.arange(100) * 10_000_000
    return InputBatch("box", t_ns, np.full(100, level, np.uint64), complete_to_ns=int(t_ns[-1]) + 1)


def test_what_the_inbox_dropped_is_a_gap(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(readers, "MOST_ROWS", 150)
    run = LiveRun(load_plan(BENCH)[0], [ScriptedSource("box", [box_of(0, 0)])], Clock())
    given = [box_of(second, 0) for second in range(5)]
    for one in given[:4]:
        run.inbox.put(Came("box", one))
    for event in run.inbox.take(0.0):
        run._handle(event)
    down, up = run.states
    assert (down.t_ns, down.condition, down.note) == (given[1].complete_to + 1, DOWN, NOT_TAKEN_IN)
    assert (up.t_ns, up.condition) == (given[3].complete_to, UP)
    assert run.status["box"].gaps == 1


def test_a_run_that_began_with_a_frame_has_nothing_from_before_it() -> None:
    """Polls of the last 50 ms come after the frame that woke it; what they tell was before this run."""
    frames, polls = van_batches(3, 8)
    first = next(given for given in frames if len(given))
    start_ns = int(first.t_ns[0])
    kept: list[int] = []

    class Kept:
        def put(self, given: object) -> None:
            kept.extend(given.t_ns.tolist() if isinstance(given, FrameBatch | InputBatch) else [])

        def put_lines(self, lines: object) -> None:
            pass

    sources = [ScriptedSource("body", frames), ScriptedSource("box", polls)]
    run = LiveRun(load_plan(BENCH)[0], sources, Clock(), on_wake=lambda _: Kept())
    run._handle(Came("body", first))
    before = start_ns + np.arange(-4, 20) * 10_000_000
    run._handle(Came("box", InputBatch("box", before, np.zeros(24, np.uint64), complete_to_ns=int(before[-1]) + 1)))
    assert min(kept) == start_ns
    assert len(kept) == len(first) + 20
    run.engine.finish()
    assert all(line.t_ns >= start_ns for line in run.engine._log.lines)
