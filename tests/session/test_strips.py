"""The recent past of a signal: literal slices, and all ways to it compared with its definition."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from busprobe.engine.history import History
from busprobe.session.overdue import unknown_from
from busprobe.session.strips import SLICE_NS, SLICES, UNSEEN, Strips
from busprobe.timeline import ASLEEP, FALSE, NEVER, TRUE, UNKNOWN, Changes

S = SLICE_NS
RANK = {FALSE: 0, ASLEEP: 1, UNKNOWN: 2, TRUE: 3}
Points = list[tuple[int, int]]
"""(time, code), strictly rising."""


def changes(points: Points, upto_ns: int, values: list[float] | None = None) -> Changes:
    times, codes = np.array([t for t, _ in points], np.int64), np.array([c for _, c in points], np.uint8)
    return Changes(times, codes, None if values is None else np.array(values), upto_ns)


def history_of(points: Points, upto_ns: int, values: list[float] | None = None) -> History:
    history = History(is_condition=values is None)
    history.append(changes(points, upto_ns, values))
    return history


def by_definition(points: Points, t_ns: int) -> list[int]:
    """Code of each slice: the first of true, unknown, asleep, false that held at any instant of it, once seen."""
    points = [(NEVER, ASLEEP), *points]
    newest = t_ns // S
    codes = []
    for number in range(newest + 1 - SLICES, newest + 1):
        begin, end = number * S, min((number + 1) * S - 1, t_ns)
        held = [code for t, code in points if begin < t <= end]
        before, code = [(t, code) for t, code in points if t <= begin][-1]
        seen = held if before == NEVER else [code, *held]
        codes.append(max(seen, key=RANK.__getitem__, default=UNSEEN))
    return codes


@pytest.mark.parametrize(
    ("points", "t_ns", "newest"),
    [
        pytest.param([(0, FALSE)], 99 * S, [FALSE, FALSE, FALSE], id="nothing happens"),
        pytest.param([(0, FALSE), (97 * S, TRUE)], 99 * S, [TRUE, TRUE, TRUE], id="on as a slice begins"),
        pytest.param([(0, FALSE), (98 * S - 1, TRUE)], 99 * S, [TRUE, TRUE, TRUE], id="on just before"),
        pytest.param([(0, TRUE), (98 * S, FALSE)], 99 * S, [TRUE, FALSE, FALSE], id="off as a slice begins"),
        pytest.param([(0, TRUE), (98 * S + 1, FALSE)], 99 * S, [TRUE, TRUE, FALSE], id="off just after"),
        pytest.param([(0, FALSE), (99 * S + 5, TRUE)], 99 * S + 4, [FALSE, FALSE, FALSE], id="what is to come"),
        pytest.param([(0, FALSE), (98 * S, UNKNOWN), (98 * S + 9, ASLEEP), (98 * S + 99, FALSE)], 99 * S,
                     [FALSE, UNKNOWN, FALSE], id="unknown for a moment, then asleep"),
        pytest.param([(98 * S + 7, FALSE)], 99 * S, [UNSEEN, FALSE, FALSE], id="seen for the first time"),
        pytest.param([], 99 * S, [UNSEEN, UNSEEN, UNSEEN], id="never seen"),
    ],
)  # fmt: skip
def test_slices_of_a_condition(points: Points, t_ns: int, newest: list[int]) -> None:
    strip = Strips(history_of(points, 200 * S)).at(t_ns)
    assert list(strip.code[-3:]) == newest
    assert list(strip.code) == by_definition(points, t_ns)
    assert strip.value is None
    assert len(strip.code) == SLICES


def test_slices_of_a_quantity_show_its_last_value() -> None:
    history = history_of([(0, TRUE), (97 * S + 3, TRUE), (97 * S + 4, TRUE)], 200 * S, [1.0, 2.0, 5.0])
    strip = Strips(history).at(99 * S)
    assert strip.value is not None
    assert strip.value[-4:] == (1.0, 5.0, 5.0, 5.0)
    assert set(strip.code) == {TRUE}


def test_an_overdue_signal_is_unknown_from_its_limit_on_and_what_logic_says_later_counts() -> None:
    history = history_of([(0, TRUE)], 95 * S)
    strips = Strips(history)
    assert list(strips.at(97 * S, unknown_from(history.past, 96 * S + 5, 60 * S)).code[-3:]) == [TRUE, TRUE, UNKNOWN]
    history.append(changes([(95 * S + 5, ASLEEP)], 98 * S))
    assert list(strips.at(97 * S).code[-4:]) == [TRUE, TRUE, ASLEEP, ASLEEP]


STEPS = st.lists(
    st.tuples(st.integers(1, 3000), st.sampled_from([FALSE, TRUE, UNKNOWN, ASLEEP]), st.floats(-9, 9)), max_size=40
)


@given(STEPS, st.lists(st.integers(0, 70_000), min_size=1, max_size=8), st.randoms(use_true_random=False))
def test_pictures_one_after_the_other_show_what_one_alone_does(
    steps: list[tuple[int, int, float]], shown_ms: list[int], chance: Random
) -> None:
    """Forwards as points come in, by little and by much, then anywhere in what is there."""
    times = np.cumsum([ms for ms, _, _ in steps], dtype=np.int64) * 1_000_000
    points = list(zip(times.tolist(), (code for _, code, _ in steps), strict=True))
    values = [value for _, _, value in steps]
    history, came = History(is_condition=False), 0
    strips = Strips(history)
    for t_ms in sorted(shown_ms):
        t_ns = t_ms * 1_000_000
        upto = int(np.searchsorted(times, t_ns, "right"))
        history.append(changes(points[came:upto], t_ns + 1, values[came:upto]))
        came = upto
        assert repr(strips.at(t_ns)) == repr(Strips(history).at(t_ns))  # NaN is not equal to itself
        assert list(strips.at(t_ns).code) == by_definition(points, t_ns)
    chance.shuffle(shown_ms)
    for t_ms in shown_ms:
        assert list(strips.at(t_ms * 1_000_000).code) == by_definition(points, t_ms * 1_000_000)
