"""Stamps of drivers made event time: delays, drift, clocks that start at 0 or are set."""

import time

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from set_clock import EPOCH, HOUR, MS, S, SetClock, ns

from busprobe.sources.clock import ArrivalStamps, Clock, StampMap
from busprobe.sources.wall_stamps import WallStamps


def test_event_time_is_the_wall_clock_at_the_start_and_rises() -> None:
    clock = Clock()
    assert abs(clock.now_ns() - time.time_ns()) < S
    assert abs(clock.wall_ahead_ns()) < S
    times = [clock.now_ns() for _ in range(1000)]
    assert times == sorted(times)


def test_event_time_does_not_step_with_the_system_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = Clock()
    before = clock.now_ns()
    real = time.time_ns
    monkeypatch.setattr(time, "time_ns", lambda: real() + HOUR)
    assert 0 <= clock.now_ns() - before < S
    assert abs(clock.wall_ahead_ns() - HOUR) < S


def test_what_comes_between_the_two_clocks_is_no_step(monkeypatch: pytest.MonkeyPatch) -> None:
    """Another thread runs for 20 ms between the two readings, time after time: they are read again."""
    steady, ran = [0], [0]
    clock = Clock()
    clock._offset_ns = EPOCH
    clock._steady_ns = lambda: steady[0]

    def wall() -> int:
        now = EPOCH + HOUR + steady[0]
        ran[0] += 1
        steady[0] += 20 * MS if ran[0] % 4 else 10_000
        return now

    monkeypatch.setattr(time, "time_ns", wall)
    assert [abs(clock.wall_ahead_ns() - HOUR) <= 10_000 for _ in range(10)] == [True] * 10


# An adapter's own clock.


@pytest.mark.parametrize("start", [0, 5 * HOUR, EPOCH], ids=["from 0", "up for hours", "of the epoch"])
def test_the_adapter_counts_from_anywhere(start: int) -> None:
    stamps = StampMap()
    sent = ns(0, 10, 20, 30) * MS
    delays = ns(3, 1, 2, 1) * MS
    mapped = stamps.map(start + sent, EPOCH + sent + delays)
    assert (mapped == EPOCH + sent + 1 * MS).all()
    assert stamps.spread_ns == 2 * MS


def test_the_least_delay_is_remembered_for_later_batches() -> None:
    stamps = StampMap()
    stamps.map(ns(0), ns(EPOCH))
    assert stamps.map(ns(100 * MS), ns(EPOCH + 107 * MS)).tolist() == [EPOCH + 100 * MS]


def test_a_slow_adapter_clock_is_followed() -> None:
    """100 ppm slow: after 10 minutes its stamps are 60 ms behind, the mapping at most 3 ms (100 ppm of 30 s)."""
    stamps = StampMap()
    true = np.arange(0, 600 * S, 50 * MS)
    worst = 0
    for place in range(0, len(true), 20):
        part = true[place : place + 20]
        mapped = stamps.map((part * (1 - 100e-6)).astype(np.int64), EPOCH + part)
        worst = max(worst, int(np.abs(mapped - EPOCH - part).max()))
    assert worst <= 3 * MS + 100_000


@pytest.mark.parametrize("step", [HOUR, -HOUR], ids=["an hour forward", "an hour back"])
def test_a_clock_that_is_set_is_mapped_anew(step: int) -> None:
    stamps = StampMap()
    sent = np.arange(0, 200 * MS, 10 * MS)
    stepped = np.where(sent >= 70 * MS, sent + step, sent)
    mapped = np.concatenate([stamps.map(stepped[a : a + 5], EPOCH + sent[a : a + 5]) for a in range(0, 20, 5)])
    assert (mapped == EPOCH + sent).all()


def test_a_long_delay_is_no_step() -> None:
    """The process was held for 3 s: the stamps of the frames that waited stay what they were."""
    stamps = StampMap()
    stamps.map(ns(0), ns(EPOCH))
    sent = ns(1000, 2000, 3000, 3990, 4010) * MS
    arrivals = EPOCH + ns(4000, 4000, 4001, 4001, 4010) * MS
    assert (stamps.map(sent, arrivals) == EPOCH + sent).all()


def test_a_backlog_that_takes_several_batches_is_no_step() -> None:
    """Held up for 3 s; the first batch after it has old frames only: what it cannot tell is in doubt."""
    stamps = StampMap()
    stamps.map(ns(0), ns(EPOCH), ns(EPOCH - 5 * MS))
    sent = np.arange(10 * MS, 3 * S, 10 * MS)
    for part in np.split(sent, [100, 200]):
        arrivals = EPOCH + 3 * S + np.arange(len(part)) * 100_000
        mapped = stamps.map(part, arrivals, np.full(len(part), EPOCH))
        wrong = mapped != EPOCH + part
        assert (stamps.doubt_ns[wrong] >= np.abs(mapped - EPOCH - part)[wrong]).all()
    assert not wrong.any()
    assert not stamps.doubt_ns.any()


def test_a_clock_that_stood_while_the_computer_slept_is_in_doubt_until_it_is_sure() -> None:
    """USB was off for 8 h: an adapter's first frame after it could be one that waited all that time."""
    stamps = StampMap()
    stamps.map(ns(0), ns(EPOCH), ns(EPOCH - 5 * MS))
    woke = EPOCH + 8 * HOUR
    stamps.map(ns(50 * MS), ns(woke), ns(EPOCH + 40 * MS))
    assert stamps.doubt_ns.tolist() == [8 * HOUR - 40 * MS]
    mapped = stamps.map(ns(70, 80) * MS, woke + ns(20, 30) * MS, woke + ns(15, 15) * MS)
    assert mapped.tolist() == (woke + ns(20, 30) * MS).tolist()
    assert not stamps.doubt_ns.any()


