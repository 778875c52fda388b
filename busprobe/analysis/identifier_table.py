"""What each identifier of each channel did, in memory that grows with identifiers only."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from busprobe.analysis.intervals import IntervalTable, Parts
from busprobe.analysis.survey_result import IdentifierSeen
from busprobe.frames import ERROR, EXTENDED, REMOTE, TAIL_WORDS, BoolArray, FrameBatch, Int64Array, UInt64Array

NameOf = Callable[[str, int, bool], str | None]
"""(channel, identifier, extended) -> name of the message, None where the databases have none."""

_EXTENDED_PLACE = 29
_CHANNEL_PLACE = 30
_ALL_ONES = np.uint64(0xFFFF_FFFF_FFFF_FFFF)


class IdentifierTable:
    """Counts, times, lengths and changing bits of every (channel, identifier, extended).

    A key is `channel number << 30 | extended << 29 | identifier`; each key has a place in
    the arrays, in the order of first sight.
    """

    def __init__(self) -> None:
        self._keys: Int64Array = np.empty(0, np.int64)
        self._count: Int64Array = np.empty(0, np.int64)
        self._remotes: Int64Array = np.empty(0, np.int64)
        self._first: Int64Array = np.empty(0, np.int64)
        self._last: Int64Array = np.empty(0, np.int64)
        self._lengths: BoolArray = np.empty((0, 256), np.bool_)
        self._ones: UInt64Array = np.empty((0, 1 + TAIL_WORDS), np.uint64)
        self._always: UInt64Array = np.empty((0, 1 + TAIL_WORDS), np.uint64)
        self._intervals = IntervalTable()

    def add(self, batch: FrameBatch, channel: Int64Array, t_ns: Int64Array) -> None:
        """More frames; channel: (n,) channel numbers, t_ns: (n,) from `intervals.forward`."""
        extended = (batch.flags & EXTENDED).astype(np.int64)
        keys = channel << _CHANNEL_PLACE | extended << _EXTENDED_PLACE | batch.identifier
        special = batch.flags & (ERROR | REMOTE)
        if special.any():
            remote = (special & ERROR) == 0
            remote &= special != 0
            self._add_remotes(keys[remote], batch.t_ns[remote])
            data = special == 0
            batch, keys, t_ns = batch.take(data), keys[data], t_ns[data]
        if len(keys):
            self._add_data(batch, self._places(keys), t_ns)

    def _add_data(self, batch: FrameBatch, places: Int64Array, t_ns: Int64Array) -> None:
        parts = Parts.of(places)
        rows, starts, at = parts.order, parts.starts, parts.series
        self._count[at] += parts.sizes
        self._meet(parts, batch.t_ns)
        self._lengths[places, batch.length] = True
        words = batch.words()
        used = words.shape[1]
        words = words[rows]
        self._ones[at, :used] |= np.bitwise_or.reduceat(words, starts, axis=0)
        self._always[at, :used] &= np.bitwise_and.reduceat(words, starts, axis=0)
        self._always[at, used:] = 0
        self._intervals.add(parts, t_ns)

    def _add_remotes(self, keys: Int64Array, t_ns: Int64Array) -> None:
        if len(keys):
            parts = Parts.of(self._places(keys))
            self._remotes[parts.series] += parts.sizes
            self._meet(parts, t_ns)

    def _meet(self, parts: Parts, t_ns: Int64Array) -> None:
        """Widen the first and last time of every series present."""
        t, at = t_ns[parts.order], parts.series
        self._first[at] = np.minimum(self._first[at], np.minimum.reduceat(t, parts.starts))
        self._last[at] = np.maximum(self._last[at], np.maximum.reduceat(t, parts.starts))

    def _places(self, keys: Int64Array) -> Int64Array:
        """Place of every key, new ones made on the way."""
        sorter = np.argsort(self._keys)
        found = np.searchsorted(self._keys, keys, sorter=sorter)
        found = np.take(sorter, found, mode="clip") if len(sorter) else found
        new = self._keys[found] != keys if len(sorter) else np.ones(len(keys), np.bool_)
        if new.any():
            self._grow(np.unique(keys[new]))
            return self._places(keys)
        return found

    def _grow(self, keys: Int64Array) -> None:
        more = len(keys)
        limits = np.iinfo(np.int64)
        self._keys = np.append(self._keys, keys)
        self._count = np.append(self._count, np.zeros(more, np.int64))
        self._remotes = np.append(self._remotes, np.zeros(more, np.int64))
        self._first = np.append(self._first, np.full(more, limits.max))
        self._last = np.append(self._last, np.full(more, limits.min))
        self._lengths = np.append(self._lengths, np.zeros((more, 256), np.bool_), axis=0)
        self._ones = np.append(self._ones, np.zeros((more, 1 + TAIL_WORDS), np.uint64), axis=0)
        self._always = np.append(self._always, np.full((more, 1 + TAIL_WORDS), _ALL_ONES), axis=0)

    def result(self, channels: list[str], name_of: NameOf | None) -> tuple[IdentifierSeen, ...]:
        """Every identifier; channels: names by channel number."""
        seen = [self._one(place, channels, name_of) for place in range(len(self._keys))]
        return tuple(sorted(seen, key=lambda one: (one.channel, one.extended, one.identifier)))

    def _one(self, place: int, channels: list[str], name_of: NameOf | None) -> IdentifierSeen:
        key, count = int(self._keys[place]), int(self._count[place])
        channel = channels[key >> _CHANNEL_PLACE]
        extended = bool(key >> _EXTENDED_PLACE & 1)
        identifier = key & (1 << _EXTENDED_PLACE) - 1
        changing = self._ones[place] & ~self._always[place]
        lengths = np.flatnonzero(self._lengths[place])
        used = max(1, -(-int(lengths.max(initial=0)) // 8))
        return IdentifierSeen(
            channel,
            identifier,
            extended,
            name_of(channel, identifier, extended) if name_of else None,
            count,
            int(self._remotes[place]),
            tuple(lengths.tolist()),
            int(self._first[place]),
            int(self._last[place]),
            self._intervals.stats(place, count),
            tuple(changing[:used].tolist()),
        )
