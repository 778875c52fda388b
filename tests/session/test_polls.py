"""The wires of a box at any time: as `thresholds` of the engine says it, however the polls came in batches."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from busprobe.bench.model import Line
from busprobe.decode.lines import thresholds
from busprobe.frames import InputBatch
from busprobe.session import polls
from busprobe.session.polls import Polls
from busprobe.timeline import NEVER

AUX = Line("aux", 1, analogue=True, above_mv=9000, below_again_mv=6000)


def batch(t_ns: list[int], millivolts: list[int]) -> InputBatch:
    analogue = np.array([[0, m] for m in millivolts], np.int32).reshape(-1, 2)
    return InputBatch("box", np.array(t_ns, np.int64), np.zeros(len(t_ns), np.uint64), analogue)


@given(
    st.lists(st.sampled_from([5000, 5999, 6000, 7500, 9000, 9001, 12000]), min_size=1, max_size=40),
    st.lists(st.integers(0, 40), max_size=4), st.integers(0, 45), st.integers(-1, 41), st.integers(1, 5),
)  # fmt: skip
def test_between_its_limits_a_line_stays_as_it_was(
    millivolts: list[int], cuts: list[int], at: int, down: int, chunk: int
) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(polls, "LOOK_BACK", chunk)
        kept = Polls()
        times = list(range(len(millivolts)))
        bounds = sorted({0, len(times), *(c for c in cuts if c < len(times))})
        for low, high in pairwise(bounds):
            kept.add(batch(times[low:high], millivolts[low:high]))
        wire = kept.at("box", AUX, at, NEVER if down < 0 else down)
    since = [m for t, m in zip(times, millivolts, strict=True) if max(down, 0) <= t <= at]
    if not since:
        assert wire is None
        return
    assert wire is not None
    assert (wire.t_ns, wire.millivolts) == (min(at, len(times) - 1), since[-1])
    rows, level = thresholds(np.array(since, np.int64), 9000, 6000, None)
    assert wire.is_settled == bool(len(rows))
    if len(rows):
        assert wire.is_high == bool(level[-1])


def test_late_polls_do_not_count() -> None:
    kept = Polls()
    one = batch([10, 20], [1, 2])
    kept.add(InputBatch("box", one.t_ns, one.mask, one.analogue, late=np.array([False, True])))
    plain = Line("feed", 1, analogue=True)
    wire = kept.at("box", plain, 30, NEVER)
    assert wire is not None
    assert (wire.t_ns, wire.millivolts) == (10, 1)
    assert kept.at("box", plain, 9, NEVER) is None
    assert kept.at("other", plain, 30, NEVER) is None
    assert kept.at("box", Line("not there", 5, analogue=True), 30, NEVER) is None


def test_of_very_many_batches_the_newest_are_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(polls, "MOST_BATCHES", 4)
    kept = Polls()
    for t in range(10):
        kept.add(batch([t], [t]))
    plain = Line("feed", 1, analogue=True)
    assert kept.at("box", plain, 0, NEVER) is None
    newest = kept.at("box", plain, 9, NEVER)
    assert newest is not None
    assert newest.millivolts == 9
