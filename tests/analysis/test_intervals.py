"""Intervals: medians, the rule for cyclic messages, and independence of the batches."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from busprobe.analysis.intervals import IntervalStats, IntervalTable, Parts, Sending, forward

MS = 1_000_000


def stats_of(times: list[int], cuts: tuple[int, ...] = ()) -> IntervalStats:
    table = IntervalTable()
    for part in np.split(np.array(times, np.int64), sorted(cuts)):
        table.add(Parts.of(np.zeros(len(part), np.int64)), part)
    return table.stats(0, len(times))


def every(step_ms: float, count: int) -> list[int]:
    return [round(k * step_ms * MS) for k in range(count)]


SENDING = [
    ("no frame", [], Sending.TOO_FEW),
    ("one frame", [5], Sending.SINGLE),
    ("twenty frames make nineteen intervals", every(10, 20), Sending.TOO_FEW),
    ("twenty intervals", every(10, 21), Sending.CYCLIC),
    ("longest exactly twice the median", [*every(10, 20), 210 * MS], Sending.CYCLIC),
    ("longest one nanosecond over twice", [*every(10, 20), 210 * MS + 1], Sending.ON_CHANGE),
    ("a gap after the twentieth interval", [*every(10, 21), 5000 * MS], Sending.CYCLIC),
]


@pytest.mark.parametrize(("times", "sending"), [row[1:] for row in SENDING], ids=[row[0] for row in SENDING])
def test_cyclic_or_on_change(times: list[int], sending: Sending) -> None:
    assert stats_of(times).sending is sending


def test_a_constant_period_is_exact() -> None:
    """The mean of a bin of equal intervals is the interval itself."""
    stats = stats_of(every(9.9995, 1000))
    assert (stats.count, stats.median_ns, stats.jitter_ns) == (999, 9_999_500, 0)


def test_longest_gap_and_when_it_began() -> None:
    stats = stats_of([0, 10, 40, 50, 80, 90])
    assert (stats.longest_ns, stats.longest_from_ns) == (30, 10)


@given(st.lists(st.integers(0, 10**12), min_size=2, max_size=200), st.data())
def test_quantiles_lie_within_four_thousandths_of_the_sorted_list(intervals: list[int], data: st.DataObject) -> None:
    times = np.cumsum([0, *intervals]).tolist()
    stats = stats_of(times)
    ranked = sorted(intervals)

    def at(share: float) -> int:
        return ranked[int((len(ranked) - 1) * share)]

    assert stats.median_ns == pytest.approx(at(0.5), rel=0.004, abs=1)
    assert stats.jitter_ns is not None
    assert abs(stats.jitter_ns - (at(0.95) - at(0.05))) <= 0.004 * at(0.95) + 0.004 * at(0.05) + 2
    cuts = data.draw(st.lists(st.integers(0, len(times)), max_size=5))
    assert stats_of(times, tuple(cuts)) == stats


FORWARD = [
    ("rising", [1, 2, 3], None, [1, 2, 3]),
    ("a small step back takes the newest time", [10, 4, 12], None, [10, 10, 12]),
    ("from the batch before", [4, 12], 10, [10, 12]),
    ("exactly one second back", [2_000_000_000, 1_000_000_000], None, [2_000_000_000] * 2),
    (
        "more than a second back starts anew",
        [2_000_000_001, 1_000_000_000, 5],
        None,
        [2_000_000_001, 1_000_000_000, 1_000_000_000],
    ),
    ("anew at once", [5], 2_000_000_000, [5]),
    ("none", [], 7, []),
]


@pytest.mark.parametrize(("times", "newest", "out"), [row[1:] for row in FORWARD], ids=[row[0] for row in FORWARD])
def test_forward(times: list[int], newest: int | None, out: list[int]) -> None:
    assert forward(np.array(times, np.int64), newest).tolist() == out


def test_a_step_back_in_time_measures_nothing() -> None:
    hour = 3_600_000_000_000
    stats = stats_of([hour, hour + 10, 0, 10, 20])
    assert (stats.count, stats.longest_ns) == (3, 10)
