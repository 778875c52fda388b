"""Frames of single ASC lines.

       0.015991 1  123             Rx   d 8 01 02 03 04 05 06 07 08  Length = 240000
       0.016991 1  18FEF100x       Tx   r 4
       0.017991 2  ErrorFrame
       0.018991 CANFD   1 Rx  123  name  1 0 8  8 01 02 03 04 05 06 07 08  0 0 1000 0

A CANFD line also holds classic frames: its flags, third after the payload, tell (bit 12: FD,
bit 4: remote). python-can takes every such line for FD, one without payload for remote, and
DLCs above 8 of a classic frame for FD lengths.
"""

from __future__ import annotations

import re
from functools import lru_cache

from busprobe.errors import counted
from busprobe.frames import ERROR, FD, PASSIVE, REMOTE, SENT, SWITCHED
from busprobe.sources.limits import payload_length
from busprobe.sources.line_rows import base_name, identifier_of, payload_of
from busprobe.sources.rows import DamagedError, Row, shown

_DIRECTIONS = {b"Rx": 0, b"Tx": SENT, b"rx": 0, b"tx": SENT}
_REQUESTS = (b"TxRq",)
"""Not on the bus: the order to send, which a Tx line follows."""
_IDENTIFIER = re.compile(rb"[0-9A-Fa-f]+[xX]?")
_BYTE = re.compile(rb"[0-9A-Fa-f]{2}")
_SHORT_LENGTHS = {str(length).encode(): length for length in range(9)}
"""The usual DLCs, which read the same in hex and decimal."""
_FLAG_FD, _FLAG_REMOTE = 1 << 12, 1 << 4


def can_row(t_ns: int, fields: list[bytes], base: int) -> Row | None:
    """A classic frame: time, channel, identifier, direction, d or r, DLC, payload.

    None where the line is another event of a CAN channel.
    """
    head = _head(fields[1], fields[2], fields[3] if len(fields) > 3 else b"", base)
    if head is None:
        return None
    channel, identifier, flags = head
    if flags & ERROR:
        return Row(t_ns, channel, identifier, flags, 0, b"")
    kind = fields[4] if len(fields) > 4 else b""
    if kind == b"d" and len(fields) > 5:
        length = _SHORT_LENGTHS.get(fields[5], -1)
        if length < 0:
            length = payload_length(_dlc(fields[5], base), False)
        data = payload_of(fields[6:], length, base)
        if len(fields) > 6 + length and _BYTE.fullmatch(fields[6 + length]):
            raise DamagedError(f"the line says {counted(length, 'payload byte')} and has more.")
        return Row(t_ns, channel, identifier, flags, length, data)
    if kind != b"r":
        raise DamagedError(f'line "{shown(b" ".join(fields))}" has no "d" or "r" with a length.')
    has_dlc = len(fields) > 5 and (len(fields[5]) == 1 or fields[5].isdigit())
    length = payload_length(_dlc(fields[5], base), False) if has_dlc else 0
    return Row(t_ns, channel, identifier, flags | REMOTE, length, b"")


@lru_cache(maxsize=4096)
def _head(channel: bytes, what: bytes, direction: bytes, base: int) -> tuple[str, int, int] | None:
    """Channel, identifier and flags of a classic frame; None of another event.

    A recording repeats few of them, so the newest are remembered.
    """
    if what.lower() == b"errorframe":
        return channel_name(channel), 0, ERROR
    sent = _DIRECTIONS.get(direction)
    if sent is None:
        if direction in _REQUESTS or not _IDENTIFIER.fullmatch(what):
            return None
        raise DamagedError(f'direction "{shown(direction)}" is neither Rx nor Tx.')
    identifier, extended = _identifier(what, base)
    return channel_name(channel), identifier, extended | sent


def fd_row(t_ns: int, fields: list[bytes], base: int) -> Row:
    """A CANFD line: time, CANFD, channel, direction, identifier, name, BRS, ESI, DLC, length, payload.

    The name may be missing. Behind the payload stand duration, bit count and flags (hex).
    """
    if len(fields) < 5 or not fields[2].isdigit():
        raise DamagedError(f'line "{shown(b" ".join(fields))}" has no channel, direction and identifier.')
    channel = channel_name(fields[2])
    if fields[4].lower() == b"errorframe":
        return Row(t_ns, channel, 0, ERROR, 0, b"")
    sent = _DIRECTIONS.get(fields[3])
    if sent is None:
        raise DamagedError(f'direction "{shown(fields[3])}" is neither Rx nor Tx.')
    identifier, extended = _identifier(fields[4], base)
    numbers = fields[5:] if fields[5:6] and fields[5] in (b"0", b"1") else fields[6:]
    if len(numbers) < 4 or numbers[0] not in (b"0", b"1") or numbers[1] not in (b"0", b"1"):
        raise DamagedError(f'line "{shown(b" ".join(fields))}" has no BRS, ESI, DLC and length.')
    marks = (SWITCHED if numbers[0] == b"1" else 0) | (PASSIVE if numbers[1] == b"1" else 0)
    dlc, length = _dlc(numbers[2], base), _length(numbers[3])
    data = payload_of(numbers[4:], length, base)
    raw = _flags(numbers[4 + length :])
    is_fd = raw == 0 or raw & _FLAG_FD != 0 or marks != 0 or length > 8
    if not is_fd and (raw & _FLAG_REMOTE or (length == 0 and dlc > 0)):
        return Row(t_ns, channel, identifier, REMOTE | sent | extended, payload_length(dlc, False), b"")
    if length != payload_length(dlc, is_fd):
        raise DamagedError(f'length "{length}" does not fit DLC "{shown(numbers[2])}".')
    return Row(t_ns, channel, identifier, (FD if is_fd else 0) | marks | sent | extended, length, data)


def channel_name(text: bytes) -> str:
    """Name of the channel that the file numbers from 1."""
    if len(text) > 3:
        raise DamagedError(f'channel "{shown(text)}" is not a number from 1 to 999.')
    return str(int(text) - 1)


def _identifier(text: bytes, base: int) -> tuple[int, int]:
    is_extended = text[-1:] in b"xX"
    return identifier_of(text[:-1] if is_extended else text, base, is_extended)


def _dlc(text: bytes, base: int) -> int:
    try:
        dlc = int(text, base)
    except ValueError:
        dlc = -1
    if not 0 <= dlc <= 15 or not text.isalnum():
        raise DamagedError(f'length "{shown(text)}" is not a {base_name(base)} number from 0 to 15.')
    return dlc


def _length(text: bytes) -> int:
    if not text.isdigit() or len(text) > 2 or int(text) > 64:
        raise DamagedError(f'length "{shown(text)}" is not a number from 0 to 64.')
    return int(text)


def _flags(after: list[bytes]) -> int:
    """Flags of a CANFD line from what follows its payload; 0 where there are none."""
    try:
        return int(after[2], 16) if len(after) > 2 else 0
    except ValueError:
        raise DamagedError(f'flags "{shown(after[2])}" are not a hex number.') from None
