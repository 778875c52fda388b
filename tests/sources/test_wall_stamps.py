"""Stamps of the kernel: exact at any age, also where somebody sets the clock; else they are in doubt, and say so."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from set_clock import EPOCH, HOUR, MS, S, SetClock, ns

from busprobe.sources.wall_stamps import SLACK_NS, WallStamps


@pytest.mark.parametrize("held_ns", [40 * MS, 1600 * MS, 2300 * MS, 8 * HOUR], ids=["40 ms", "1.6 s", "2.3 s", "8 h"])
def test_a_stamp_is_exact_at_any_age(held_ns: int) -> None:
    """The program was held up, or the computer slept: all frames are read at once."""
    stamps = WallStamps(SetClock())
    sent = EPOCH + 10 * MS + np.arange(0, held_ns, held_ns // 20)
    arrivals = np.full(len(sent), EPOCH + 10 * MS + held_ns)
    assert (stamps.map(sent, arrivals, np.full(len(sent), EPOCH)) == sent).all()
    assert not stamps.doubt_ns.any()
    assert stamps.spread_ns == held_ns


@pytest.mark.parametrize("at", range(0, 161, 8))
@pytest.mark.parametrize("step", [HOUR, -HOUR, 300 * MS, -300 * MS], ids=["+1 h", "-1 h", "+0.3 s", "-0.3 s"])
def test_the_system_clock_is_set_while_the_program_is_held_up(step: int, at: int) -> None:
    """By what lies between the two looks, and by their order, each frame can be told to be before it or after."""
    clock = SetClock()
    stamps = WallStamps(clock)
    sent = EPOCH + 2 * MS + np.arange(160) * 10 * MS
    stamped = np.where(np.arange(160) >= at, sent + step, sent)
    clock.ahead_ns = step
    mapped = stamps.map(stamped, np.full(160, sent[-1] + 3 * MS), np.full(160, EPOCH))
    sure = stamps.doubt_ns == 0
    assert (mapped == sent)[sure].all()
    assert sure.all()


def test_where_it_cannot_be_told_the_times_are_in_doubt() -> None:
    """Two frames in a stall of a second, and the clock set by 0.3 s: before them, between or after?"""
    clock = SetClock()
    stamps = WallStamps(clock)
    clock.ahead_ns = 300 * MS
    stamps.map(EPOCH + ns(500, 900) * MS, EPOCH + ns(1000, 1000) * MS, ns(EPOCH, EPOCH))
    assert (stamps.doubt_ns >= 300 * MS).all()


def test_a_clock_that_was_set_and_set_back_is_not_believed() -> None:
    """Two looks at it show no step; the stamp lies an hour after its arrival."""
    stamps = WallStamps(SetClock())
    sent = EPOCH + ns(10, 500, 900) * MS
    mapped = stamps.map(sent + ns(0, HOUR, 0), np.full(3, EPOCH + S), np.full(3, EPOCH))
    assert mapped.tolist() == [sent[0], sent[2], sent[2]]
    assert stamps.doubt_ns.tolist() == [0, 900 * MS, 0]


def test_stamps_of_another_clock_are_known_by_frames_that_did_not_wait() -> None:
    """Three seconds behind: in a stall of four such a stamp would look right."""
    stamps = WallStamps(SetClock())
    assert stamps.map(ns(EPOCH - 3 * S), ns(EPOCH + 10 * MS), ns(EPOCH + 6 * MS)).tolist() == [EPOCH + 10 * MS]
    assert stamps.doubt_ns.tolist() == [4 * MS]
    held = EPOCH + 4 * S
    assert stamps.map(ns(held - 3 * S - MS), ns(held), ns(EPOCH + 10 * MS)).tolist() == [held]
    assert stamps.doubt_ns.tolist() == [4 * S - 10 * MS]


def test_a_frame_without_a_stamp_is_in_doubt_by_what_it_may_have_waited() -> None:
    stamps = WallStamps(SetClock())
    mapped = stamps.map(EPOCH + ns(10, 20) * MS, EPOCH + ns(20, 20) * MS, EPOCH + ns(5, 5) * MS)
    assert mapped.tolist() == [EPOCH + 10 * MS, EPOCH + 20 * MS]
    assert stamps.doubt_ns.tolist() == [0, 15 * MS]


def test_a_time_that_has_to_be_lifted_is_in_doubt() -> None:
    stamps = WallStamps(SetClock())
    stamps.not_before(EPOCH + 50 * MS)
    assert stamps.map(EPOCH + ns(50, 60) * MS - 700_000, EPOCH + ns(60, 61) * MS, EPOCH + ns(50, 50) * MS).tolist() == [
        EPOCH + 50 * MS,
        EPOCH + 60 * MS - 700_000,
    ]
    assert stamps.doubt_ns.tolist() == [700_000, 0]


looks = st.lists(
    st.tuples(
        st.sampled_from([4 * MS, 50 * MS, 1600 * MS, 2300 * MS]),
        st.lists(st.integers(0, 999), max_size=8),
        st.sampled_from([0, 0, 0, HOUR, -HOUR, 300 * MS, -40 * MS, 5 * MS]),
        st.integers(0, 999),
    ),
    max_size=6,
)


@given(looks)
def test_every_time_is_right_or_says_by_how_much_it_may_be_wrong(given_looks: list) -> None:
    """Whatever the stalls, and the clock set once in any of them."""
    clock = SetClock()
    stamps = WallStamps(clock)
    after = EPOCH
    for length, places, step, step_at in given_looks:
        arrival = after + length
        sent = np.sort(ns(*(after + length * place // 1000 for place in places)))
        stamped = sent + clock.ahead_ns + np.where(sent >= after + length * step_at // 1000, step, 0)
        clock.ahead_ns += step
        mapped = stamps.map(stamped, np.full(len(sent), arrival), np.full(len(sent), after))
        assert (np.abs(mapped - sent) <= stamps.doubt_ns + SLACK_NS).all()
        assert (mapped <= arrival).all()
        assert (np.diff(mapped) >= 0).all()
        after = arrival
