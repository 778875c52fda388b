"""Frames of single TRC lines, in the columns that the header names.

    N O   T  B I    d  R L D              N number, O offset (ms), T type, B bus, I identifier,
    1 0.1 DT 1 0300 Rx - 2 01 02          d direction, R reserved, L DLC, l length, D payload
    1)  0.1  Rx  0300  2  01 02           versions 1.x: the type is the direction, or "Error"

Types FB, FE and BI are FD frames with BRS, with ESI and with both, and L is a DLC: 9 means 12
bytes. python-can reads BRS for FE and not for BI, and takes the DLC for the length. An
identifier of more than four digits is extended.
"""

from __future__ import annotations

from dataclasses import dataclass

from busprobe.errors import counted
from busprobe.frames import ERROR, FD, PASSIVE, REMOTE, SENT, SWITCHED
from busprobe.sources.limits import FD_LENGTHS, payload_length
from busprobe.sources.line_rows import identifier_of, payload_of, time_ns
from busprobe.sources.rows import DamagedError, Row, shown

_TYPES = {
    b"DT": 0,
    b"FD": FD,
    b"FB": FD | SWITCHED,
    b"FE": FD | PASSIVE,
    b"BI": FD | SWITCHED | PASSIVE,
    b"RR": REMOTE,
    b"ER": ERROR,
    b"Rx": 0,
    b"Tx": SENT,
    b"Error": ERROR,
}
_NO_FRAMES = (b"ST", b"EC", b"EV", b"Warng")
"""Status of the adapter, error counters, events of the user, warnings of the bus."""
_DIRECTIONS = {b"Rx": 0, b"Tx": SENT}
_STATUS_ID = b"FFFFFFFF"
"""Version 1.0 writes the status of the bus under this identifier."""


@dataclass(frozen=True)
class Columns:
    """Places of the columns among the fields of a line; -1 where there is no such column."""

    offset: int
    kind: int
    bus: int
    identifier: int
    direction: int
    length: int
    counts_bytes: bool
    """`length` counts bytes; else it is a DLC."""
    payload: int

    @classmethod
    def of(cls, letters: list[str]) -> Columns | None:
        """By the letters of the header; None where they do not make a frame."""
        place = {letter: number for number, letter in enumerate(letters)}
        if not {"O", "I", "D"} <= set(place) or not {"l", "L"} & set(place) or letters[-1] != "D":
            return None
        return cls(
            place["O"], place.get("T", -1), place.get("B", -1), place["I"], place.get("d", -1),
            place.get("l", place.get("L", -1)), "l" in place, place["D"],
        )  # fmt: skip


def frame_row(fields: list[bytes], columns: Columns, start_ns: int) -> Row | None:
    """The frame of a line; None where the line is something else than a frame."""
    kind = b"DT"
    if columns.kind >= 0:
        kind = fields[columns.kind] if len(fields) > columns.kind else b""
    flags = _TYPES.get(kind)
    if flags is None:
        if kind in _NO_FRAMES:
            return None
        raise DamagedError(f'type "{shown(kind)}" is not known.')
    if len(fields) < (columns.payload if not flags & ERROR else max(columns.offset, columns.bus) + 1):
        raise DamagedError(f'line "{shown(b" ".join(fields))}" has too few fields.')
    t_ns = time_ns(fields[columns.offset], 6, start_ns)
    channel = _channel(fields[columns.bus]) if columns.bus >= 0 else "1"
    if flags & ERROR:
        return Row(t_ns, channel, 0, ERROR, 0, b"")
    written = fields[columns.identifier]
    if columns.kind < 0 and written == _STATUS_ID:
        return None
    identifier, extended = identifier_of(written, 16, len(written) > 4)
    flags |= extended
    if columns.direction >= 0:
        flags |= _direction(fields[columns.direction])
    length = _length(fields[columns.length], columns.counts_bytes, flags & FD != 0)
    payload = fields[columns.payload :]
    if flags & REMOTE or payload[:1] == [b"RTR"]:
        return Row(t_ns, channel, identifier, flags | REMOTE, length, b"")
    if len(payload) > length:
        raise DamagedError(f"the line says {counted(length, 'payload byte')} and has {len(payload)}.")
    return Row(t_ns, channel, identifier, flags, length, payload_of(payload, length, 16))


def _channel(text: bytes) -> str:
    if not text.isdigit() or len(text) > 3:
        raise DamagedError(f'bus "{shown(text)}" is not a number from 0 to 999.')
    return str(int(text))


def _direction(text: bytes) -> int:
    sent = _DIRECTIONS.get(text)
    if sent is None:
        raise DamagedError(f'direction "{shown(text)}" is neither Rx nor Tx.')
    return sent


def _length(text: bytes, counts_bytes: bool, is_fd: bool) -> int:
    """Payload length from a count of bytes or a DLC."""
    value = int(text) if text.isdigit() and len(text) < 3 else -1
    if counts_bytes:
        if value in FD_LENGTHS and (is_fd or value <= 8):
            return value
        raise DamagedError(f'length "{shown(text)}" is not one that such a frame can have.')
    if not 0 <= value <= 15:
        raise DamagedError(f'DLC "{shown(text)}" is not a number from 0 to 15.')
    return payload_length(value, is_fd)
