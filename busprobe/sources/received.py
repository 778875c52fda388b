"""Messages of python-can as arrays: as little as can be done for each of them.

Message(timestamp, arbitration_id, is_extended_id, dlc, data, ...)   one object a frame
    |
FrameBatch(t_ns, identifier, flags, length, payload)                 arrays of the whole batch
"""

from __future__ import annotations

from collections.abc import Sequence

import can
import numpy as np

from busprobe.frames import (
    ERROR,
    EXTENDED,
    FD,
    PASSIVE,
    REMOTE,
    SENT,
    SWITCHED,
    TAIL_WORDS,
    FrameBatch,
    Int64Array,
    Tail,
    UInt8Array,
)

SHORT = 8
LONG = 8 * (1 + TAIL_WORDS)
"""Bytes of the longest payload."""


def stamps_of(messages: Sequence[can.Message], arrivals_ns: Int64Array) -> Int64Array:
    """(n,) the driver's stamps in ns; the arrival where it gives none."""
    seconds = np.array([m.timestamp for m in messages], np.float64)
    stamps = np.rint(seconds * 1e9).astype(np.int64)
    return stamps if seconds.all() else np.where(seconds == 0.0, arrivals_ns, stamps)


def frames_of_messages(messages: Sequence[can.Message], t_ns: Int64Array, channel: str) -> FrameBatch:
    """Messages in their order as a batch of one channel; t_ns: (n,) their times."""
    count = len(messages)
    data = [m.data for m in messages]
    length = bytes_of([m.dlc for m in messages])
    identifier = np.array([m.arbitration_id for m in messages], np.uint32)
    if max(map(len, data), default=0) <= SHORT:
        payload = np.frombuffer(b"".join([d.ljust(SHORT, b"\0") for d in data]), "<u8").astype(np.uint64)
        tail = None
    else:
        words = np.frombuffer(b"".join([d.ljust(LONG, b"\0") for d in data]), "<u8").reshape(count, -1)
        rows = np.flatnonzero([len(d) > SHORT for d in data])
        payload = words[:, 0].astype(np.uint64)
        tail = Tail(rows, words[rows, 1:].astype(np.uint64))
    return FrameBatch(
        t_ns, (channel,), np.zeros(count, np.uint8), identifier, flags_of(messages), length, payload, tail
    )


def flags_of(messages: Sequence[can.Message]) -> UInt8Array:
    """(n,) flags of the frames."""
    flags = bytes_of([m.is_extended_id for m in messages])
    flags = flags * np.uint8(EXTENDED)
    marks = (
        (REMOTE, [m.is_remote_frame for m in messages]),
        (ERROR, [m.is_error_frame for m in messages]),
        (FD, [m.is_fd for m in messages]),
        (SWITCHED, [m.bitrate_switch for m in messages]),
        (PASSIVE, [m.error_state_indicator for m in messages]),
    )
    for bit, marked in marks:
        if True in marked:
            flags |= bytes_of(marked) * np.uint8(bit)
    received = [m.is_rx for m in messages]
    if False in received:
        flags |= np.where(bytes_of(received) == 0, np.uint8(SENT), np.uint8(0))
    return flags


def bytes_of(numbers: Sequence[int]) -> UInt8Array:
    """(n,) small numbers or truth values; `bytes` takes them several times faster than numpy."""
    return np.frombuffer(bytes(numbers), np.uint8)
