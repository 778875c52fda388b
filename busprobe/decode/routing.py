"""Which frames of a batch belong to which message: one pass over the batch, then one stable sort."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt

from busprobe.decode.layout import MessageLayout
from busprobe.frames import ERROR, EXTENDED, REMOTE, FrameBatch, Int64Array, UInt32Array

_KEY_EXTENDED = 31
"""Bit of a key that tells a 29-bit identifier from an 11-bit one."""
_NO_KEY = 0xFFFFFFFF
"""No identifier has this key: bits 29 and 30 are never set."""

_Numbers = npt.NDArray[np.uint16 | np.uint32]


def _number_type(count: int) -> type[np.uint16] | type[np.uint32]:
    """Sixteen bits where they do: numpy sorts those by radix, much faster than longer ones."""
    return np.uint16 if count <= np.iinfo(np.uint16).max else np.uint32


class IdentifierNumbers:
    """Small numbers for identifiers: 1 for the first key given, 2 for the second ...; 0 for any other.

    A key times an odd constant, shifted down, is the key's slot in a table. Constants and sizes of
    the table are tried until every key has a slot of its own; of very many keys none may be found,
    which are then searched for by halving, about ten times slower.
    """

    def __init__(self, keys: Sequence[int]) -> None:
        """keys: identifiers, bit 31 set for the 29-bit ones; no key twice."""
        self._key = np.array([_NO_KEY, *keys], np.uint32)
        self._table: _Numbers | None = None
        numbers: _Numbers = np.arange(1, len(self._key)).astype(_number_type(len(self._key)))
        for bits, multiplier in _attempts(len(keys)):
            slots = (self._key[1:] * multiplier) >> np.uint32(32 - bits)
            if len(np.unique(slots)) == len(slots):
                self._multiplier, self._shift = multiplier, np.uint32(32 - bits)
                self._table = np.zeros(1 << bits, numbers.dtype)
                self._table[slots] = numbers
                return
        order = np.argsort(self._key[1:])
        self._sorted, self._sorted_numbers = self._key[1:][order], numbers[order]

    def of(self, keys: UInt32Array) -> _Numbers:
        """(n,) the number of each key."""
        if self._table is not None:
            numbers = self._table.take((keys * self._multiplier) >> self._shift)
        else:
            numbers = self._sorted_numbers.take(np.searchsorted(self._sorted, keys), mode="clip")
        numbers *= self._key.take(numbers) == keys
        return numbers


def _attempts(count: int) -> Iterator[tuple[int, np.uint32]]:
    """Table sizes (bits) and odd multipliers, 64 of them for each size, always the same ones."""
    multiplier = 0x9E3779B1
    for bits in range(count.bit_length() + 3, 23):
        for _ in range(64):
            yield bits, np.uint32(multiplier)
            multiplier = (multiplier * 1664525 + 1013904222) % 2**32 | 1


class Router:
    """Sorts the frames of batches by message; built once from the messages of all databases."""

    def __init__(self, entries: Sequence[tuple[str | None, MessageLayout]]) -> None:
        """entries: (channel, message); channel None: on every channel.

        Of two messages with one identifier on one channel, that of the channel itself comes before
        that of every channel, then the earlier one before the later one: see `hidden`.
        """
        self.messages = tuple(message for _, message in entries)
        self._channel = tuple(channel for channel, _ in entries)
        keys = [m.identifier | m.is_extended << _KEY_EXTENDED for m in self.messages]
        number = {key: i + 1 for i, key in enumerate(dict.fromkeys(keys))}
        self._number = [number[key] for key in keys]
        self._numbers = IdentifierNumbers(list(number))
        self._tables: dict[tuple[str, ...], tuple[_Numbers, list[int]]] = {}

    def hidden(self, channels: Sequence[str]) -> tuple[int, ...]:
        """Indexes of messages that no frame on these channels can belong to."""
        used = set(self._table(tuple(channels))[1])
        return tuple(i for i in range(len(self.messages)) if i not in used)

    def split(self, batch: FrameBatch) -> Iterator[tuple[int, Int64Array]]:
        """(index into `messages`, rows) for every channel and identifier in the batch that has a message.

        Rows rise. Remote and error frames are left out, late frames are not. A message on every
        channel comes once for each channel that has it: `batch.channel[rows[0]]` tells which.
        """
        if not len(batch):
            return
        key = batch.identifier | (batch.flags & np.uint8(EXTENDED)).astype(np.uint32) << np.uint32(_KEY_EXTENDED)
        numbers = self._numbers.of(key)
        no_payload = (batch.flags & np.uint8(REMOTE | ERROR)).astype(np.bool_)
        if no_payload.any():
            numbers[no_payload] = 0
        table, message_of = self._table(batch.channels)
        groups = table[0].take(numbers) if len(batch.channels) == 1 else table[batch.channel, numbers]
        order = np.argsort(groups, kind="stable")
        ends = np.bincount(groups, minlength=len(message_of)).cumsum()
        for group in range(1, len(message_of)):
            begin, end = ends[group - 1], ends[group]
            if begin < end:
                yield message_of[group], order[begin:end]

    def _table(self, channels: tuple[str, ...]) -> tuple[_Numbers, list[int]]:
        """(channels, numbers) group of each identifier number on each channel; message of each group.

        Group 0 is that of frames without a message.
        """
        if channels in self._tables:
            return self._tables[channels]
        message_of = [-1]
        place = np.zeros((len(channels), max(self._number, default=0) + 1), np.uint32)
        for row, name in enumerate(channels):
            for wanted in (name, None):
                for index, number in enumerate(self._number):
                    if self._channel[index] == wanted and not place[row, number]:
                        place[row, number] = len(message_of)
                        message_of.append(index)
        table: _Numbers = place.astype(_number_type(len(message_of)))
        self._tables[channels] = table, message_of
        return table, message_of
