"""Intervals between the samples of many series, in memory that does not grow with the samples.

Each interval falls into a bin; the bins grow with the interval, 256 to each doubling:

    8.389 ms   8.421 ms   8.454 ms ...        16.78 ms   16.84 ms ...
    |__________|__________|_                  |__________|_
    count, sum            ^ both whole numbers, so any order of adding gives the same

A median or other quantile is the mean of the intervals in the bin where it lies: exact
where they are all equal, else wrong by less than 0.4 %.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Final

import numpy as np
import numpy.typing as npt

from busprobe.frames import Int64Array

LEARNT: Final = 20
"""Intervals from which a message is learnt to be cyclic or sent on change."""
STEP_BACK_NS: Final = 1_000_000_000
"""A stamp older than the newest by more than this starts the recording's time anew."""
_NONE: Final = -(1 << 62)
_BIN_BITS: Final = 8


class Sending(Enum):
    """How a message is sent, as far as its first 20 intervals tell."""

    CYCLIC = "cyclic"
    """The longest of the 20 is at most twice their median."""
    ON_CHANGE = "on change"
    TOO_FEW = "too few"
    """Fewer than 20 intervals."""
    SINGLE = "single"
    """One frame."""


@dataclass(frozen=True)
class IntervalStats:
    """Intervals of one series."""

    count: int
    sending: Sending
    median_ns: int | None = None
    """The lower one of an even count."""
    jitter_ns: int | None = None
    """From the 5 % to the 95 % point of the intervals."""
    longest_ns: int | None = None
    longest_from_ns: int | None = None
    """When the longest one began; the earliest of equals."""


@dataclass(frozen=True)
class Parts:
    """Rows of a batch sorted into series, the order within a series kept."""

    order: Int64Array
    """(n,) row numbers, series after series."""
    series: Int64Array
    """(m,) the series present, rising."""
    starts: Int64Array
    """(m,) where each begins in `order`."""

    @property
    def sizes(self) -> Int64Array:
        return np.diff(self.starts, append=len(self.order))

    @classmethod
    def of(cls, series: npt.NDArray[np.integer]) -> Parts:
        """Sort rows by series number, numbers below 65536 the fastest."""
        small = series.astype(np.uint16) if len(series) and series.max() < 1 << 16 else series
        order = np.argsort(small, kind="stable")
        return cls(order, *_runs(small[order].astype(np.int64)))


def _runs(numbers: Int64Array) -> tuple[Int64Array, Int64Array]:
    """Values and beginnings of the runs of equal numbers."""
    first = np.ones(len(numbers), np.bool_)
    np.not_equal(numbers[1:], numbers[:-1], out=first[1:])
    starts = np.flatnonzero(first)
    return numbers[starts], starts


def forward(t_ns: Int64Array, newest_ns: int | None) -> Int64Array:
    """Stamps that never step back by less than a second: the newest so far stands instead.

    newest_ns: the last value returned for this source, None at its beginning. A step back
    of more than a second stays, and what follows is measured from there.
    """
    out = t_ns.copy()
    start = 0
    while start < len(out):
        if newest_ns is not None and newest_ns - out[start] <= STEP_BACK_NS:
            out[start] = max(out[start], newest_ns)
        top = np.maximum.accumulate(out[start:])
        back = np.flatnonzero(top - out[start:] > STEP_BACK_NS)
        end = start + int(back[0]) if len(back) else len(out)
        out[start:end] = top[: end - start]
        newest_ns, start = None, end
    return out


