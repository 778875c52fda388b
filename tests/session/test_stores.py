"""The frames of a recording at any time: what is kept of them does not grow without bound."""

from __future__ import annotations

import numpy as np
import pytest

from busprobe.analysis.frame_tally import FrameTally
from busprobe.frames import FrameBatch
from busprobe.session import stores
from busprobe.session.stores import MemoryStore, TallyIndex

START, STEP = 1_800_000_000_000_000_000, 1_000_000
FRAMES, AT_ONCE = 5_000, 50


def frames(first: int, count: int) -> FrameBatch:
    """One each ms, of 30 identifiers in turn."""
    number = np.arange(first, first + count)
    return FrameBatch(
        START + number * STEP, ("body",), np.zeros(count, np.uint8), (0x100 + number % 30).astype(np.uint32),
        np.zeros(count, np.uint8), np.full(count, 8, np.uint8), number.astype(np.uint64),
        complete_to_ns=START + (first + count) * STEP,
    )  # fmt: skip


def test_however_long_a_recording_is_no_more_tallies_are_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """... and at every time it is still the tally of all frames up to then."""
    monkeypatch.setattr(stores, "CHECKPOINT_ROWS", 10)
    monkeypatch.setattr(stores, "MOST_KEPT", 16)
    store = MemoryStore()
    index = TallyIndex(store)
    counts = []
    for first in range(0, FRAMES, AT_ONCE):
        index.add(store.add(frames(first, AT_ONCE)))
        counts.append(len(index._kept))
    assert 8 < max(counts) <= 16
    times = [t_ns for t_ns, _ in index._kept]
    gaps = np.diff(times[1:]) // STEP
    assert gaps.max() <= 4 * FRAMES / 16  # spread over the whole of it: a look back is never far
    for last in (0, 9, 10, 777, 2499, FRAMES - 1):
        whole = FrameTally()
        whole.add(frames(0, last + 1))
        rows = index.at(START + last * STEP).rows
        assert rows.key.tolist() == whole.rows.key.tolist()
        assert rows.count.tolist() == whole.rows.count.tolist()
        assert rows.words.tolist() == whole.rows.words.tolist()
