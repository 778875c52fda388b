"""Objects of a BLF stream that are frames, turned into arrays.

    LOBJ | header size | header version | object size | type | flags | 4 bytes | time      32 bytes
    channel 2 | flags 1 | DLC 1 | identifier 4 | payload 8      types 1 and 86, at byte 32
    version 2 headers have 8 bytes more (the original time): the body begins at byte 40

All numbers are little-endian. Times count from the start in the file's header, in units of
10 us where the flags are 1, else of 1 ns. No public document describes the format: the
layouts are those that python-can reads, but for type 2, which is from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from busprobe.frames import (
    ERROR,
    EXTENDED,
    FD,
    PASSIVE,
    REMOTE,
    SENT,
    SWITCHED,
    Int64Array,
    UInt8Array,
    UInt32Array,
    UInt64Array,
)  # fmt: skip
from busprobe.sources.limits import FD_LENGTHS
from busprobe.timeline import FOREVER

SIGNATURE = b"LOBJ"
PADDING = 4
"""At most so many bytes between an object and the next (in most files its size modulo 4)."""
SPARE = 160
"""Zero bytes to have behind the data, so that a short last object can be gathered whole."""

Records = npt.NDArray[Any]
"""Structured array, one record an object."""

HEAD = np.dtype([
    ("signature", "<u4"), ("header_size", "<u2"), ("version", "<u2"), ("size", "<u4"),
    ("type", "<u4"), ("flags", "<u4"), ("status", "<u4"), ("time", "<u8"),
])  # fmt: skip
_HEADER_SIZES = np.array([0, 32, 40], np.int64)
"""By header version."""
_TEN_MICROSECONDS = 1

_ID_EXTENDED = 0x8000_0000
_ID_MASK = 0x1FFF_FFFF
_MESSAGE_SENT, _MESSAGE_REMOTE = 0x01, 0x80
_DLC_LENGTHS = np.array([*FD_LENGTHS, *240 * [64]], np.uint8)
"""Payload length by DLC byte of a CAN FD frame."""

_BYTES_KEPT = np.arange(65)[:, None] - 8 * np.arange(8)
_MASKS = np.array([[(1 << 8 * max(0, min(8, int(kept)))) - 1 for kept in row] for row in _BYTES_KEPT], np.uint64)
"""(65, 8) payload words with the bytes below `length` set: word & _MASKS[length] clears the rest."""


@dataclass(frozen=True)
class Fields:
    """What the bodies of objects of one type say; all (n,)."""

    identifier: UInt32Array
    """With bit 31 set where it is extended."""
    flags: UInt8Array
    """Flags of a frame batch, without EXTENDED."""
    length: UInt8Array
    words: UInt64Array
    """(n, 1) or (n, 8) payload words as the object has them."""
    kept: Int64Array | UInt8Array
    """Payload bytes to take from the words; the others are zero."""


@dataclass(frozen=True)
class FrameType:
    """One type of object that is a frame."""

    body: np.dtype[Any]
    size: int
    """The least size of the body that is whole."""
    fields: Callable[[Records, Int64Array, UInt32Array], Fields]
    """Of (n,) bodies, header sizes and object sizes."""


@dataclass(frozen=True)
class Columns:
    """Frames of a stretch of the stream, in its order; all (n,) but the words."""

    t_ns: Int64Array
    channel: UInt8Array
    """Counted from 1."""
    identifier: UInt32Array
    flags: UInt8Array
    length: UInt8Array
    words: UInt64Array
    """(n, 8) payload words, or (n, 1) where no payload is longer than 8 bytes."""


def gather(data: bytes, starts: Int64Array, record: np.dtype[Any]) -> Records:
    """(n,) records at the bytes `starts`, aligned or not; each must lie inside `data`."""
    width = record.itemsize
    # Byte strings are gathered as one block each, many times faster than structured records.
    places = np.ndarray((max(0, len(data) - width + 1),), f"S{width}", data, strides=(1,))
    return places[starts].view(record)


def frame_columns(data: bytes, starts: Int64Array, heads: Records, start_ns: int) -> tuple[Columns, Int64Array]:
    """The frames among the objects, and where the damaged ones begin, which are left out.

    data: the stretch with at least `SPARE` zero bytes behind its last object.
    start_ns: the time from which the objects count.
    """
    is_frame = _IS_FRAME_TYPE[np.minimum(heads["type"], len(_IS_FRAME_TYPE) - 1)]
    if not is_frame.all():
        starts, heads = starts[is_frame], heads[is_frame]
    step = np.where(heads["flags"] == _TEN_MICROSECONDS, 10_000, 1).astype(np.uint64)
    header_sizes = _HEADER_SIZES[np.minimum(heads["version"], len(_HEADER_SIZES) - 1)]
    channel = gather(data, starts + header_sizes, np.dtype("<u2"))
    channel = np.where(heads["type"] == _FD_64, channel & 0xFF, channel)
    sound = (
        (heads["size"] >= header_sizes + _BODY_SIZES[heads["type"]])
        & (heads["version"] > 0)
        & (heads["version"] < len(_HEADER_SIZES))
        & (heads["time"] < (FOREVER - start_ns) // step)
        & (channel < 256)
    )
    damaged = starts[~sound]
    if len(damaged):
        starts, heads, step, channel = starts[sound], heads[sound], step[sound], channel[sound]
    t_ns = (heads["time"] * step).astype(np.int64) + start_ns
    return _bodies(data, starts, heads, t_ns, channel.astype(np.uint8)), damaged


def _bodies(data: bytes, starts: Int64Array, heads: Records, t_ns: Int64Array, channel: UInt8Array) -> Columns:
    """Columns of sound frame objects."""
    count = len(starts)
    header_sizes = _HEADER_SIZES[heads["version"]]
    identifier = np.empty(count, np.uint32)
    flags, length = np.empty(count, np.uint8), np.empty(count, np.uint8)
    words = np.zeros((count, 8 if np.isin(heads["type"], _LONG_TYPES).any() else 1), np.uint64)
    for number, kind in FRAME_TYPES.items():
        rows = np.flatnonzero(heads["type"] == number)
        if not len(rows):
            continue
        bodies = gather(data, starts[rows] + header_sizes[rows], kind.body)
        fields = kind.fields(bodies, header_sizes[rows], heads["size"][rows])
        extended = (fields.identifier & _ID_EXTENDED) != 0
        identifier[rows] = fields.identifier & _ID_MASK
        flags[rows] = fields.flags | np.where(extended, EXTENDED, 0).astype(np.uint8)
        length[rows] = fields.length
        kept = np.where(fields.flags & REMOTE, 0, fields.kept)
        width = fields.words.shape[1]
        words[rows, :width] = fields.words & _MASKS[kept, :width]
    return Columns(t_ns, channel, identifier, flags, length, words)


def _flag(raw: npt.NDArray[Any], mask: int, flag: int) -> UInt8Array:
    """`flag` where a bit of `mask` is set in `raw`."""
    return np.where(raw & mask, flag, 0).astype(np.uint8)


def _message(bodies: Records, _headers: Int64Array, _sizes: UInt32Array) -> Fields:
    flags = _flag(bodies["flags"], _MESSAGE_SENT, SENT) | _flag(bodies["flags"], _MESSAGE_REMOTE, REMOTE)
    length = np.minimum(bodies["dlc"], 8)
    return Fields(bodies["identifier"], flags, length, bodies["payload"], length)


def _fd_message(bodies: Records, headers: Int64Array, sizes: UInt32Array) -> Fields:
    flags = _flag(bodies["flags"], _MESSAGE_SENT, SENT) | _flag(bodies["flags"], _MESSAGE_REMOTE, REMOTE)
    for mask, flag in ((0x1, FD), (0x2, SWITCHED), (0x4, PASSIVE)):
        flags |= _flag(bodies["fd_flags"], mask, flag)
    stored = sizes - headers - _FD_MESSAGE_HEAD
    return _with_payload(bodies, flags, stored)


def _fd_message_64(bodies: Records, headers: Int64Array, sizes: UInt32Array) -> Fields:
    flags = _flag(bodies["direction"], 0xFF, SENT)
    for mask, flag in ((0x10, REMOTE), (0x1000, FD), (0x2000, SWITCHED), (0x4000, PASSIVE)):
        flags |= _flag(bodies["flags"], mask, flag)
    end = np.where(bodies["extra"] > 0, np.minimum(bodies["extra"], sizes), sizes)
    return _with_payload(bodies, flags, end - headers - _FD_MESSAGE_64_HEAD)


def _with_payload(bodies: Records, flags: UInt8Array, stored: Int64Array) -> Fields:
    """Fields of a type that has a DLC and a count of valid bytes.

    Some files count more valid bytes than they store: the others are zero.
    """
    most = np.where(flags & FD, 64, 8).astype(np.uint8)
    asked = _DLC_LENGTHS[bodies["dlc"]]
    length = np.minimum(np.where(flags & REMOTE, asked, bodies["valid"]), most)
    kept = np.clip(stored, 0, length)
    return Fields(bodies["identifier"], flags, length, bodies["payload"], kept)


def _error(bodies: Records, _headers: Int64Array, _sizes: UInt32Array) -> Fields:
    count = len(bodies)
    none = np.zeros(count, np.uint8)
    named = "identifier" in (bodies.dtype.names or ())
    identifier = bodies["identifier"] if named else np.zeros(count, np.uint32)
    return Fields(identifier, np.full(count, ERROR, np.uint8), none, np.zeros((count, 1), np.uint64), none)


_FD_64 = 101
"""The one type whose channel has one byte."""
_FD_MESSAGE_HEAD = 20
_FD_MESSAGE_64_HEAD = 40
_MESSAGE = np.dtype([
    ("channel", "<u2"), ("flags", "u1"), ("dlc", "u1"), ("identifier", "<u4"), ("payload", "<u8", (1,)),
])  # fmt: skip
_FD_MESSAGE = np.dtype([
    ("channel", "<u2"), ("flags", "u1"), ("dlc", "u1"), ("identifier", "<u4"), ("duration", "<u4"),
    ("bits", "u1"), ("fd_flags", "u1"), ("valid", "u1"), ("unused", "u1", (5,)), ("payload", "<u8", (8,)),
])  # fmt: skip
_FD_MESSAGE_64 = np.dtype([
    ("channel", "u1"), ("dlc", "u1"), ("valid", "u1"), ("tries", "u1"), ("identifier", "<u4"),
    ("duration", "<u4"), ("flags", "<u4"), ("timing", "<u4", (4,)), ("bits", "<u2"),
    ("direction", "u1"), ("extra", "u1"), ("crc", "<u4"), ("payload", "<u8", (8,)),
])  # fmt: skip
_ERROR = np.dtype([("channel", "<u2"), ("length", "<u2")])
_ERROR_EXTENDED = np.dtype([
    ("channel", "<u2"), ("length", "<u2"), ("flags", "<u4"), ("code", "u1"), ("position", "u1"),
    ("dlc", "u1"), ("unused", "u1"), ("duration", "<u4"), ("identifier", "<u4"),
])  # fmt: skip

FRAME_TYPES = {
    1: FrameType(_MESSAGE, 16, _message),
    2: FrameType(_ERROR, 4, _error),
    73: FrameType(_ERROR_EXTENDED, 20, _error),
    86: FrameType(_MESSAGE, 16, _message),
    100: FrameType(_FD_MESSAGE, _FD_MESSAGE_HEAD, _fd_message),
    _FD_64: FrameType(_FD_MESSAGE_64, _FD_MESSAGE_64_HEAD, _fd_message_64),
}
_LONG_TYPES = (100, _FD_64)
_BODY_SIZES = np.zeros(256, np.int64)
_BODY_SIZES[list(FRAME_TYPES)] = [kind.size for kind in FRAME_TYPES.values()]
_IS_FRAME_TYPE = _BODY_SIZES > 0
