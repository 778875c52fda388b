"""Results of the guided walk as events of a recording."""

import json
from pathlib import Path

import pytest

from busprobe.recording.read import open_recording
from busprobe.recording.walk_events import walk_event, walk_results
from busprobe.recording.write import RecordingWriter
from busprobe.results import LogLine, WalkOutcome, WalkResult

T0 = 1_764_000_000_000_000_000
DOOR = WalkResult("rear_door", "door", WalkOutcome.CONFIRMED, 6, None, 1, T0 + 9, 8, 'ON while "open"; µ')
BRAKE = WalkResult("brake", "brake", WalkOutcome.NOT_SEEN, 0, 0, 0, T0 + 5, 8, "")


def test_results_come_back_from_a_recording_in_the_order_found(tmp_path: Path) -> None:
    path = tmp_path / "walk.duckdb"
    other = LogLine(T0, T0, 0, "marker", "here")
    with RecordingWriter(path, about={}, bench={}) as writer:
        writer.add_events([walk_event(DOOR), other, walk_event(BRAKE)])
    with open_recording(path) as kept:
        assert walk_results(kept.events("walk")) == walk_results(kept.events()) == (DOOR, BRAKE)
        assert kept.events("marker") == (other,)
        assert kept.events("marker", "walk") == kept.events()


def test_any_client_can_read_them() -> None:
    """The keys that `walk_events` promises."""
    event = walk_event(DOOR)
    assert (event.kind, event.name, event.t_ns) == ("walk", "rear_door", T0 + 9)
    assert json.loads(event.text) == {
        "role": "door", "outcome": "confirmed", "edges": 6, "bounce": None, "lost": 1, "took_ns": 8,
        "found": 'ON while "open"; µ',
    }  # fmt: skip


UNREADABLE = [
    ("a line of before there were fields", "brake: confirmed; took 1.2 s", "", "brake: confirmed; took 1.2 s"),
    ("an outcome of later", "brake", '{"role": "", "outcome": "?"}', 'brake {"role": "", "outcome": "?"}'),
    ("no object", "brake", "3", "brake 3"),
    ("a list", "brake", "[]", "brake []"),
]


@pytest.mark.parametrize(("name", "text", "said"), [row[1:] for row in UNREADABLE], ids=[r[0] for r in UNREADABLE])
def test_what_cannot_be_read_is_given_as_it_stands(name: str, text: str, said: str) -> None:
    (result,) = walk_results([LogLine(T0, T0, 0, "walk", name, text)])
    assert (result.outcome, result.text, result.t_ns) == (WalkOutcome.NOTED, said, T0)
