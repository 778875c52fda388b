"""Results of the guided walk, as text and as JSON."""

import pytest

from busprobe.report.as_json import walk_json
from busprobe.report.table import fitted
from busprobe.report.walk import newest, result_line, walk_lines
from busprobe.results import WalkOutcome, WalkResult

SECOND = 1_000_000_000
START = 1_768_374_000 * SECOND


def found(signal: str, at_s: float, outcome: WalkOutcome = WalkOutcome.CONFIRMED, **more: object) -> WalkResult:
    fields: dict[str, object] = {
        "role": "door", "edges": 6, "bounce": 0, "losses": 0, "took_ns": 8 * SECOND,
        "text": "ON while the door is open",
    } | more  # fmt: skip
    return WalkResult(signal=signal, outcome=outcome, t_ns=START + round(at_s * SECOND), **fields)  # type: ignore[arg-type]


BRAKE = found("brake", -94.25, role="brake", text="ON while the pedal is pressed", took_ns=4_200_000_000)
EARLY = found("rear_door", 12.0, WalkOutcome.NOT_SEEN, edges=0, text="0 of 6 edges, says off", took_ns=90 * SECOND)
SIDE = found("side_door", 40.5, WalkOutcome.WRONG_WAY, bounce=None, losses=1, text="OFF while the door is open")
WIGGLE = found("rear_door", 60.0, WalkOutcome.WIGGLED, role="", edges=3, bounce=None, losses=2, text="")
LATE = found("rear_door", 73.412)
NOTED = found("", 80.0, WalkOutcome.NOTED, text="gear: confirmed; 8 edges, bounce 0, lost 0; took 9.0 s")
ALL = (BRAKE, EARLY, SIDE, WIGGLE, LATE, NOTED)

SECTION = """
Guided walk
===========
result           signal            edges  bounce  lost    took         at  found
---------------  ----------------  -----  ------  ----  ------  ---------  --------------------------------
confirmed        brake                 6       0     0  4.20 s  -94.250 s  ON while the pedal is pressed
wrong way round  side_door (door)      6             1  8.00 s   40.500 s  OFF while the door is open
wiggle test      rear_door             3             2  8.00 s   60.000 s
confirmed        rear_door (door)      6       0     0  8.00 s   73.412 s  ON while the door is open
noted                                                            80.000 s  gear: confirmed; 8 edges, bounce
                                                                           0, lost 0; took 9.0 s
2 of 3 confirmed, 1 wrong way round.
Earlier results, superseded: rear_door not seen at 12.000 s.
A time below zero is before the recording began: results found by then were written into it as
it did.
"""


def test_the_newest_of_each_signal_counts_and_a_wiggle_test_by_itself() -> None:
    assert newest(ALL) == [BRAKE, SIDE, WIGGLE, LATE, NOTED]


def test_the_section_says_when_and_what_is_superseded() -> None:
    assert "\n".join(walk_lines(ALL, START)) + "\n" == SECTION


def test_of_one_result_nothing_else_is_said() -> None:
    assert walk_lines((LATE,), START)[6:] == ["1 of 1 confirmed."]
    assert walk_lines((WIGGLE,), START)[6:] == []


def test_no_result_no_section() -> None:
    assert walk_lines((), START) == []


@pytest.mark.parametrize("width", [60, 80, 100])
def test_the_section_fits(width: int) -> None:
    with fitted(width):
        assert [line for line in walk_lines(ALL, START) if len(line) > width] == []


LINES = [
    ("a door", LATE, "rear_door (door): confirmed; 6 edges, bounce 0, lost 0; ON while the door is open; took 8.00 s"),
    (
        "a role of the same name", BRAKE,
        "brake: confirmed; 6 edges, bounce 0, lost 0; ON while the pedal is pressed; took 4.20 s",
    ),
    (
        "bounce not measured", SIDE,
        "side_door (door): wrong way round; 6 edges, lost 1; OFF while the door is open; took 8.00 s",
    ),
    ("a wiggle test", WIGGLE, "Wiggle test of rear_door: 3 edges, lost 2× in 8.00 s"),
    ("an earlier line", NOTED, "gear: confirmed; 8 edges, bounce 0, lost 0; took 9.0 s"),
]  # fmt: skip


@pytest.mark.parametrize(("result", "line"), [row[1:] for row in LINES], ids=[row[0] for row in LINES])
def test_one_line(result: WalkResult, line: str) -> None:
    assert result_line(result) == line


def test_json_has_every_result_with_what_supersedes_it() -> None:
    told = walk_json(ALL, START)
    assert [(one["signal"], one["outcome"], one["superseded"]) for one in told] == [
        ("brake", "confirmed", False), ("rear_door", "not seen", True), ("side_door", "wrong way round", False),
        ("rear_door", "wiggle test", False), ("rear_door", "confirmed", False), ("", "noted", False),
    ]  # fmt: skip
    assert told[0] == {
        "signal": "brake", "role": "brake", "outcome": "confirmed", "superseded": False,
        "t_ns": START - 94_250_000_000, "t_s": -94.25, "took_s": 4.2, "edges": 6, "bounce": 0, "lost": 0,
        "found": "ON while the pedal is pressed",
    }  # fmt: skip
    assert told[2]["bounce"] is None
    assert walk_json((), START) == []
