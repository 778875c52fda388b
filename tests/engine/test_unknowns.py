"""When signals were unknown, however their timelines grow."""

from __future__ import annotations

import copy

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from busprobe.engine.unknowns import Unknowns
from busprobe.results import Stretch
from busprobe.timeline import ASLEEP, FALSE, TRUE, UNKNOWN, Changes, Timeline

END = 100
CASES = {
    "never": ([(10, TRUE)], []),
    "known before and after": ([(10, TRUE), (20, UNKNOWN), (30, FALSE)], [(20, 30)]),
    "to the end": ([(10, TRUE), (20, UNKNOWN)], [(20, None)]),
    "sleep ends it and is none": ([(20, UNKNOWN), (30, ASLEEP), (40, UNKNOWN), (50, TRUE)], [(20, 30), (40, 50)]),
    "twice unknown is one": ([(20, UNKNOWN), (25, UNKNOWN), (30, TRUE)], [(20, 30)]),
}


def grown(points: list[tuple[int, int]], cuts: list[int]) -> Unknowns:
    """Of a timeline that grows in some steps."""
    unknowns, line = Unknowns(), Timeline()
    before = 0
    for cut in sorted({*cuts, END}):
        part = [(t, code) for t, code in points if before <= t < cut]
        times, codes = np.array([t for t, _ in part], np.int64), np.array([c for _, c in part], np.uint8)
        line.extend(Changes(times, codes, None, cut))
        unknowns.take("gear", line)
        before = cut
    return unknowns


@pytest.mark.parametrize("case", CASES)
def test_stretches(case: str) -> None:
    points, expected = CASES[case]
    assert grown(points, []).all() == [Stretch("gear", *times) for times in expected]


@given(
    st.lists(st.tuples(st.integers(1, 99), st.sampled_from((FALSE, TRUE, UNKNOWN, ASLEEP))), unique_by=lambda p: p[0]),
    st.lists(st.integers(1, 99)),
)
def test_however_it_is_cut(points: list[tuple[int, int]], cuts: list[int]) -> None:
    assert grown(sorted(points), cuts).all() == grown(sorted(points), []).all()


def test_a_twin_knows_nothing_of_it() -> None:
    unknowns = grown(CASES["to the end"][0], [])
    assert copy.deepcopy(unknowns).all() == []
    assert len(unknowns.all()) == 1
