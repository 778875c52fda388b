"""When sources were down, in words."""

import signal
import time
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scripted import BENCH, ScriptedSource, play, van_batches

from busprobe.frames import Condition, FrameBatch, SourceState, empty_frames
from busprobe.session.downs import NEWEST, Down, Downs, DownsNow, down_notes
from busprobe.session.live import LiveRun
from busprobe.session.readers import Came
from busprobe.session.surveying import survey
from busprobe.session.verifying import load_plan, verify
from busprobe.sources.clock import Clock

S = 1_000_000_000
UP, DOWN = Condition.UP, Condition.DOWN


def rows(*states: tuple[float, Condition] | tuple[float, Condition, str]) -> list[SourceState]:
    return [SourceState(round(t * S), "box", *rest) for t, *rest in states]


TOLD = {
    "never": ([], []),
    "once": (
        [(8.15, DOWN), (16.66, UP)],
        ["box was down from 8.150 s to 16.660 s (8.51 s); its signals are unknown there."],
    ),
    "to the end": ([(50, DOWN)], ["box was down from 50.000 s to the end; its signals are unknown there."]),
    "with the reason": (
        [(50, DOWN, "its reader is silent.")],
        ["box was down from 50.000 s to the end (its reader is silent); its signals are unknown there."],
    ),
    "with reasons, each where it changes": (
        [(1, DOWN, "no power"), (2, UP), (3, DOWN, "no power"), (4, UP), (5, DOWN, "no answer")],
        [
            (
                "box was down 3 times: from 1.000 s to 2.000 s (1 s; no power), from 3.000 s to 4.000 s (1 s), "
                "from 5.000 s to the end (no answer); its signals are unknown there."
            )
        ],
    ),
    "said twice": ([(8, DOWN), (9, DOWN), (10, UP), (11, UP)],
                   ["box was down from 8.000 s to 10.000 s (2 s); its signals are unknown there."]),
    "twice": (
        [(1, DOWN), (2, UP), (3, DOWN)],
        [
            (
                "box was down 2 times: from 1.000 s to 2.000 s (1 s), from 3.000 s to the end; "
                "its signals are unknown there."
            )
        ],
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", TOLD)
def test_downs(case: str) -> None:
    states, notes = TOLD[case]
    assert down_notes(rows(*states), 0) == notes


def test_many_downs_are_told_in_part() -> None:
    states = rows(*((t, DOWN if t % 2 else UP) for t in range(1, 17)))
    (note,) = down_notes(states, 0)
    assert note.startswith("box was down 8 times: from 1.000 s")
    assert note.endswith("from 9.000 s to 10.000 s (1 s) and 3 more; its signals are unknown there.")


def test_a_replay_has_the_notes_of_the_live_run(tmp_path: Path) -> None:
    """Of a source that was pulled out, and of one that was never there."""
    frames, polls = van_batches(3, 30)
    recording = tmp_path / "gap.duckdb"
    bus = ScriptedSource("body", frames, pause_s=0.01, trouble=15)
    outcome = play([bus, ScriptedSource("box", polls, missing=True)], recording)
    downs = [note for note in outcome.notes() if "was down" in note]
    assert downs[0].startswith("body was down ")
    never = "box was never there: box is not plugged in; its signals are unknown."
    assert never in outcome.notes()
    for notes in (verify(recording, BENCH).notes, survey(recording, BENCH).notes):
        assert [note for note in notes if "was down" in note] == downs
        assert never in notes


def test_a_second_ctrl_c_is_answered_and_changes_nothing(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    frames, polls = van_batches(8, 30)
    recording = tmp_path / "stopped.duckdb"

    def interrupt(batch: object) -> None:
        if isinstance(batch, FrameBatch) and batch is frames[15]:
            for _ in range(3):
                signal.raise_signal(signal.SIGINT)

    outcome = play([ScriptedSource("body", frames), ScriptedSource("box", polls)], recording, observer=interrupt)
    assert capfd.readouterr().err == "\nFinishing; the recording is being closed.\n"
    assert verify(recording, BENCH).log == outcome.results.log


@pytest.mark.parametrize("advances", [(), (0,), (1,), (0, 1, 2)])
def test_a_source_that_comes_back_at_once_was_down_before_it_was_up(advances: tuple[int, ...]) -> None:
    """Whenever logic went on meanwhile; and its bus falls asleep like any other."""
    frames, polls = van_batches(3, 40)
    body = [batch for batch in frames if len(batch) > 50]
    sources = [ScriptedSource("body", body), ScriptedSource("box", polls)]
    run = LiveRun(load_plan(BENCH)[0], sources, Clock())
    run.start_ns = int(body[0].t_ns[0])
    for number, batch in enumerate(body[:4]):
        run._handle(Came("body", batch))
        if number in advances:
            run.engine.advance()
        run._down("body", "its reader is silent")
    run._handle(Came("body", body[4]))
    times = [row.t_ns for row in run.states]
    assert [row.condition for row in run.states] == [DOWN, UP] * 4
    assert all(a < b for a, b in pairwise(times))
    (note,) = down_notes(run.states, times[0])
    assert "-" not in note
    assert "to the end" not in note
    last = int(body[4].t_ns[-1])
    for source in sources:
        run._handle(Came(source.name, empty_frames(("body",), last + 5 * S)))
    lines = run.engine.finish().log
    assert ("asleep", last) in [(line.kind, line.t_ns) for line in lines]


STATES = st.lists(
    st.tuples(st.integers(0, 5), st.sampled_from(["body", "box"]), st.sampled_from([DOWN, UP])), max_size=40
)


def naive(states: list[SourceState], source: str, t_ns: int) -> list[Down]:
    """All of it from the beginning, for one instant."""
    spans: list[Down] = []
    for row in (row for row in states if row.source == source and row.t_ns <= t_ns):
        is_down = bool(spans) and spans[-1].end_ns is None
        if row.condition is DOWN and not is_down:
            spans.append(Down(row.t_ns, None, row.note))
        elif row.condition is UP and is_down:
            spans[-1] = Down(spans[-1].begin_ns, row.t_ns, spans[-1].note)
    return spans


@given(STATES)
def test_kept_as_they_come_they_are_those_of_the_whole_list_at_any_instant(
    steps: list[tuple[int, str, Condition]],
) -> None:
    """Rows of one source are in time order, and no two of them at one time."""
    said = {"body": 0, "box": 0}
    states, kept = [], Downs()
    for number, (step, source, condition) in enumerate(steps):
        said[source] += step + 1
        states.append(SourceState(said[source], source, condition, str(number)))
        kept.add(states[-1:])
    for t_ns in range(max(said.values()) + 2):
        for source in said:
            spans = naive(states, source, t_ns)
            assert kept.of(source, t_ns) == DownsNow(len(spans), tuple(spans[-NEWEST:]))
            last = next((row for row in reversed(states) if row.source == source and row.t_ns <= t_ns), None)
            assert (kept.of(source, t_ns).last is not None) == (last is not None and last.condition is DOWN)
            times = [row.t_ns for row in states if row.source == source]
            assert kept.has_state(source, t_ns, t_ns + 2) == any(t_ns <= t <= t_ns + 2 for t in times)
        assert kept.at(t_ns) == {name: kept.of(name, t_ns) for name in said if kept.of(name, t_ns).count}
    assert {name for name in said if kept.knows(name)} == {row.source for row in states}


def test_of_very_many_a_picture_looks_at_the_newest_only() -> None:
    """A loose plug, 100,000 states: looking through them all takes a tenth of a second and more, each time."""
    kept, count = Downs(), 50_000
    kept.add(SourceState(k, "body", UP if k % 2 else DOWN, "bus-off") for k in range(2 * count))
    begun = time.thread_time()
    for t_ns in range(0, 2 * count, 100):
        assert kept.at(t_ns)["body"].count == t_ns // 2 + 1
    assert time.thread_time() - begun < 5.0
