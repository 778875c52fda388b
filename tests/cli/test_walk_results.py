"""`verify` and `survey` of a recording with results of the guided walk."""

import json
from pathlib import Path

import pytest

from busprobe.errors import Problems
from busprobe.recording.walk_events import walk_event
from busprobe.recording.write import RecordingWriter
from busprobe.results import LogLine, WalkOutcome, WalkResult
from busprobe.sources.candump import read

SECOND = 1_000_000_000
START = 1_768_374_000 * SECOND


def result(signal: str, at_s: int, outcome: WalkOutcome, text: str) -> WalkResult:
    return WalkResult(signal, "door", outcome, 6, None, 0, START + at_s * SECOND, 8 * SECOND, text)


@pytest.fixture
def walked(folder: Path) -> Path:
    """The drive as a recording, in which the rear door was asked for twice, the side door before it began."""
    path = folder / "walked.duckdb"
    with RecordingWriter(path, about={"start_ns": str(START)}, bench={}) as writer:
        for batch in read(folder / "good.log", Problems(), 10_000):
            writer.add(batch)
        writer.add_events(
            [
                walk_event(result("side_door", -60, WalkOutcome.CONFIRMED, "ON while the door is open")),
                walk_event(result("rear_door", 1, WalkOutcome.NOT_SEEN, "0 of 6 edges, says off")),
                LogLine(START, START, 0, "marker", "no result", ""),
                walk_event(result("rear_door", 3, WalkOutcome.WRONG_WAY, "OFF while the door is open")),
            ]
        )
    return path


SAID = """
Guided walk
===========
result           signal            edges  lost    took         at  found
---------------  ----------------  -----  ----  ------  ---------  --------------------------
confirmed        side_door (door)      6     0  8.00 s  -60.000 s  ON while the door is open
wrong way round  rear_door (door)      6     0  8.00 s    3.000 s  OFF while the door is open
1 of 2 confirmed, 1 wrong way round.
Earlier results, superseded: rear_door not seen at 1.000 s.
A time below zero is before the recording began: results found by then were written into it as
it did.
"""


@pytest.mark.parametrize("command", ["verify", "survey"])
def test_the_newest_of_each_role_is_printed_and_all_are_in_the_json(busprobe, walked: Path, command: str) -> None:
    said = busprobe(f"{command} walked.duckdb --bench van.toml --json out.json")
    assert said.status == 0
    assert SAID in said.out
    report = json.loads(Path("out.json").read_text())
    assert [(one["signal"], one["t_s"], one["outcome"], one["superseded"]) for one in report["walk"]] == [
        ("side_door", -60.0, "confirmed", False),
        ("rear_door", 1.0, "not seen", True),
        ("rear_door", 3.0, "wrong way round", False),
    ]


@pytest.mark.parametrize("command", ["verify", "survey"])
def test_without_a_walk_there_is_no_section_and_an_empty_list(busprobe, command: str) -> None:
    said = busprobe(f"{command} good.log --bench van.toml --json out.json")
    assert "Guided walk" not in said.out
    assert json.loads(Path("out.json").read_text())["walk"] == []


def test_a_walk_that_found_a_role_wrong_changes_no_exit_status(busprobe, walked: Path) -> None:
    """The status is that of the checks alone."""
    assert busprobe("verify walked.duckdb --bench van.toml").status == 0
