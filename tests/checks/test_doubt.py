"""How exactly the time between two edges is known: the table of DEVELOPERS.md, and the bound that it stands for."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busprobe.checks.doubt import NO_DOUBT, Doubt, between, widest

BUS, SAME_BUS, OTHER_BUS = Doubt(0, 5, "body"), Doubt(0, 5, "body"), Doubt(0, 3, "chassis")
LINE, SLOW = Doubt(10, 2, "box"), Doubt(20, 3, "rear box")
TABLE = [
    ("a bus to an input line", BUS, LINE, 17, "10 + 5 + 2 ms"),
    ("two lines of one box", LINE, LINE, 12, "10 + 2 ms"),
    ("lines of two boxes", LINE, SLOW, 25, "20 + 2 + 3 ms"),
    ("two messages of one bus", BUS, SAME_BUS, 5, "5 ms"),
    ("messages of two buses", BUS, OTHER_BUS, 8, "5 + 3 ms"),
    ("OBD answers to an input line", Doubt(500), LINE, 502, "500 + 2 ms"),
]


@pytest.mark.parametrize(("edges", "one", "other", "ms", "sum_"), TABLE, ids=[row[0] for row in TABLE])
def test_between_two_edges(edges: str, one: Doubt, other: Doubt, ms: int, sum_: str) -> None:
    assert between(one, other) == between(other, one) == ms
    assert sum(int(part) for part in sum_.removesuffix(" ms").split(" + ")) == ms
    guide = Path(__file__).parents[2].joinpath("DEVELOPERS.md").read_text(encoding="utf-8")
    assert any(line.startswith(f"| {edges}") and line.endswith(f"| {sum_} |") for line in guide.splitlines())


@pytest.mark.parametrize(
    ("doubts", "found"),
    [
        ([], NO_DOUBT),
        ([NO_DOUBT, LINE], LINE),
        ([LINE, LINE], LINE),
        ([Doubt(0, 0, "body"), LINE], LINE),
        ([LINE, SLOW], Doubt(20, 3)),
        ([LINE, BUS], Doubt(10, 5)),
    ],
    ids=["none", "one", "one source", "one that is sure", "two boxes", "a box and a bus"],
)
def test_of_several_causes(doubts: list[Doubt], found: Doubt) -> None:
    assert widest(doubts) == found


MS = st.integers(0, 1000)


@given(MS, MS, st.floats(0, 1), st.floats(0, 1), st.integers(-50, 50))
def test_polled_edges_are_never_further_apart_than_said(
    one: int, other: int, share: float, share_: float, off: int
) -> None:
    """Wherever in its gap each edge happened, and whatever the clock of their box was off by."""
    told = 5000 - 2000
    first, second = 2000 - share * one + off, 5000 - share_ * other + off
    assert abs((second - first) - told) <= between(Doubt(one, 50, "box"), Doubt(other, 50, "box"))
