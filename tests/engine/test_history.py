"""Change points kept for looking back: what is appended in pieces is the whole."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busprobe.engine.history import History
from busprobe.timeline import ASLEEP, FALSE, NEVER, TRUE, UNKNOWN, Changes


def condition(points: list[tuple[int, int]], upto_ns: int, quiet: tuple[int, ...] = ()) -> Changes:
    t, code = np.array(points, np.int64).reshape(-1, 2).T
    return Changes(t, code.astype(np.uint8), None, upto_ns, None, np.array(quiet, np.int64))


@pytest.mark.parametrize(
    ("points", "edges"),
    [
        pytest.param([(10, TRUE)], 0, id="asleep to true is none"),
        pytest.param([(10, FALSE), (20, TRUE)], 1, id="false to true"),
        pytest.param([(10, FALSE), (20, TRUE), (30, FALSE)], 2, id="there and back"),
        pytest.param([(10, FALSE), (20, UNKNOWN), (30, TRUE)], 0, id="unknown between"),
        pytest.param([(10, TRUE), (20, ASLEEP), (30, FALSE)], 0, id="asleep between"),
    ],
)
def test_edges_are_changes_from_known_to_known(points: list[tuple[int, int]], edges: int) -> None:
    history = History(True)
    history.append(condition(points, 100))
    assert history.past.edges[-1] == edges


def test_another_source_that_takes_over_is_no_edge() -> None:
    history = History(True)
    history.append(condition([(10, FALSE), (20, TRUE), (30, FALSE)], 100, quiet=(20,)))
    assert history.past.edges.tolist() == [0, 0, 0, 1]


def test_an_edge_over_the_border_of_two_pieces_counts() -> None:
    history = History(True)
    history.append(condition([(10, FALSE)], 15))
    history.append(condition([(20, TRUE)], 25))
    assert history.past.edges[-1] == 1


def test_a_point_at_which_only_changes_when_it_can_be_told_begins_nothing() -> None:
    """As of a lamp that goes on flashing, or where another source gives what makes it true."""
    history = History(True)
    t, code = np.array([10, 20, 30, 40]), np.array([FALSE, TRUE, TRUE, FALSE], np.uint8)
    history.append(Changes(t, code, None, 50, np.array([NEVER, 25, 35, 60])))
    history.append(Changes(np.array([50]), np.array([FALSE], np.uint8), None, 60, np.array([70])))
    assert history.past.t_ns.tolist() == [NEVER, 10, 20, 40]
    assert history.past.edges.tolist() == [0, 0, 1, 2]


def test_a_quantity_keeps_its_values() -> None:
    history = History(False)
    history.append(Changes(np.array([10, 20, 30]), np.array([TRUE, TRUE, UNKNOWN], np.uint8),
                           np.array([1.5, 2.5, np.nan]), 40))  # fmt: skip
    past = history.past
    assert past.value[past.index_at(25)] == 2.5
    assert past.edges.tolist() == [0, 0, 1, 1]
    assert past.code[past.index_at(5)] == ASLEEP


def test_what_holds_from_the_very_start_replaces_asleep() -> None:
    """A condition that nothing has to be seen for, such as one of constants."""
    history = History(True)
    before = history.past
    history.append(condition([(NEVER, FALSE), (10, TRUE)], 20))
    assert history.past.code.tolist() == [FALSE, TRUE]
    assert history.past.edges.tolist() == [0, 1]
    assert before.code.tolist() == [ASLEEP]


def test_forgetting_keeps_what_holds_and_the_count_of_edges() -> None:
    history = History(True)
    history.append(condition([(k, k % 2) for k in range(5000)], 5000))
    before = history.past
    history.forget(4000)
    past = history.past
    assert int(past.t_ns[0]) == 4000
    assert past.code[past.index_at(4500)] == FALSE
    assert past.edges[past.index_at(4500)] == 4500
    history.append(condition([(6000, UNKNOWN)], 6001))
    assert len(history.past.t_ns) == len(past.t_ns) + 1
    assert len(before.t_ns) == 5001


_POINTS = st.lists(st.sampled_from([FALSE, TRUE, UNKNOWN, ASLEEP]), min_size=1, max_size=60)


@settings(max_examples=100, deadline=None)
@given(_POINTS, st.lists(st.integers(0, 60)))
def test_any_cut_gives_the_same_past(codes: list[int], cuts: list[int]) -> None:
    points = [(10 * k, code) for k, code in enumerate(codes)]
    whole, pieces = History(True), History(True)
    whole.append(condition(points, 1000))
    earlier = []
    for start, stop in zip([0, *sorted(cuts)], [*sorted(cuts), len(points)], strict=True):
        pieces.append(condition(points[start:stop], 10 * stop))
        earlier.append((pieces.past, pieces.past.code.tolist()))
    for one, other in zip(whole.past, pieces.past, strict=True):
        np.testing.assert_array_equal(one, other)
    assert all(past.code.tolist() == codes for past, codes in earlier)
