"""What flowed over each channel of a recording, second by second."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from busprobe.analysis.frame_tally import frame_bits
from busprobe.frames import ERROR, FrameBatch, Int64Array
from busprobe.timeline import NO_TIMES

SECOND = 1_000_000_000
MOST_ERRORS = 100_000
"""Times of error frames kept for each channel; of more the oldest count as there from the start."""


class Rate(NamedTuple):
    """A channel around a time."""

    frames: int
    """In the second before, error frames left out."""
    bits: int
    """On the wire in that second, stuff bits left out."""
    errors: int
    """Error frames up to the time."""


class Flow:
    """Counts frames as they are loaded, in the order of the recording; `at` from another thread."""

    def __init__(self) -> None:
        self._start_ns: int | None = None
        self._counts: dict[str, dict[int, tuple[int, int]]] = {}
        """By channel and second since the start, frames and bits; a jump of the clock takes no room."""
        self._errors: dict[str, tuple[int, Int64Array]] = {}
        """By channel, how many are forgotten, and the times of the rest."""

    def add(self, batch: FrameBatch) -> None:
        """More frames; those before the first one of all count in its second."""
        if not len(batch):
            return
        if self._start_ns is None:
            self._start_ns = int(batch.t_ns[0])
        second = np.maximum((batch.t_ns - self._start_ns) // SECOND, 0)
        bad = (batch.flags & np.uint8(ERROR)) != 0
        bits = frame_bits(batch)
        for place, name in enumerate(batch.channels):
            of_it = batch.channel == place
            rows = np.flatnonzero(of_it & ~bad)
            if len(rows):
                self._count(name, second[rows], bits[rows])
            if len(new := batch.t_ns[of_it & bad]):
                forgotten, times = self._errors.get(name, (0, NO_TIMES))
                times = np.sort(np.concatenate([times, new]))
                over = max(len(times) - MOST_ERRORS, 0)
                self._errors[name] = forgotten + over, times[over:]

    @property
    def channels(self) -> tuple[str, ...]:
        """Those with any frame, error frames too."""
        return tuple(dict.fromkeys([*self._counts, *self._errors]))

    def _count(self, name: str, second: Int64Array, bits: Int64Array) -> None:
        counts = self._counts.setdefault(name, {})
        seconds, place = np.unique(second, return_inverse=True)
        frames, sent = np.bincount(place), np.bincount(place, bits)
        for at, more, more_bits in zip(seconds.tolist(), frames.tolist(), sent.tolist(), strict=True):
            before, bits_before = counts.get(at, (0, 0))
            counts[at] = before + more, bits_before + round(more_bits)

    def at(self, channel: str, t_ns: int, heard: int | None = None) -> Rate:
        """The whole second before the one of `t_ns`; at the very start, the first one.

        heard: frames up to `t_ns`, where that is known: of 0 there is no rate yet.
        """
        counts = self._counts.get(channel)
        forgotten, times = self._errors.get(channel, (0, NO_TIMES))
        errors = forgotten + int(np.searchsorted(times, t_ns, "right"))
        if counts is None or self._start_ns is None or heard == 0:
            return Rate(0, 0, errors)
        frames, bits = counts.get(max((t_ns - self._start_ns) // SECOND - 1, 0), (0, 0))
        return Rate(frames, bits, errors)
