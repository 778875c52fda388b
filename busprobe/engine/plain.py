"""Signals whose messages go on as usual, taken in all at once.

Of a hundred signals with a few samples each, taking them one by one costs a hundred times what an
array operation costs to start. A tap is taken here while nothing is special about it:

    one signal of whole numbers in one payload word, no multiplexer, no raw value that means "unknown"
    known before, every sample in time after the one before it, the channel awake

Everything else goes the way that holds for all: `SampledTap.take_message`. Both say the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from busprobe.decode.bits import WORD
from busprobe.decode.layout import SignalLayout
from busprobe.engine.signal_plan import MessageTap, Source
from busprobe.engine.taps import SampledTap
from busprobe.frames import BoolArray, FloatArray, FrameBatch, Int64Array, UInt8Array, UInt64Array
from busprobe.timeline import NO_TIMES, TRUE, Changes

FEW = 64
"""Up to so many frames a tap: with more, a message's signals are better decoded together."""


@dataclass(frozen=True)
class _Places:
    """Where the signals lie and what they mean, (k,) each."""

    up: UInt64Array
    down: UInt64Array
    signed: BoolArray
    big_endian: BoolArray
    byte_count: UInt8Array
    scale: FloatArray
    offset: FloatArray
    own_scale: FloatArray
    """From the database's unit to the signal's."""
    own_offset: FloatArray


class PlainTaps:
    """Those of the taps given that can be taken at once."""

    def __init__(self, taps: Mapping[int, Sequence[SampledTap]]) -> None:
        """taps: by the number of their message at the router."""
        self._all = taps
        self._others: dict[int, tuple[SampledTap, ...]] = {}
        """Those that never can, by message."""
        self._numbers: list[int] = []
        self._taps: list[SampledTap] = []
        layouts: list[SignalLayout] = []
        for number, several in taps.items():
            for tap in several:
                layout = _plain_layout(tap)
                if layout is None:
                    self._others[number] = (*self._others.get(number, ()), tap)
                else:
                    self._numbers.append(number)
                    self._taps.append(tap)
                    layouts.append(layout)
        self._places = _places(layouts, [tap.source for tap in self._taps])

    def take(
        self, frames: FrameBatch, rows: Mapping[int, Int64Array], upto_ns: int
    ) -> Mapping[int, Sequence[SampledTap]]:
        """Take in the samples of all taps that go on as usual, up to a time; returns the others, by message.

        rows: by message, the rows of its frames.
        """
        taps = self._taps
        if not taps or len(frames) > FEW * len(taps):
            return self._all
        of_tap = [rows.get(number, NO_TIMES) for number in self._numbers]
        counts = np.array([len(r) for r in of_tap], np.int64)
        flat = np.concatenate(of_tap)
        which = np.repeat(np.arange(len(taps)), counts)
        ends = counts.cumsum()
        firsts = (ends - counts)[counts > 0]

        t_ns = frames.t_ns[flat]
        limit = np.array([tap.freshness.limit_ns for tap in taps], np.int64)
        newest = np.array([tap.freshness.since_ns for tap in taps], np.int64)
        gap = t_ns - _shifted(t_ns, firsts, newest[counts > 0])
        odd = (gap <= 0) | (gap > limit[which]) | (frames.length[flat] < self._places.byte_count[which])
        newest[counts > 0] = t_ns[ends[counts > 0] - 1]
        as_usual = (limit >= 0) & (upto_ns - newest <= limit)
        as_usual[which[odd]] = False

        value = self._values(frames.payload[flat], which)
        before = np.array([tap.freshness.value for tap in taps])
        changed = np.flatnonzero(value != _shifted(value, firsts, before[counts > 0]))
        bounds = np.searchsorted(changed, ends).tolist()
        changed_t, changed_value = t_ns[changed], value[changed]
        codes = np.full(len(changed), TRUE, np.uint8)
        begin = low = 0
        for tap, end, high, usual in zip(taps, ends.tolist(), bounds, as_usual.tolist(), strict=True):
            if usual and begin == end:
                tap.take_nothing(upto_ns)
            elif usual:
                changes = Changes(changed_t[low:high], codes[low:high], changed_value[low:high], upto_ns)
                tap.take_usual(t_ns[begin:end], changes, float(value[end - 1]))
            begin, low = end, high
        if as_usual.all():
            return self._others
        left = dict(self._others)
        for k in np.flatnonzero(~as_usual).tolist():
            left[self._numbers[k]] = (*left.get(self._numbers[k], ()), taps[k])
        return left

    def _values(self, word: UInt64Array, which: Int64Array) -> FloatArray:
        """(n,) values of the signals `which` in these payload words."""
        places = self._places
        big = places.big_endian[which]
        if big.any():
            word = np.where(big, word.byteswap(), word)
        word = word << places.up[which]
        down = places.down[which]
        raw = (word >> down).view(np.int64)
        signed = places.signed[which]
        if signed.any():
            raw = np.where(signed, word.view(np.int64) >> down.view(np.int64), raw)
        value = raw * places.scale[which] + places.offset[which]
        return value * places.own_scale[which] + places.own_offset[which]


def _shifted(values: np.ndarray, firsts: Int64Array, before: np.ndarray) -> np.ndarray:
    """(n,) each one's predecessor; that of the first ones of each tap is given."""
    out = np.empty_like(values)
    out[1:] = values[:-1]
    out[firsts] = before
    return out


def _plain_layout(tap: SampledTap) -> SignalLayout | None:
    """Where a signal lies, if it can be taken at once."""
    found = tap.source.tap
    if not isinstance(found, MessageTap):
        return None
    layout = found.layout
    special = (
        layout.is_float or layout.is_wide or layout.multiplexer or layout.not_available or found.unknown_raw
        or layout.not_available_from is not None or tap.source.recode is not None
    )  # fmt: skip
    # A negative factor makes 0 into -0, which a text shows.
    is_plain = not special and layout.bits.last < WORD and layout.scale > 0 and tap.source.scale > 0
    return layout if is_plain else None


def _places(layouts: Sequence[SignalLayout], sources: Sequence[Source]) -> _Places:
    bits = [layout.bits for layout in layouts]
    return _Places(
        np.array([b.first if b.big_endian else WORD - 1 - b.last for b in bits], np.uint64),
        np.array([WORD - b.length for b in bits], np.uint64),
        np.array([b.signed for b in bits], np.bool_),
        np.array([b.big_endian for b in bits], np.bool_),
        np.array([b.byte_count for b in bits], np.uint8),
        np.array([layout.scale for layout in layouts], np.float64),
        np.array([layout.offset for layout in layouts], np.float64),
        np.array([source.scale for source in sources], np.float64),
        np.array([source.offset for source in sources], np.float64),
    )
