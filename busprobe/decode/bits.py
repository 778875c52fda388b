"""Cuts signals out of payload words: pure array arithmetic, many signals at once.

Bit numbers are those of a DBC file: bit 0 is the lowest bit of byte 0, bit 8 the lowest of byte 1.
A little-endian signal starts at its lowest bit and grows upwards; a big-endian one starts at its
highest bit and runs down through the byte, then on from bit 7 of the next byte.

    byte            0                 1                 2
             7 ... 4 3 2 1 0 | 15 ... 9 8     | 23 ...
    little   . . . . 3 2 1 0 |  . . . 5 4     |          start 0, length 6 (digits: weight)
    big      . . . . 5 4 3 2 |  1 0 . . .     |          start 3, length 6

A signal is cut from a 64-bit word by two shifts: up, until its highest bit is bit 63, then down,
which brings zeros or copies of the sign from above. Big-endian signals are cut from the word with
its bytes reversed, in which they lie in one piece. A signal across two words (CAN FD) is first
joined into a word of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from busprobe.frames import FloatArray, Int64Array, UInt64Array

WORD = 64
"""Bits of a payload word, and the longest signal."""

_FLOATS = {16: (np.uint16, np.float16), 32: (np.uint32, np.float32), 64: (np.uint64, np.float64)}

FLOAT_LENGTHS = tuple(_FLOATS)
"""Lengths that a floating-point signal can have."""


@dataclass(frozen=True)
class Field:
    """Where the bits of one signal lie."""

    start: int
    """DBC bit number: of the lowest bit, or of the highest where `big_endian`."""
    length: int
    big_endian: bool = False
    signed: bool = False

    @property
    def first(self) -> int:
        """Place of the first bit, counted along the words that the signal is cut from."""
        return self.start ^ 7 if self.big_endian else self.start

    @property
    def last(self) -> int:
        """Place of the last bit, counted like `first`."""
        return self.first + self.length - 1

    @property
    def places(self) -> tuple[int, ...]:
        """DBC numbers of all its bits, the highest first where `big_endian`, else the lowest."""
        return tuple(bit ^ 7 if self.big_endian else bit for bit in range(self.first, self.last + 1))

    @property
    def byte_count(self) -> int:
        """Bytes that a payload must have to hold the whole signal."""
        return self.last // 8 + 1

    @property
    def mask(self) -> int:
        """The signal's bits as a whole number in which bit k is DBC bit number k."""
        ones = (1 << self.length) - 1
        if not self.big_endian:
            return ones << self.start
        count = self.byte_count
        return int.from_bytes((ones << (8 * count - 1 - self.last)).to_bytes(count, "big"), "little")


@dataclass(frozen=True)
class _Piece:
    """Rows of the result that are cut from one word by the same kind of shift."""

    big_endian: bool
    signed: bool
    word: int
    """The word that holds the low bits."""
    other: int | None
    """The word that holds the high bits of the one signal that lies across two."""
    low: int
    """How far the low bits are from the bottom of `word`; used only with `other`."""

    @staticmethod
    def of(field: Field) -> _Piece:
        first, last = field.first // WORD, field.last // WORD
        if first == last:
            return _Piece(field.big_endian, field.signed, first, None, 0)
        if field.big_endian:
            return _Piece(True, field.signed, last, first, WORD - 1 - field.last % WORD)
        return _Piece(False, field.signed, first, last, field.first % WORD)

    def up(self, field: Field) -> int:
        """Shift that brings the highest bit of the signal to bit 63."""
        if self.other is not None:
            return WORD - field.length
        return field.first % WORD if field.big_endian else WORD - 1 - field.last % WORD


@dataclass(frozen=True)
class _Step:
    """One piece with its rows and shifts."""

    piece: _Piece
    begin: int
    end: int
    up: UInt64Array
    """(rows, 1)"""
    down: UInt64Array | Int64Array
    """(rows, 1), signed where the signals are: numpy then copies the sign."""


@dataclass(frozen=True)
class Cut:
    """How to cut a set of signals out of the payload words of many frames."""

    steps: tuple[_Step, ...]
    row: tuple[int, ...]
    """Row of the result for each field, in the order given."""
    word_count: int
    """Payload words that are looked at."""

    @staticmethod
    def of(fields: Sequence[Field]) -> Cut:
        """fields: each 1 to 64 bits long, starting at 0 or later."""
        groups: dict[_Piece, list[int]] = {}
        for index, field in enumerate(fields):
            groups.setdefault(_Piece.of(field), []).append(index)
        row = [0] * len(fields)
        steps, begin = [], 0
        for piece, members in groups.items():
            for offset, index in enumerate(members):
                row[index] = begin + offset
            end = begin + len(members)
            up = np.array([[piece.up(fields[i])] for i in members], np.uint64)
            down = np.array([[WORD - fields[i].length] for i in members], np.int64)
            steps.append(_Step(piece, begin, end, up, down if piece.signed else down.view(np.uint64)))
            begin = end
        return Cut(tuple(steps), tuple(row), max((f.last // WORD + 1 for f in fields), default=0))

    def raw(self, words: Sequence[UInt64Array]) -> Int64Array:
        """(k, n) raw bits of k signals in n frames, signed ones with their sign.

        words: at least `word_count` arrays (n,), payload word 0 first. Bits that are not in the
        frame read as 0. A row of an unsigned 64-bit signal is to be viewed as uint64, one of a
        floating-point signal goes through `as_float`.
        """
        out = np.empty((len(self.row), len(words[0]) if words else 0), np.uint64)
        reversed_words: dict[int, UInt64Array] = {}

        def word(index: int, big_endian: bool) -> UInt64Array:
            if not big_endian:
                return words[index]
            if index not in reversed_words:
                reversed_words[index] = words[index].byteswap()
            return reversed_words[index]

        for step in self.steps:
            piece = step.piece
            source = word(piece.word, piece.big_endian)
            if piece.other is not None:
                high = word(piece.other, piece.big_endian) << np.uint64(WORD - piece.low)
                source = (source >> np.uint64(piece.low)) | high
            rows = out[step.begin : step.end]
            np.left_shift(source, step.up, out=rows)
            shifted = rows.view(np.int64) if piece.signed else rows
            np.right_shift(shifted, step.down, out=shifted)
        return out.view(np.int64)


def as_float(bits: Int64Array, length: int) -> FloatArray:
    """The floating-point numbers whose bits these are (IEEE 754; 16, 32 or 64 bits long)."""
    whole, real = _FLOATS[length]
    return bits.astype(whole).view(real).astype(np.float64)