def test_the_offset_outlives_a_stall_longer_than_its_window() -> None:
    """40 s without a look: the frames that waited say nothing new of the two clocks."""
    stamps = StampMap()
    stamps.map(ns(0), ns(EPOCH), ns(EPOCH - 5 * MS))
    sent = ns(5, 10, 900) * MS
    assert (stamps.map(sent, np.full(3, EPOCH + 40 * S), np.full(3, EPOCH)) == EPOCH + sent).all()
    sent = ns(39_000, 39_500, 39_999) * MS
    assert (stamps.map(sent, np.full(3, EPOCH + 40 * S), np.full(3, EPOCH)) == EPOCH + sent).all()
    assert not stamps.doubt_ns.any()


def test_one_wild_stamp_is_forgotten_with_the_next_batch() -> None:
    stamps = StampMap()
    stamps.map(ns(0), ns(EPOCH))
    stamps.map(ns(10, 9 * HOUR // MS, 30) * MS, EPOCH + ns(10, 20, 30) * MS)
    assert stamps.map(ns(40, 50) * MS, EPOCH + ns(40, 50) * MS).tolist() == [EPOCH + 40 * MS, EPOCH + 50 * MS]


def test_nothing_counts_before_what_was_said_to_be_complete() -> None:
    stamps = StampMap()
    stamps.map(ns(0), ns(EPOCH))
    stamps.not_before(EPOCH + 50 * MS)
    stamps.not_before(EPOCH + 20 * MS)
    assert stamps.map(ns(40, 60) * MS, EPOCH + ns(60, 61) * MS).tolist() == [EPOCH + 50 * MS, EPOCH + 60 * MS]


@given(
    st.lists(
        st.lists(st.tuples(st.integers(0, 60 * MS), st.integers(0, 40 * MS), st.integers(-2, 2)), max_size=5),
        max_size=6,
    )
)
def test_times_rise_and_never_lie_after_the_arrival(batches: list[list[tuple[int, int, int]]]) -> None:
    """Whatever an adapter does with its clock, also setting it by hours."""
    stamps, sent, newest = StampMap(), 0, 0
    for batch in batches:
        rows = []
        for gap, delay, hours in batch:
            sent += gap
            rows.append((sent + hours * HOUR + 3 * HOUR, EPOCH + sent + delay))
        stamp, arrival = (ns(*column) for column in zip(*rows, strict=True)) if rows else (ns(), ns())
        arrival = np.maximum(np.maximum.accumulate(arrival), newest) if rows else arrival
        mapped = stamps.map(stamp, arrival)
        assert len(mapped) == len(rows)
        assert (mapped <= arrival).all()
        assert (np.diff(mapped) >= 0).all()
        if rows:
            assert mapped[0] >= newest
            newest = int(mapped[-1])


# The system's own clock.


def test_stamps_of_the_system_are_exact_whatever_the_delay() -> None:
    stamps = WallStamps(SetClock())
    sent = EPOCH + ns(0, 10, 20) * MS
    assert (stamps.map(sent, sent + ns(40, 30, 20) * MS) == sent).all()
    assert stamps.spread_ns == 40 * MS


@pytest.mark.parametrize("step", [HOUR, -HOUR, 300 * MS, -300 * MS], ids=["+1 h", "-1 h", "+0.3 s", "-0.3 s"])
def test_the_system_clock_is_set_within_a_batch(step: int) -> None:
    clock = SetClock()
    stamps = WallStamps(clock)
    sent = EPOCH + ns(10, 20, 30, 40) * MS
    clock.ahead_ns = step
    stamped = np.where(sent >= EPOCH + 25 * MS, sent + step, sent)
    assert (stamps.map(stamped, sent + 2 * MS) == sent).all()
    later = sent + 50 * MS
    assert (stamps.map(later + step, later + 2 * MS) == later).all()


def test_stamps_of_another_clock_are_not_believed() -> None:
    """An interface that is told to keep the sender's stamps."""
    arrivals = EPOCH + ns(10, 20) * MS
    assert (WallStamps(SetClock()).map(ns(5, 6), arrivals) == arrivals).all()


def test_what_was_read_late_is_in_doubt_by_as_much() -> None:
    stamps = ArrivalStamps()
    stamps.map(EPOCH + ns(1, 2), EPOCH + ns(5, 1600) * MS, EPOCH + ns(3, 5) * MS)
    assert stamps.doubt_ns.tolist() == [2 * MS, 1595 * MS]


def test_arrivals_rise() -> None:
    stamps = ArrivalStamps()
    stamps.not_before(EPOCH + 5)
    assert stamps.map(ns(1, 2), EPOCH + ns(3, 9)).tolist() == [EPOCH + 5, EPOCH + 9]


@pytest.mark.parametrize(
    "stamps", [StampMap(), WallStamps(SetClock()), ArrivalStamps()], ids=lambda s: type(s).__name__
)
def test_no_frames_no_times(stamps: StampMap) -> None:
    assert len(stamps.map(ns(), ns())) == 0
