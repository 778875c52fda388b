"""How many bits each frame took on the wire, stuff bits counted from the real bits.

    classic, 11 bit   SOF identifier(11) RTR IDE r0 DLC(4)                        data CRC(15) | tail
    classic, 29 bit   SOF identifier(11) SRR IDE identifier(18) RTR r1 r0 DLC(4)  data CRC(15) | tail
    FD, 11 bit        SOF identifier(11) RRS IDE FDF res BRS | ESI DLC(4)         data | count CRC | tail
    FD, 29 bit        SOF identifier(11) SRR IDE identifier(18) RRS FDF res BRS | ESI DLC(4) data | ...

The tail is CRC delimiter, acknowledge slot and delimiter and 7 bits end of frame; 3 bits of
space follow. A stuff bit follows every five equal bits, stuff bits included, from SOF to the
last bit of the CRC (classic) or of the data (FD). In an FD frame the stuff count and the CRC
have a fixed stuff bit before their first and after every fourth bit. Source: ISO 11898-1
(fields and CRC-15 polynomial as published in the Bosch CAN specification 2.0; the FD part
from memory of ISO 11898-1:2015).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from busprobe.frames import ERROR, EXTENDED, FD, PASSIVE, REMOTE, SWITCHED, FrameBatch, Int64Array, UInt64Array

UInt16Array = npt.NDArray[np.uint16]

INTERFRAME = 3
"""Bits of space after a frame before the next may begin."""
_TAIL = 10
_CRC_POLYNOMIAL = 0x4599
_FD_LENGTHS = np.array([0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64])
_BLOCK = 1 << 16
_START = 5
"""Stuffing state of an idle bus: one recessive bit."""


@dataclass(frozen=True)
class WireBits:
    """Bits on the wire of every frame of a batch, with 3 bits of space; 0 for an error frame."""

    nominal: Int64Array
    """(n,) bits at the nominal bit rate."""
    data: Int64Array
    """(n,) bits at the data bit rate: from ESI to the CRC delimiter of an FD frame with BRS."""

    @property
    def total(self) -> Int64Array:
        return self.nominal + self.data


def wire_bits(batch: FrameBatch) -> WireBits:
    """Bits on the wire of every frame.

    An FD length that no DLC stands for counts as the next longer one. An error frame
    counts no bits: how much of which frame it cut is not recorded.
    """
    nominal = np.zeros(len(batch), np.int64)
    data = np.zeros(len(batch), np.int64)
    words = batch.words()
    kind = batch.flags & (EXTENDED | FD | REMOTE | ERROR)
    for key in np.flatnonzero(np.bincount(kind.astype(np.int64) << 7 | batch.length, minlength=1)):
        flags, length = int(key) >> 7, int(key) & 127
        if flags & ERROR:
            continue
        for rows in _blocks(np.flatnonzero((kind == flags) & (batch.length == length))):
            part = _Rows(batch.identifier[rows].astype(np.uint64), batch.flags[rows], words[rows], flags, length)
            nominal[rows], data[rows] = part.fd() if flags & FD else (part.classic(), 0)
    return WireBits(nominal, data)


def _blocks(rows: Int64Array) -> Iterator[Int64Array]:
    for start in range(0, len(rows), _BLOCK):
        yield rows[start : start + _BLOCK]


@dataclass(frozen=True)
class _Rows:
    """Frames of one kind and length."""

    identifier: UInt64Array
    flags: npt.NDArray[np.uint8]
    words: UInt64Array
    kind: int
    length: int

    def _arbitration(self) -> UInt64Array:
        """SOF up to and with IDE (11 bit: 14 bits) or the bit before r1 or FDF (29 bit: 33)."""
        remote = np.uint64(bool(self.kind & REMOTE))
        one = np.uint64(1)
        if not self.kind & EXTENDED:
            return (self.identifier << one | remote) << one
        base = self.identifier >> np.uint64(18) << one | one
        low = self.identifier & np.uint64(0x3FFFF)
        return ((base << one | one) << np.uint64(18) | low) << one | remote

    def _payload(self, width: int) -> npt.NDArray[np.uint8]:
        """(width, n) payload bytes, first on the wire first."""
        octets = np.ascontiguousarray(self.words).astype("<u8", copy=False).view(np.uint8)
        if width > octets.shape[1]:
            octets = np.pad(octets, ((0, 0), (0, width - octets.shape[1])))
        return np.ascontiguousarray(octets[:, :width].T)

    def classic(self) -> Int64Array:
        extended = bool(self.kind & EXTENDED)
        # 29 bit: r1, r0 and DLC follow; 11 bit: r0 and DLC.
        header = self._arbitration() << np.uint64(6 if extended else 5) | np.uint64(min(self.length, 8))
        size = 39 if extended else 19
        payload = self._payload(0 if self.kind & REMOTE else min(self.length, 8))
        crc = np.zeros(len(header), np.uint16)
        for octet in (*_octets(header, size), *payload):
            crc = ((crc << 8) & 0x7FFF) ^ _crc_table()[(crc >> 7) ^ octet]
        stuff = _Stuffing(len(header))
        stuff.add_number(header, size)
        for octet in payload:
            stuff.add(octet, 8)
        stuff.add_number(crc.astype(np.uint64), 15)
        return size + 8 * len(payload) + 15 + stuff.count + stuff.is_due() + _TAIL + INTERFRAME

    def fd(self) -> tuple[Int64Array, Int64Array]:
        code = int(np.searchsorted(_FD_LENGTHS, self.length))
        width = int(_FD_LENGTHS[code])
        switched = (self.flags & SWITCHED) != 0
        passive = (self.flags & PASSIVE) != 0
        head = self._arbitration() << np.uint64(3) | np.uint64(0b100) | switched.astype(np.uint64)
        size = 36 if self.kind & EXTENDED else 17
        stuff = _Stuffing(len(head))
        stuff.add_number(head, size)
        slow = size + stuff.count
        stuff.add((passive.astype(np.uint16) << 4) | code, 5)
        for octet in self._payload(width):
            stuff.add(octet, 8)
        # Stuff count 4, CRC 17 or 21 and their fixed stuff bits; a stuff bit due after the
        # last data bit is the first fixed one.
        check = 4 + 17 + 6 if width <= 16 else 4 + 21 + 7
        fast = size + stuff.count - slow + 5 + 8 * width + check + 1
        tail = _TAIL - 1 + INTERFRAME
        return slow + tail + np.where(switched, 0, fast), np.where(switched, fast, 0)


class _Stuffing:
    """Stuff bits of many frames at once, fed a few bits of all of them at a time."""

    def __init__(self, frames: int) -> None:
        self.count = np.zeros(frames, np.int64)
        self._state = np.full(frames, _START << 8, np.uint16)

    def add(self, bits: npt.NDArray[np.unsignedinteger], width: int) -> None:
        """The next `width` bits of every frame, at most 8, first on the wire highest."""
        entry = _stuff_table(width)[self._state | bits]
        self.count += entry & 0xFF
        self._state[:] = entry & 0xFF00

    def add_number(self, numbers: UInt64Array, size: int) -> None:
        """The next `size` bits of every frame, as one number each."""
        first = size % 8
        octets = _octets(numbers, size)
        if first:
            self.add(next(octets), first)
        for octet in octets:
            self.add(octet, 8)

    def is_due(self) -> Int64Array:
        """1 where the bits so far end in five equal ones, which a stuff bit must follow."""
        return (self._state >> 8) % 5 // 4


def _octets(numbers: UInt64Array, size: int) -> Iterator[UInt16Array]:
    """The `size` low bits as bytes, the highest first; the first may be short."""
    for shift in range((size - 1) // 8 * 8, -1, -8):
        yield (numbers >> np.uint64(shift) & np.uint64(0xFF)).astype(np.uint16)


@cache
def _crc_table() -> UInt16Array:
    """CRC-15 of each byte."""
    table = np.zeros(256, np.uint16)
    for value in range(256):
        crc = value << 7
        for _ in range(8):
            crc = (crc << 1) ^ (_CRC_POLYNOMIAL if crc & 0x4000 else 0)
            crc &= 0x7FFF
        table[value] = crc
    return table


@cache
def _stuff_table(width: int) -> UInt16Array:
    """(state << 8 | bits) -> (next state << 8 | stuff bits put in on the way).

    A state is `5 * last bit + run length - 1`. A stuff bit is counted when the bit after
    it comes.
    """
    table = np.zeros(10 << 8, np.uint16)
    for state in range(10):
        for bits in range(1 << width):
            last, run, added = state // 5, state % 5 + 1, 0
            for place in reversed(range(width)):
                if run == 5:
                    last, run, added = 1 - last, 1, added + 1
                bit = bits >> place & 1
                last, run = bit, run + 1 if bit == last else 1
            table[state << 8 | bits] = (5 * last + run - 1) << 8 | added
    return table
