"""Which signals of a message get in one another's way."""

import pytest

from busprobe.decode.layout import SignalLayout
from busprobe.decode.soundness import faults, quoted


def signal(name, start, length, big_endian=False, *above):
    return SignalLayout(name, start, length, big_endian, False, False, multiplexer=above)


def mode(*values):
    return "Mode", tuple((v, v) for v in values)


MODE = signal("Mode", 0, 4)
INNER = signal("Inner", 4, 4, False, mode(1))
ALL, HALF, LOW, HIGH = signal("All", 0, 16), signal("Half", 0, 8), signal("Low", 0, 4), signal("High", 4, 4)


def second(name, *above):
    """A signal in byte 1."""
    return signal(name, 8, 8, False, *above)


CASES = [
    ("side by side", [signal("A", 0, 8), second("B")], []),
    ("big and little end to end", [signal("A", 7, 12, True), signal("B", 8, 4)], []),
    ("big over little", [signal("A", 7, 12, True), signal("B", 12, 4)], ["A", "B"]),
    ("the last bit of the message", [signal("A", 56, 8), signal("B", 55, 8, True)], []),
    ("same bits, other values of the multiplexer", [MODE, second("A", mode(0)), second("B", mode(1))], []),
    ("same bits, one value in common", [MODE, second("A", mode(0, 1)), second("B", mode(1, 2))], ["A", "B"]),
    ("selected over unselected", [MODE, second("A", mode(0)), second("B")], ["A", "B"]),
    ("selected over its multiplexer", [MODE, signal("A", 0, 8, False, mode(0))], ["Mode", "A"]),
    (
        "branches apart at the outer multiplexer",
        [MODE, INNER, second("A", mode(1), ("Inner", ((0, 9),))), second("B", mode(2))],
        [],
    ),
    (
        "the outer multiplexer selects both, the inner one of them",
        [MODE, INNER, second("A", mode(1), ("Inner", ((0, 9),))), second("B", mode(1))],
        ["A", "B"],
    ),
    ("three in a chain", [signal("A", 0, 8), signal("B", 7, 8, True), signal("C", 40, 8)], ["A", "B"]),
    ("a group of parts", [ALL, LOW, HIGH], ["All"]),
    ("groups in a group", [ALL, HALF, LOW, HIGH], ["All", "Half"]),
    ("only one part", [ALL, LOW], ["All", "Low"]),
    ("parts that overlap", [ALL, LOW, signal("B", 3, 4)], ["All", "Low", "B"]),
    (
        "what depends on a signal left out, and what on that",
        [signal("Mode", 62, 4), INNER, second("A", mode(1), ("Inner", ((1, 1),)))],
        ["Mode", "Inner", "A"],
    ),
]


@pytest.mark.parametrize(("signals", "left_out"), [row[1:] for row in CASES], ids=[row[0] for row in CASES])
def test_left_out(signals, left_out):
    found = {name for fault in faults(8, signals) for name in fault.names}
    assert [s.name for s in signals if s.name in found] == left_out


def test_lists_of_names_stay_short():
    assert quoted(["A"]) == '"A"'
    assert quoted(["A", "B"]) == '"A" and "B"'
    assert quoted("ABCDEF") == '"A", "B", "C", "D", "E" and "F"'
    assert quoted("ABCDEFGH") == '"A", "B", "C", "D", "E", "F" and 2 more'