class IntervalTable:
    """Counts the intervals of numbered series; `stats` tells of one at any time."""

    def __init__(self) -> None:
        self._last: Int64Array = np.empty(0, np.int64)
        self._learnt: Int64Array = np.empty((0, LEARNT), np.int64)
        self._longest: Int64Array = np.empty(0, np.int64)
        self._longest_from: Int64Array = np.empty(0, np.int64)
        self._count: Int64Array = np.empty(0, np.int64)
        self._bins: Int64Array = np.empty(0, np.int64)
        self._bin_counts: Int64Array = np.empty(0, np.int64)
        self._bin_sums: Int64Array = np.empty(0, np.int64)

    def add(self, parts: Parts, t_ns: Int64Array) -> None:
        """More samples: `t_ns` of the rows that `parts` sorts, from `forward`."""
        if not len(parts.order):
            return
        self._grow(int(parts.series[-1]) + 1)
        t = t_ns[parts.order]
        before = np.empty_like(t)
        before[1:] = t[:-1]
        before[parts.starts] = self._last[parts.series]
        self._last[parts.series] = t[parts.starts + parts.sizes - 1]
        interval = t - before
        # A negative interval spans a step back in time and measures nothing.
        good = (before != _NONE) & (interval >= 0)
        if good.any():
            series = np.repeat(parts.series, parts.sizes)[good]
            self._count_in(series, interval[good], before[good])

    def _grow(self, size: int) -> None:
        more = max(0, size - len(self._last))
        if more:
            more = max(more, len(self._last))
            self._last = np.append(self._last, np.full(more, _NONE, np.int64))
            self._learnt = np.append(self._learnt, np.zeros((more, LEARNT), np.int64), axis=0)
            self._longest = np.append(self._longest, np.full(more, -1, np.int64))
            self._longest_from = np.append(self._longest_from, np.zeros(more, np.int64))
            self._count = np.append(self._count, np.zeros(more, np.int64))

    def _count_in(self, series: Int64Array, interval: Int64Array, before: Int64Array) -> None:
        present, starts = _runs(series)
        sizes = np.diff(starts, append=len(series))
        self._learn(series, interval, starts, sizes)
        self._count[present] += sizes
        longest = np.maximum.reduceat(interval, starts)
        at = np.flatnonzero(interval == np.repeat(longest, sizes))
        _, firsts = _runs(series[at])
        longer = longest > self._longest[present]
        self._longest[present[longer]] = longest[longer]
        self._longest_from[present[longer]] = before[at[firsts]][longer]
        self._count_bins(series << 16 | _bin(interval), interval)

    def _learn(self, series: Int64Array, interval: Int64Array, starts: Int64Array, sizes: Int64Array) -> None:
        """Keep the first intervals of each series one by one."""
        if self._count[series[starts]].min() >= LEARNT:
            return
        place = self._count[series] + np.arange(len(series)) - np.repeat(starts, sizes)
        early = place < LEARNT
        self._learnt[series[early], place[early]] = interval[early]

    def _count_bins(self, bins: Int64Array, interval: Int64Array) -> None:
        order = np.argsort(bins, kind="stable")
        present, starts = _runs(bins[order])
        counts = np.diff(starts, append=len(order))
        sums = np.add.reduceat(interval[order], starts)
        place = np.searchsorted(self._bins, present)
        old = place < len(self._bins)
        old[old] = self._bins[place[old]] == present[old]
        self._bin_counts[place[old]] += counts[old]
        self._bin_sums[place[old]] += sums[old]
        new = ~old
        if new.any():
            self._bins = np.insert(self._bins, place[new], present[new])
            self._bin_counts = np.insert(self._bin_counts, place[new], counts[new])
            self._bin_sums = np.insert(self._bin_sums, place[new], sums[new])

    def stats(self, series: int, samples: int) -> IntervalStats:
        """What is known of one series that had so many samples."""
        count = int(self._count[series]) if series < len(self._count) else 0
        if not count:
            return IntervalStats(0, Sending.SINGLE if samples == 1 else Sending.TOO_FEW)
        low, high = np.searchsorted(self._bins, [series << 16, (series + 1) << 16])
        counts, sums = self._bin_counts[low:high], self._bin_sums[low:high]
        upto = np.cumsum(counts)

        def quantile(share: float) -> int:
            place = int(np.searchsorted(upto, int((count - 1) * share), side="right"))
            return int(sums[place]) // int(counts[place])

        return IntervalStats(
            count,
            self._sending(series, count),
            quantile(0.5),
            quantile(0.95) - quantile(0.05),
            int(self._longest[series]),
            int(self._longest_from[series]),
        )

    def _sending(self, series: int, count: int) -> Sending:
        if count < LEARNT:
            return Sending.TOO_FEW
        first = np.sort(self._learnt[series])
        twice_median = int(first[LEARNT // 2 - 1] + first[LEARNT // 2])
        return Sending.CYCLIC if first[-1] <= twice_median else Sending.ON_CHANGE


def _bin(interval: Int64Array) -> Int64Array:
    """Bin number of each interval: exponent and leading bits of it as a floating number."""
    bits = np.maximum(interval, 1).astype(np.float64).view(np.int64)
    return (bits >> (52 - _BIN_BITS)) - (1023 << _BIN_BITS)
