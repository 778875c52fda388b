"""Which marks of a log the replay bar shows, and what it says of the others."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import pytest

from busprobe.session import log_marks
from busprobe.session.log_marks import KINDS, MOST_MARKS, LogMarks
from busprobe.session.replay_scene import ReplayScene
from busprobe.session.scenes import open_scene
from busprobe.session.snapshot import Mark

S = 1_000_000_000
RECORDINGS = Path(__file__).parents[2] / "recordings"


def given(*marks: tuple[str, int, int]) -> LogMarks:
    """(kind, how many, time of the first in seconds), one a second."""
    log = LogMarks()
    for kind, count, first in marks:
        for n in range(count):
            log.add(Mark((first + n) * S, kind, "Rear white lamp"))
    return log


def test_few_are_all_shown() -> None:
    log = given(*((kind, 2, 0) for kind in KINDS))
    assert Counter(mark.kind for mark in log.shown()) == dict.fromkeys(KINDS, 2)
    assert log.notes(0) == []


def test_a_late_failure_outweighs_any_number_of_triggers() -> None:
    log = given(("trigger", MOST_MARKS + 5, 1), ("failed", 1, 10**6))
    assert Counter(mark.kind for mark in log.shown()) == {"failed": 1, "trigger": MOST_MARKS - 1}
    assert log.notes(S) == ["6 triggers have no mark on the bar of time: the last one shown is at 19998.000 s."]


@pytest.mark.parametrize(
    ("marks", "shown", "notes"),
    [
        (
            [("trigger", 2, 0), ("undecided", 2, 0), ("failed", 2, 0)],
            {"failed": 2, "undecided": 1},
            ["1 undecided occurrence has no mark on the bar of time: the last one shown is at 0.000 s.",
             "2 triggers have no mark on the bar of time."],
        ),
        (
            [("failed", 4, 7), ("marker", 1, 5), ("gap", 1, 0)],
            {"marker": 1, "failed": 2},
            ["2 failed occurrences have no mark on the bar of time: the last one shown is at 8.000 s.",
             "1 gap has no mark on the bar of time."],
        ),
    ],
    ids=["the gravest first", "of one kind the first"],
)  # fmt: skip
def test_room_for_three(
    monkeypatch: pytest.MonkeyPatch, marks: list[tuple[str, int, int]], shown: dict[str, int], notes: list[str]
) -> None:
    monkeypatch.setattr(log_marks, "MOST_MARKS", 3)
    log = given(*marks)
    assert Counter(mark.kind for mark in log.shown()) == shown
    assert log.notes(0) == notes


def test_a_replay_says_of_which_marks_there_were_too_many(monkeypatch: pytest.MonkeyPatch) -> None:
    every, problems = seen()
    assert every["failed"] > 1
    assert not any("no mark" in text for text in problems)
    monkeypatch.setattr(log_marks, "MOST_MARKS", every.total() - 5)
    shown, problems = seen()
    assert shown == every - Counter(trigger=5)
    assert any(text.startswith("5 triggers have no mark") for text in problems)


def seen() -> tuple[Counter[str], Sequence[str]]:
    """The marks of a whole recording by kind, and what is said beside it."""
    scene = open_scene(RECORDINGS / "five_faults.duckdb")
    assert isinstance(scene, ReplayScene)
    scene._thread.join(60)
    marks = scene.player.marks
    assert [mark.t_ns for mark in marks] == sorted(mark.t_ns for mark in marks)
    problems = scene.snapshot().problems
    scene.close()
    return Counter(mark.kind for mark in marks if mark.kind in KINDS), problems
