"""ISO 15765-2: messages of up to 4 GB from frames of 8 (CAN FD: 64) bytes, seen from outside.

    7E8  03 41 0D 3C 00 00 00 00        single frame: 3 bytes, then padding
    7E8  10 14 49 02 01 31 44 34        first frame of 20 bytes (0x014)
    7E0  30 00 00 00 00 00 00 00        flow control of the receiver: go on
    7E8  21 47 50 30 30 52 35 35        consecutive frame 1, then 22 .. 2F, 20, 21 ..

The high half of byte 0 tells the kind. Lengths: 0x LL of a single frame (CAN FD: 00 LL), 1LLL of
a first frame (above 4095: 10 00 and 32 bits). A listener needs no flow control; a frame that the
standard wants ignored changes nothing, a message that cannot be whole any more is counted.
Described from memory of ISO 15765-2:2016, checked against an independent implementation.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple

N_CR_NS = 1_000_000_000
"""Longest time from one frame of a message to its next (N_Cr)."""
CLASSIC_LENGTH = 8
LONGEST_STMIN_US = 127_000


class Kind(Enum):
    """Kind of a frame, by the high half of its first byte."""

    SINGLE = 0
    FIRST = 1
    CONSECUTIVE = 2
    FLOW = 3


class FlowStatus(Enum):
    """What a flow control frame says."""

    GO_ON = 0
    WAIT = 1
    OVERFLOW = 2


class Head(NamedTuple):
    """The protocol bytes of one frame; only the fields of its kind count."""

    kind: Kind
    start: int = 0
    """Place of the first data byte in the frame."""
    length: int = 0
    """Data bytes of the whole message (single and first frame)."""
    number: int = 0
    """Sequence number of a consecutive frame, 0 to 15."""
    status: FlowStatus = FlowStatus.GO_ON
    block: int = 0
    """Consecutive frames up to the next flow control; 0: all of them."""
    stmin_us: int = 0
    """Least separation of consecutive frames, microseconds."""


def parse(data: bytes) -> Head | None:
    """The protocol bytes of a frame, or None where the standard wants the frame ignored."""
    if not data:
        return None
    match data[0] >> 4:
        case 0:
            return _single(data)
        case 1:
            return _first(data)
        case 2:
            return Head(Kind.CONSECUTIVE, start=1, number=data[0] & 15)
        case 3:
            return _flow(data)
    return None


def _single(data: bytes) -> Head | None:
    if len(data) <= CLASSIC_LENGTH:
        length = data[0]
        return Head(Kind.SINGLE, 1, length) if 1 <= length < len(data) else None
    length = data[1]
    fits = data[0] == 0 and CLASSIC_LENGTH <= length <= len(data) - 2
    return Head(Kind.SINGLE, 2, length) if fits else None


def _first(data: bytes) -> Head | None:
    if len(data) < CLASSIC_LENGTH:
        return None
    length = (data[0] & 15) << 8 | data[1]
    if length:
        return Head(Kind.FIRST, 2, length) if length >= max(CLASSIC_LENGTH, len(data) - 1) else None
    length = int.from_bytes(data[2:6], "big")
    return Head(Kind.FIRST, 6, length) if length > 0xFFF else None


def _flow(data: bytes) -> Head | None:
    if len(data) < 3 or data[0] & 15 > FlowStatus.OVERFLOW.value:
        return None
    return Head(Kind.FLOW, status=FlowStatus(data[0] & 15), block=data[1], stmin_us=_stmin_us(data[2]))


def _stmin_us(code: int) -> int:
    if code <= 0x7F:
        return code * 1000
    if 0xF1 <= code <= 0xF9:
        return (code - 0xF0) * 100
    return LONGEST_STMIN_US


class Message(NamedTuple):
    """A whole message."""

    first_ns: int
    """Time of its first frame; its last is the one that completed it."""
    payload: bytes


@dataclass(slots=True)
class _Transfer:
    """A message whose first frame was seen."""

    first_ns: int
    last_ns: int
    length: int
    width: int
    """Bytes of the first frame: every consecutive frame but the last has as many."""
    parts: bytearray
    number: int = 1
    """Sequence number of the frame that must come next."""


class Reassembler:
    """Puts messages together, for any number of senders at once.

    A sender is whatever tells one stream of frames from another: (channel, identifier).
    """

    def __init__(self) -> None:
        self._open: dict[Hashable, _Transfer] = {}
        self._broken = 0

    def add(self, sender: Hashable, t_ns: int, data: bytes) -> Message | None:
        """The message that this frame completes, if any."""
        if sender not in self._open and data and 0 < data[0] < len(data) <= CLASSIC_LENGTH:
            return Message(t_ns, data[1 : 1 + data[0]])  # nearly all frames are of this kind: kept short
        head = parse(data)
        if head is None or head.kind is Kind.FLOW:
            return None
        if head.kind is Kind.CONSECUTIVE:
            return self._continue(sender, t_ns, data, head.number)
        if self._open.pop(sender, None) is not None:
            self._broken += 1
        if head.kind is Kind.SINGLE:
            return Message(t_ns, data[head.start : head.start + head.length])
        self._open[sender] = _Transfer(t_ns, t_ns, head.length, len(data), bytearray(data[head.start :]))
        return None

    def _continue(self, sender: Hashable, t_ns: int, data: bytes, number: int) -> Message | None:
        transfer = self._open.get(sender)
        if transfer is None:
            return None
        missing = transfer.length - len(transfer.parts)
        fits = len(data) == transfer.width or missing < len(data) < transfer.width
        if number != transfer.number or abs(t_ns - transfer.last_ns) > N_CR_NS or not fits:
            del self._open[sender]
            self._broken += 1
            return None
        transfer.parts += data[1 : 1 + missing]
        transfer.last_ns = t_ns
        transfer.number = number + 1 & 15
        if len(transfer.parts) < transfer.length:
            return None
        del self._open[sender]
        return Message(transfer.first_ns, bytes(transfer.parts))

    def broken(self, now_ns: int) -> int:
        """Messages that were begun and never completed, as far as known at `now_ns`."""
        overdue = sum(now_ns - transfer.last_ns > N_CR_NS for transfer in self._open.values())
        return self._broken + overdue
