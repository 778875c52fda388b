"""The tally of frames: what it says at any time is what a tally fed from scratch says."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busprobe.analysis.frame_tally import EARLY, FrameTally, row_key
from busprobe.frames import ERROR, EXTENDED, LATE, REMOTE, FrameBatch, Tail
from busprobe.timeline import NEVER

MS = 1_000_000


def frames(
    rows: list[tuple[int, int, int]],
    *,
    channels: tuple[str, ...] = ("body",),
    channel: int = 0,
    flags: int = 0,
    length: int = 8,
) -> FrameBatch:
    """Frames (ms, identifier, payload) of one channel."""
    t, identifier, payload = np.array(rows, np.int64).reshape(-1, 3).T
    n = len(t)
    return FrameBatch(
        t * MS, channels, np.full(n, channel, np.uint8), identifier.astype(np.uint32),
        np.full(n, flags, np.uint8), np.full(n, length, np.uint8), payload.astype(np.uint64),
    )  # fmt: skip


def row(tally: FrameTally, channel: str, identifier: int, *, is_extended: bool = False) -> int:
    key = row_key(tally.channels.index(channel), identifier, is_extended)
    return int(np.flatnonzero(tally.rows.key == key)[0])


def test_rows_stand_in_the_order_first_heard() -> None:
    tally = FrameTally()
    tally.add(frames([(0, 0x300, 1), (1, 0x100, 2), (2, 0x300, 5)]))
    assert tally.rows.key.tolist() == [0x300, 0x100]
    assert tally.rows.count.tolist() == [2, 1]
    assert tally.rows.last_ns.tolist() == [2 * MS, 1 * MS]
    assert tally.rows.words[:, 0].tolist() == [5, 2]
    assert tally.rows.changed[:, 0].tolist() == [1 ^ 5, 0]


def test_two_buses_that_each_name_themselves_are_kept_apart() -> None:
    """Live, every adapter gives batches with its own name as the only channel."""
    tally = FrameTally()
    tally.add(frames([(0, 0x100, 1)], channels=("body",)))
    tally.add(frames([(1, 0x100, 2)], channels=("engine",)))
    tally.add(frames([(2, 0x100, 3)], channels=("body",)))
    assert tally.channels == ("body", "engine")
    assert tally.rows.count[row(tally, "body", 0x100)] == 2
    assert tally.rows.words[row(tally, "engine", 0x100), 0] == 2


@pytest.mark.parametrize("flags", [ERROR, REMOTE, LATE], ids=["error", "remote", "late"])
def test_what_is_no_data_frame_in_time_is_left_out(flags: int) -> None:
    tally = FrameTally()
    tally.add(frames([(0, 0x100, 1)], flags=flags))
    assert len(tally.rows.key) == 0


def test_both_kinds_of_one_identifier_are_kept_apart() -> None:
    tally = FrameTally()
    tally.add(frames([(0, 0x100, 1)]))
    tally.add(frames([(1, 0x100, 2)], flags=EXTENDED))
    assert tally.rows.words[row(tally, "body", 0x100, is_extended=True), 0] == 2
    # Bits on the wire without stuff bits, ISO 11898-1: 47 or 67, and 64 of the payload.
    assert tally.rows.bits.tolist() == [47 + 64, 67 + 64]


@pytest.mark.parametrize("cut", [1, 2, 7, 100])
def test_period_of_a_cyclic_message(cut: int) -> None:
    tally = FrameTally()
    rows = [(20 * k, 0x100, k) for k in range(100)]
    for start in range(0, 100, cut):
        tally.add(frames(rows[start : start + cut]))
    assert tally.rows.period_ns.tolist() == [20 * MS]
    assert tally.rows.jitter_ns.tolist() == [0]


def test_marks_of_changed_bits_go_after_one_to_two_seconds() -> None:
    tally = FrameTally()
    tally.add(frames([(0, 0x100, 0), (100, 0x100, 4)]))

    def marked(ms: int) -> int:
        tally.turn(ms * MS)
        return int((tally.rows.changed | tally.rows.changed_before)[0, 0])

    assert [marked(500), marked(1100), marked(2300)] == [4, 4, 0]


def test_another_length_is_another_payload() -> None:
    tally = FrameTally()
    tally.add(frames([(0, 0x100, 0), (5, 0x100, 0)], length=2))
    assert tally.rows.changed_ns.tolist() == [NEVER]
    tally.add(frames([(9, 0x100, 0), (12, 0x100, 0)], length=3))
    assert tally.rows.changed_ns.tolist() == [9 * MS]


def test_payload_past_eight_bytes() -> None:
    tally = FrameTally()
    tail = np.zeros((1, 7), np.uint64)
    tail[0, 6] = 9
    base = frames([(0, 0x100, 1)], length=64)
    tally.add(FrameBatch(*[getattr(base, f) for f in ("t_ns", "channels", "channel", "identifier", "flags", "length",
                                                      "payload")], Tail(np.array([0]), tail)))  # fmt: skip
    assert tally.rows.words[0].tolist() == [1, 0, 0, 0, 0, 0, 0, 9]


def test_a_copy_goes_its_own_way() -> None:
    tally = FrameTally()
    tally.add(frames([(0, 0x100, 1)]))
    other = tally.copy()
    other.add(frames([(1, 0x100, 2), (2, 0x200, 3)]))
    assert (tally.rows.count.tolist(), tally.rows.words[0, 0]) == ([1], 1)


_ROWS = st.lists(st.tuples(st.integers(0, 30), st.integers(0, 3), st.integers(0, 255)), min_size=1, max_size=40)


@settings(max_examples=100, deadline=None)
@given(_ROWS, st.lists(st.integers(0, 40)))
def test_any_cut_gives_the_same_counts_payloads_and_bits(rows: list[tuple[int, int, int]], cuts: list[int]) -> None:
    rows = sorted(rows, key=lambda r: r[0])
    whole, pieces = FrameTally(), FrameTally()
    whole.add(frames(rows))
    for start, stop in zip([0, *sorted(cuts)], [*sorted(cuts), len(rows)], strict=True):
        pieces.add(frames(rows[start:stop]))
    by_key = [dict(zip(t.rows.key.tolist(), range(len(t.rows.key)), strict=True)) for t in (whole, pieces)]
    assert list(by_key[0]) == list(by_key[1])
    for name in ("count", "last_ns", "length", "bits", "words", "changed", "changed_ns"):
        np.testing.assert_array_equal(getattr(whole.rows, name), getattr(pieces.rows, name))
    for key, place in by_key[0].items():
        own = [r for r in rows if r[1] == key]
        assert whole.rows.count[place] == len(own)
        assert whole.rows.words[place, 0] == own[-1][2]
        changes = [after[0] * MS for before, after in pairwise(own) if before[2] != after[2]]
        assert whole.rows.changed_ns[place] == max(changes, default=NEVER)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(0, 2), max_size=80), st.lists(st.integers(0, 80), max_size=6))
def test_times_of_the_first_frames_are_kept_however_it_is_cut(which: list[int], cuts: list[int]) -> None:
    whole = frames([(ms, 0x100 + k, 0) for ms, k in enumerate(which)])
    tally = FrameTally()
    bounds = sorted({0, len(which), *(c for c in cuts if c <= len(which))})
    for start, stop in pairwise(bounds):
        tally.add(whole.cut(start, stop))
    for k in set(which):
        times = [ms * MS for ms, other in enumerate(which) if other == k][:EARLY]
        kept = tally.rows.early[row(tally, "body", 0x100 + k)].tolist()
        assert kept == times + [0] * (EARLY - len(times))
