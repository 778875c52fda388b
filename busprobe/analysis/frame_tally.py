"""The newest frame of every identifier, with count, period and changed bits, as frames come in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from busprobe.analysis.intervals import LEARNT
from busprobe.frames import (
    ERROR,
    EXTENDED,
    LATE,
    REMOTE,
    TAIL_WORDS,
    BoolArray,
    FrameBatch,
    Int64Array,
    UInt8Array,
    UInt64Array,
)
from busprobe.timeline import NEVER

WORDS = 1 + TAIL_WORDS
CHANGED_NS = 1_000_000_000
"""A bit counts as changed lately for this long, up to twice as long."""
EARLY = LEARNT + 1
"""First frames of an identifier whose times are kept: the intervals between them tell how it is sent."""
SMOOTHING = 0.125
"""Weight of the newest interval in period and jitter."""
STANDARD_BITS, EXTENDED_BITS = 47, 67
"""Bits of a classic frame beside its payload, with 3 bits of space, stuff bits left out (ISO 11898-1)."""


def frame_bits(batch: FrameBatch) -> Int64Array:
    """(n,) bits of each frame as a classic one, stuff bits left out.

    A remote frame has a length and no payload. An error frame counts no bits: how much of which
    frame it cut is not recorded.
    """
    extended = (batch.flags & np.uint8(EXTENDED)).astype(np.bool_)
    has_payload = (batch.flags & np.uint8(REMOTE)) == 0
    bits = np.where(extended, EXTENDED_BITS, STANDARD_BITS) + 8 * batch.length.astype(np.int64) * has_payload
    return np.where(batch.flags & np.uint8(ERROR), 0, bits)


@dataclass
class TallyRows:
    """One row for each (channel, identifier), in the order first heard."""

    key: Int64Array
    """See `row_key`."""
    count: Int64Array
    last_ns: Int64Array
    period_ns: Int64Array
    jitter_ns: Int64Array
    length: UInt8Array
    bits: Int64Array
    """Bits sent so far, about."""
    words: UInt64Array
    changed: UInt64Array
    changed_before: UInt64Array
    changed_ns: Int64Array
    """When the payload was last another one than in the frame before; NEVER where it always was the same."""
    early: Int64Array
    """(n, EARLY) times of the first frames; 0 where there were not so many yet."""

    def copy(self) -> TallyRows:
        return TallyRows(*(getattr(self, name).copy() for name in self.__dataclass_fields__))


def _no_rows() -> TallyRows:
    zero = np.zeros(0, np.int64)
    none = np.zeros((0, WORDS), np.uint64)
    return TallyRows(
        zero, zero, zero, zero, zero, np.zeros(0, np.uint8), zero, none, none, none, zero,
        np.zeros((0, EARLY), np.int64),
    )  # fmt: skip


def row_key(channel: int, identifier: int, is_extended: bool) -> int:
    """The key of a row: channel << 30 | extended << 29 | identifier; `channel` is a place in `channels`."""
    return channel << 30 | int(is_extended) << 29 | identifier


class FrameTally:
    """Feed it batches in order of time, of one source or of several that name their channels apart."""

    def __init__(self) -> None:
        self.rows = _no_rows()
        self.channels: tuple[str, ...] = ()
        self.turned_ns: int | None = None
        """When `changed` was last moved to `changed_before`."""

    def copy(self) -> FrameTally:
        other = FrameTally()
        other.rows, other.channels, other.turned_ns = self.rows.copy(), self.channels, self.turned_ns
        return other

    def add(self, batch: FrameBatch) -> None:
        """Count data frames; those that came late, remote and error frames are left out."""
        self.channels += tuple(name for name in batch.channels if name not in self.channels)
        data = (batch.flags & np.uint8(ERROR | REMOTE | LATE)) == 0
        if not data.all():
            batch = batch.take(data)
        if not len(batch):
            return
        self.turn(int(batch.t_ns[0]))
        extended = (batch.flags & np.uint8(EXTENDED)).astype(np.int64)
        number = np.array([self.channels.index(name) for name in batch.channels], np.int64)
        key = number[batch.channel] << 30 | extended << 29 | batch.identifier
        place = self._places(key)
        order = np.argsort(place, kind="stable")
        sorted_place = place[order]
        starts = np.flatnonzero(np.concatenate([[True], sorted_place[1:] != sorted_place[:-1]]))
        self._take(batch, order, sorted_place[starts], starts)

    def heard(self) -> dict[str, int]:
        """By channel that gave a frame, the time of its first one."""
        found: dict[str, int] = {}
        for key, first_ns in zip(self.rows.key.tolist(), self.rows.early[:, 0].tolist(), strict=True):
            name = self.channels[key >> 30]
            found[name] = min(found.get(name, first_ns), first_ns)
        return found

    def turn(self, t_ns: int) -> None:
        """Time goes on: bits that changed long ago are no longer marked."""
        if self.turned_ns is None:
            self.turned_ns = t_ns
        past = t_ns - self.turned_ns
        if past >= CHANGED_NS:
            rows = self.rows
            rows.changed_before = rows.changed if past < 2 * CHANGED_NS else np.zeros_like(rows.changed)
            rows.changed = np.zeros_like(rows.changed)
            self.turned_ns = t_ns

    def _take(self, batch: FrameBatch, order: Int64Array, at: Int64Array, starts: Int64Array) -> None:
        rows = self.rows
        t, length = batch.t_ns[order], batch.length[order]
        words = np.zeros((len(order), WORDS), np.uint64)
        own = batch.words()[order]
        words[:, : own.shape[1]] = own
        ends = np.concatenate([starts[1:], [len(order)]]) - 1
        seen_before = rows.count[at] > 0
        first = np.zeros(len(order), np.bool_)
        first[starts] = True
        before = np.concatenate([words[:1], words[:-1]])
        before[starts] = np.where(seen_before[:, None], rows.words[at], words[starts])
        moved = before ^ words
        rows.changed[at] |= np.bitwise_or.reduceat(moved, starts, axis=0)
        length_before = np.concatenate([length[:1], length[:-1]])
        length_before[starts] = np.where(seen_before, rows.length[at], length[starts])
        self._note_changes(t, at, starts, moved.any(axis=1) | (length_before != length))
        self._intervals(t, at, starts, ends, seen_before)
        sizes = ends - starts + 1
        self._keep_early(t, at, starts, sizes)
        rows.count[at] += sizes
        rows.last_ns[at], rows.length[at], rows.words[at] = t[ends], length[ends], words[ends]
        rows.bits[at] += np.add.reduceat(frame_bits(batch)[order], starts)

    def _note_changes(self, t: Int64Array, at: Int64Array, starts: Int64Array, is_other: BoolArray) -> None:
        """is_other: frames whose payload is another one than that of the frame before."""
        last = np.maximum.reduceat(np.where(is_other, t, NEVER), starts)
        self.rows.changed_ns[at] = np.maximum(self.rows.changed_ns[at], last)

    def _keep_early(self, t: Int64Array, at: Int64Array, starts: Int64Array, sizes: Int64Array) -> None:
        """Keep the times of each row's first frames."""
        rows = self.rows
        before = rows.count[at]
        if (before >= EARLY).all():
            return
        nth = np.arange(len(t)) + np.repeat(before - starts, sizes)
        is_early = nth < EARLY
        rows.early[np.repeat(at, sizes)[is_early], nth[is_early]] = t[is_early]

    def _intervals(
        self, t: Int64Array, at: Int64Array, starts: Int64Array, ends: Int64Array, seen_before: BoolArray
    ) -> None:
        """Move each row's period and jitter towards the mean interval of its new frames."""
        rows = self.rows
        since = np.where(seen_before, rows.last_ns[at], t[starts])
        number = ends - starts + seen_before
        has = number > 0
        mean = np.where(has, (t[ends] - since) // np.maximum(number, 1), 0)
        weight = 1 - (1 - SMOOTHING) ** number
        old = rows.period_ns[at]
        fresh = has & (old == 0)
        off = np.abs(mean - old)
        jitter = np.where(fresh, 0, rows.jitter_ns[at] + weight * (off - rows.jitter_ns[at]))
        rows.jitter_ns[at] = np.where(has, jitter, rows.jitter_ns[at]).astype(np.int64)
        rows.period_ns[at] = np.where(fresh, mean, np.where(has, old + weight * (mean - old), old)).astype(np.int64)

    def _places(self, key: Int64Array) -> Int64Array:
        """Row of every key; new keys get new rows, in the order of first sight."""
        rows = self.rows
        order = np.argsort(rows.key)
        known = rows.key[order]
        found = np.searchsorted(known, key)
        hit = np.zeros(len(key), np.bool_)
        inside = found < len(known)
        hit[inside] = known[found[inside]] == key[inside]
        if not hit.all():
            new, first = np.unique(key[~hit], return_index=True)
            self._grow(new[np.argsort(first)])
            return self._places(key)
        return order[found]

    def _grow(self, keys: Int64Array) -> None:
        rows, n = self.rows, len(keys)
        for name in rows.__dataclass_fields__:
            old = getattr(rows, name)
            setattr(rows, name, np.concatenate([old, np.zeros((n, *old.shape[1:]), old.dtype)]))
        rows.key[-n:], rows.changed_ns[-n:] = keys, NEVER
