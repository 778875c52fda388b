"""How interfaces with a socket of their own pack a frame into a datagram.

socketcan       struct can_frame, struct canfd_frame (Linux include/uapi/linux/can.h)
udp_multicast   a MessagePack map of the fields of python-can's Message, as its driver sends it
"""

from __future__ import annotations

import socket
from collections.abc import Callable, Mapping, Sequence
from operator import itemgetter
from typing import Any

import can
import numpy as np

from busprobe.frames import EXTENDED, SENT, FrameBatch, Int64Array, UInt8Array, UInt32Array, UInt64Array
from busprobe.sources.bus_trouble import DAMAGED
from busprobe.sources.received import bytes_of
from busprobe.sources.socket_drain import Datagram, Form

CAN_FRAME = np.dtype([("id", "u4"), ("length", "u1"), ("flags", "u1"), ("spare", "u1"), ("dlc", "u1"), ("data", "<u8")])
"""struct can_frame; a longer datagram is a struct canfd_frame."""
LONGEST_FRAME = 72
"""CANFD_MTU."""
EXTENDED_FLAG = 0x8000_0000
"""CAN_EFF_FLAG; the two bits after it, CAN_RTR_FLAG and CAN_ERR_FLAG, mark what is no data frame."""
NO_DATA_FLAGS = 0x6000_0000
STANDARD_MOST, EXTENDED_MOST = 0x7FF, 0x1FFF_FFFF
BYTES = 8
"""Longest payload of a classic frame."""

FIELDS = (
    "arbitration_id", "is_extended_id", "dlc", "data", "channel", "timestamp",
    "is_remote_frame", "is_error_frame", "is_fd", "bitrate_switch", "error_state_indicator",
)  # fmt: skip
"""Of a message in a datagram of udp_multicast; the last five are false in a classic data frame."""
_fields = itemgetter(*FIELDS)
LONGEST_DATAGRAM = 4096


class KernelForm:
    """Frames of Linux CAN sockets."""

    size = LONGEST_FRAME

    def plain(self, datagrams: Sequence[Datagram], stamps_ns: Int64Array, channel: str) -> FrameBatch | None:
        if {len(d[0]) for d in datagrams} != {CAN_FRAME.itemsize}:
            return None
        rows = np.frombuffer(b"".join([d[0] for d in datagrams]), CAN_FRAME)
        told: UInt32Array = rows["id"]
        length = rows["length"].copy()
        if (told & NO_DATA_FLAGS).any() or length.max() > BYTES or rows["dlc"].any():
            return None
        is_extended = (told & EXTENDED_FLAG) != 0
        identifier = told & np.where(is_extended, np.uint32(EXTENDED_MOST), np.uint32(STANDARD_MOST))
        is_local = np.array([d[2] for d in datagrams], np.int64) & socket.MSG_DONTROUTE
        flags = is_extended * np.uint8(EXTENDED) | (is_local != 0) * np.uint8(SENT)
        return _batch(stamps_ns, channel, identifier, flags, length, _cut(rows["data"], length))

    def message(self, datagram: Datagram, stamp_s: float) -> can.Message | None:
        from can.interfaces.socketcan.socketcan import capture_message

        message = capture_message(_Again(datagram))  # type: ignore[arg-type]
        if message is not None:
            message.timestamp = stamp_s
        return message


class MulticastForm:
    """Frames of python-can's own udp_multicast."""

    size = LONGEST_DATAGRAM

    def __init__(self, mark: str, *, takes_fd: bool) -> None:
        """mark: channel of own frames, empty where none come back; takes_fd: else CAN FD frames are passed over."""
        from can.interfaces.udp_multicast.utils import unpack_message
        from msgpack import unpackb

        self._unpack: Callable[[bytes], Mapping[str, Any]] = unpackb
        self._unpack_message = unpack_message
        self._mark = mark
        self._takes_fd = takes_fd

    def plain(self, datagrams: Sequence[Datagram], stamps_ns: Int64Array, channel: str) -> FrameBatch | None:
        try:
            rows = list(map(self._unpack, [d[0] for d in datagrams]))
            numbers, extended, lengths, data, channels, _, *particular = zip(*map(_fields, rows), strict=True)
            if set(map(len, rows)) != {len(FIELDS)} or any(map(any, particular)):
                return None
            length, is_extended, identifier = bytes_of(lengths), bytes_of(extended), np.array(numbers)
            payload = np.frombuffer(b"".join([d.ljust(BYTES, b"\0") for d in data]), "<u8")
            flags = is_extended * np.uint8(EXTENDED)
            if self._mark:
                flags |= bytes_of([name == self._mark for name in channels]) * np.uint8(SENT)
        except DAMAGED:
            return None
        most = np.where(is_extended, EXTENDED_MOST, STANDARD_MOST)
        is_plain = (
            identifier.dtype.kind == "i"
            and bool(((identifier >= 0) & (identifier <= most)).all())
            and is_extended.max() <= 1
            and length.max() <= BYTES
            and bytes(map(len, data)) == length.tobytes()
        )
        if not is_plain:
            return None
        return _batch(stamps_ns, channel, identifier.astype(np.uint32), flags, length, payload.astype(np.uint64))

    def message(self, datagram: Datagram, stamp_s: float) -> can.Message | None:
        message = self._unpack_message(datagram[0], replace={"timestamp": stamp_s}, check=True)
        return message if self._takes_fd or not message.is_fd else None


class _Again:
    """A socket that gives once more what was read."""

    def __init__(self, datagram: Datagram) -> None:
        self._datagram = datagram

    def recvmsg(self, size: int, room: int) -> Datagram:
        return self._datagram


def form_of(device: can.BusABC, interface: str, mark: str) -> Form | None:
    """The form of a device's datagrams; None where it has to be read through python-can."""
    if device.filters is not None:
        return None
    if interface == "socketcan":
        return KernelForm()
    if interface == "udp_multicast":
        return MulticastForm(mark, takes_fd=device.protocol is can.CanProtocol.CAN_FD)
    return None


def _batch(
    stamps_ns: Int64Array,
    channel: str,
    identifier: UInt32Array,
    flags: UInt8Array,
    length: UInt8Array,
    payload: UInt64Array,
) -> FrameBatch:
    return FrameBatch(stamps_ns, (channel,), np.zeros(len(stamps_ns), np.uint8), identifier, flags, length, payload)


def _cut(words: UInt64Array, length: UInt8Array) -> UInt64Array:
    """(n,) payload words, zero past their lengths."""
    spare = (BYTES - length.astype(np.uint64)) * np.uint64(8)
    full = np.uint64(0xFFFF_FFFF_FFFF_FFFF)
    mask = np.where(length == 0, np.uint64(0), full >> np.minimum(spare, np.uint64(63)))
    return words.astype(np.uint64) & mask
