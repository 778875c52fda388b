"""From frames to signals: every signal of a message, for many frames at once."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from busprobe.decode.bits import as_float
from busprobe.decode.layout import MessageLayout, Plan, Ranges, SignalLayout
from busprobe.frames import FD, TAIL_WORDS, BoolArray, FloatArray, FrameBatch, Int64Array, UInt8Array, UInt64Array

RawArray = Int64Array | UInt64Array | FloatArray

_FD_LENGTHS = (*range(9), 12, 16, 20, 24, 32, 48, 64)
"""Payload lengths that a CAN FD frame can have (ISO 11898-1)."""


@dataclass(frozen=True, slots=True)
class SignalSamples:
    """One signal in the frames that carry it, in the order of the frames.

    The arrays may be rows of a larger block: copy those that are kept for long.
    """

    layout: SignalLayout
    t_ns: Int64Array
    """(n,) time of each frame."""
    raw: RawArray
    """(n,) int64; uint64 for an unsigned signal of 64 bits, float64 for a floating-point one."""
    value: FloatArray
    """(n,) raw * scale + offset."""
    present: BoolArray | None = None
    """(n,) False where the frame is too short or the multiplexer selects other signals; None: always present."""

    def known(self) -> BoolArray | None:
        """(n,) present, and not a code for "not available" or "error"; None: all of them."""
        layout = self.layout
        bad: BoolArray | None = None
        if layout.is_float:
            bad = np.isnan(self.raw)
        elif layout.not_available:
            bad = np.isin(self.raw, np.array(layout.not_available, self.raw.dtype))
        if layout.not_available_from is not None:
            above = self.raw >= layout.not_available_from
            bad = above if bad is None else bad | above
        if bad is None or not bad.any():
            return self.present
        return ~bad if self.present is None else self.present & ~bad


def decode_rows(
    batch: FrameBatch, rows: Int64Array, message: MessageLayout, names: Collection[str] | None = None
) -> list[SignalSamples]:
    """Signals of the frames at `rows`, all of them frames of `message`, in the order of the file.

    names: the signals wanted; None: all. Frames shorter than the database says are decoded as far
    as their bits go, of longer ones the rest is not looked at.
    """
    plan = message.plan(names)
    if not plan.wanted:
        return []
    block = plan.cut.raw(_words(batch, rows, plan.cut.word_count))
    value = block.astype(np.float64)
    raw: list[RawArray] = [block[row] for row in plan.cut.row]
    for index in plan.special:
        signal, row = plan.signals[index], plan.cut.row[index]
        raw[index] = as_float(block[row], signal.length) if signal.is_float else block[row].view(np.uint64)
        value[row] = raw[index]
    if plan.scale is not None:
        np.multiply(value, plan.scale, out=value)
    if plan.offset is not None:
        np.add(value, plan.offset, out=value)
    present = _present(plan, raw, batch.length[rows])
    t_ns = batch.t_ns[rows]
    return [
        SignalSamples(plan.signals[i], t_ns, raw[i], value[plan.cut.row[i]], present[i]) for i in range(plan.wanted)
    ]


def count_short(batch: FrameBatch, rows: Int64Array, message: MessageLayout) -> int:
    """How many of these frames are shorter than the database says."""
    return int(np.count_nonzero(batch.length[rows] < message.length))


def count_long(batch: FrameBatch, rows: Int64Array, message: MessageLayout) -> int:
    """How many of these frames are longer than the database says.

    A CAN FD frame may be padded to the next length that the format has.
    """
    length = batch.length[rows]
    padded = next((n for n in _FD_LENGTHS if n >= message.length), message.length)
    is_fd = (batch.flags[rows] & FD) != 0
    return int(np.count_nonzero(length > np.where(is_fd, padded, message.length)))


def _words(batch: FrameBatch, rows: Int64Array, count: int) -> list[UInt64Array]:
    """Payload words 0 to `count` - 1 of the frames at `rows`."""
    words = [batch.payload[rows]]
    if count > 1:
        later = np.zeros((TAIL_WORDS, len(rows)), np.uint64)
        if batch.tail is not None:
            place = np.searchsorted(batch.tail.rows, rows)
            place[place == len(batch.tail.rows)] = 0
            hit = batch.tail.rows[place] == rows
            later[:, hit] = batch.tail.words[place[hit]].T
        words += list(later)
    return words


def _present(plan: Plan, raw: list[RawArray], length: UInt8Array) -> list[BoolArray | None]:
    """For each signal wanted, in which frames it is; None: in all."""
    whole: list[BoolArray | None] = [None] * len(plan.signals)
    if len(length) and length.min() < plan.most_bytes:
        whole = list(length >= plan.byte_count[:, None])
    if plan.multiplexed:
        index = {signal.name: i for i, signal in enumerate(plan.signals)}
        selected: dict[tuple[str, Ranges], BoolArray] = {}
        for i in plan.multiplexed:
            for name, ranges in plan.signals[i].multiplexer:
                if (name, ranges) not in selected:
                    selected[name, ranges] = _among(raw[index[name]], ranges)
                whole[i] = _both(whole[i], selected[name, ranges])
                whole[i] = _both(whole[i], whole[index[name]])
    return [None if mask is None or mask.all() else mask for mask in whole[: plan.wanted]]


def _both(a: BoolArray | None, b: BoolArray | None) -> BoolArray | None:
    if a is None or b is None:
        return b if a is None else a
    return a & b


def _among(raw: RawArray, ranges: Ranges) -> BoolArray:
    """(n,) whether the raw value lies in one of the ranges."""
    out = np.zeros(len(raw), np.bool_)
    for low, high in ranges:
        out |= raw == low if low == high else (raw >= low) & (raw <= high)
    return out
