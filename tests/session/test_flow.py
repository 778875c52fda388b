"""Rates and errors of a recording's channels at any time."""

from __future__ import annotations

import numpy as np
import pytest

from busprobe.frames import ERROR, EXTENDED, FrameBatch
from busprobe.session import flow
from busprobe.session.flow import Flow, Rate

MS = 1_000_000
START = 5_000_000_000


def batch(rows: list[tuple[int, int, int, int]]) -> FrameBatch:
    """(ms since the start, channel, flags, length)"""
    t, channel, flags, length = (np.array(column) for column in zip(*rows, strict=True))
    return FrameBatch(
        START + t.astype(np.int64) * MS, ("body", "chassis"), channel.astype(np.uint8),
        np.full(len(rows), 0x100, np.uint32), flags.astype(np.uint8), length.astype(np.uint8),
        np.zeros(len(rows), np.uint64),
    )  # fmt: skip


ROWS = [
    (0, 0, 0, 8), (400, 0, 0, 8), (900, 0, EXTENDED, 2), (1000, 0, 0, 0), (1500, 0, ERROR, 0), (1600, 1, ERROR, 0),
    (1700, 0, ERROR, 0), (3100, 0, 0, 8), (3050, 1, 0, 1),
]  # fmt: skip


@pytest.mark.parametrize("cut", range(1, len(ROWS)))
def test_the_second_before_and_the_errors_so_far(cut: int) -> None:
    """However it was cut. Bits: 47 or 67 and 8 a byte, as in `frame_bits`."""
    told = Flow()
    told.add(batch(ROWS[:cut]))
    told.add(batch(ROWS[cut:]))
    expected = {
        0: Rate(3, 2 * 111 + 83, 0), 999: Rate(3, 305, 0), 1000: Rate(3, 305, 0), 1999: Rate(3, 305, 2),
        1500: Rate(3, 305, 1), 2000: Rate(1, 47, 2), 3999: Rate(0, 0, 2), 4000: Rate(1, 111, 2), 9000: Rate(0, 0, 2),
    }  # fmt: skip
    assert {ms: told.at("body", START + ms * MS) for ms in expected} == expected
    assert told.at("chassis", START + 4000 * MS) == Rate(1, 55, 1)
    assert told.at("body", START + 1500 * MS, heard=0) == Rate(0, 0, 1), "nothing was heard yet"
    assert told.at("other", START) == Rate(0, 0, 0)
    assert set(told.channels) == {"body", "chassis"}


def test_of_very_many_errors_the_oldest_are_only_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(flow, "MOST_ERRORS", 3)
    told = Flow()
    for ms in range(10):
        told.add(batch([(ms, 0, ERROR, 0)]))
    assert [told.at("body", START + ms * MS).errors for ms in (0, 6, 7, 8, 9)] == [7, 7, 8, 9, 10]


def test_a_clock_that_jumps_by_years_takes_no_room() -> None:
    """50 years later: a place for each second between would be 25 GB."""
    later_ms = 50 * 365 * 86_400_000
    told = Flow()
    told.add(batch([(0, 0, 0, 8), (later_ms, 0, 0, 8), (later_ms + 10, 0, 0, 8)]))
    told.add(batch([(500, 0, 0, 8)]))
    assert told.at("body", START + 1000 * MS) == Rate(2, 222, 0)
    assert told.at("body", START + (later_ms + 1000) * MS) == Rate(2, 222, 0)
    assert told.at("body", START + later_ms * MS) == Rate(0, 0, 0)
    assert sum(len(seconds) for seconds in told._counts.values()) == 2


def test_nothing_yet() -> None:
    told = Flow()
    told.add(batch(ROWS).cut(0, 0))
    assert told.at("body", START) == Rate(0, 0, 0)
    assert told.channels == ()
