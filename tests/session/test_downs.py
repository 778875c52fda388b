"""When sources were down, in words."""

import signal
from pathlib import Path

import pytest
from scripted import BENCH, ScriptedSource, play, van_batches

from busprobe.frames import Condition, FrameBatch, SourceState
from busprobe.session.downs import down_notes
from busprobe.session.live_bench import live_notes
from busprobe.session.surveying import survey
from busprobe.session.verifying import verify

S = 1_000_000_000
UP, DOWN = Condition.UP, Condition.DOWN


def rows(*states: tuple[float, Condition]) -> list[SourceState]:
    return [SourceState(round(t * S), "box", condition) for t, condition in states]


TOLD = {
    "never": ([], []),
    "once": (
        [(8.15, DOWN), (16.66, UP)],
        ["box was down from 8.150 s to 16.660 s (8.51 s); its signals are unknown there."],
    ),
    "to the end": ([(50, DOWN)], ["box was down from 50.000 s to the end; its signals are unknown there."]),
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
    downs = [note for note in live_notes(outcome) if "was down" in note]
    assert downs[0].startswith("body was down ")
    assert "box was never there: box is not plugged in." in live_notes(outcome)
    for notes in (verify(recording, BENCH).notes, survey(recording, BENCH).notes):
        assert [note for note in notes if "was down" in note] == downs
        assert "box was never there; its signals are unknown." in notes


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
