"""What each channel carried: frames by kind, first and last time, and how busy the bus was."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

import numpy as np

from busprobe.analysis.survey_result import BitRate, ChannelSeen
from busprobe.analysis.wire_length import WireBits
from busprobe.frames import ERROR, LATE, REMOTE, SENT, BoolArray, FrameBatch, Int64Array

_SECOND_NS = 1_000_000_000


@dataclass
class ChannelTally:
    """Counts the frames of one channel, and the bits of each whole second."""

    name: str
    first_ns: int | None = None
    last_ns: int | None = None
    frames: int = 0
    errors: int = 0
    remotes: int = 0
    sent: int = 0
    late: int = 0
    nominal_bits: Counter[int] = field(default_factory=Counter)
    """Second -> bits at the nominal rate."""
    data_bits: Counter[int] = field(default_factory=Counter)

    def add(self, batch: FrameBatch, mine: BoolArray, bits: WireBits) -> None:
        """More frames: those of `batch` where `mine`; bits: of the whole batch."""
        t, flags = batch.t_ns[mine], batch.flags[mine]
        if not len(t):
            return
        low, high = int(t.min()), int(t.max())
        self.first_ns = low if self.first_ns is None else min(self.first_ns, low)
        self.last_ns = high if self.last_ns is None else max(self.last_ns, high)
        errors = (flags & ERROR) != 0
        self.frames += len(t)
        self.errors += int(errors.sum())
        self.remotes += int(((flags & REMOTE != 0) & ~errors).sum())
        self.sent += int(np.count_nonzero(flags & SENT))
        self.late += int(np.count_nonzero(flags & LATE))
        seconds, place = np.unique(t // _SECOND_NS, return_inverse=True)
        _count(self.nominal_bits, seconds, place, bits.nominal[mine])
        _count(self.data_bits, seconds, place, bits.data[mine])

    def result(self, decoded: int | None, rate: BitRate | None) -> ChannelSeen | None:
        """The channel in figures, None if it carried no frame."""
        if self.first_ns is None or self.last_ns is None:
            return None
        load, busiest, busiest_ns = self._load(self.last_ns - self.first_ns, rate)
        return ChannelSeen(
            self.name, self.first_ns, self.last_ns, self.frames, self.errors, self.remotes,
            self.sent, self.late, load, busiest, busiest_ns, decoded,
        )  # fmt: skip

    def _load(self, duration_ns: int, rate: BitRate | None) -> tuple[float | None, float | None, int | None]:
        """Load over all and in the busiest second; None where it cannot be told.

        Of a channel that lived for a second or little more no whole second need be full: over all is the least.
        """
        if rate is None or not self.nominal_bits or not duration_ns:
            return None, None, None
        data_rate = rate.data
        if data_rate is None:
            if self.data_bits.total():
                return None, None, None
            data_rate = rate.nominal
        busy = {s: self.nominal_bits[s] / rate.nominal + self.data_bits[s] / data_rate for s in self.nominal_bits}
        busiest = max(sorted(busy), key=busy.__getitem__)
        whole = self.nominal_bits.total() / rate.nominal + self.data_bits.total() / data_rate
        average = whole * _SECOND_NS / duration_ns
        return average, max(busy[busiest], average), busiest * _SECOND_NS


def _count(counter: Counter[int], seconds: Int64Array, place: Int64Array, bits: Int64Array) -> None:
    sums = np.zeros(len(seconds), np.int64)
    np.add.at(sums, place, bits)
    for second, total in zip(seconds.tolist(), sums.tolist(), strict=True):
        if total:
            counter[second] += total
