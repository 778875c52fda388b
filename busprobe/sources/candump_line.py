"""One line of candump text, read slowly and exactly: the judge of what is damaged.

    (1436509052.249713) can0 123#DEADBEEF
    (1436509052.249713) can0 12345678##3112233445566778899AABBCC T
     (1436509052.249713)  can0  123   [4]  DE AD BE EF

The first two are the log form, the third is the screen form with time stamps. Source: the
project can-utils, the comment on the frame notation in its `lib.h` (identifier of 3 or 8 hex
digits, "R", "##" and flags, "." between bytes, "_" and a DLC from 9 to F) and its printing of
the screen form in `lib.c`; flag bit of error frames from Linux `can.h` (CAN_ERR_FLAG).
"""

from __future__ import annotations

import binascii
import re

from busprobe.errors import counted
from busprobe.frames import ERROR, EXTENDED, FD, PASSIVE, REMOTE, SENT, SWITCHED
from busprobe.sources.limits import FD_LENGTHS, MAX_CLASSIC, MAX_EXTENDED, MAX_STANDARD
from busprobe.sources.rows import DamagedError, Row, shown
from busprobe.timeline import FOREVER

ERROR_ID = 0x20000000
"""Set in the identifier that is written for an error frame."""
FLAGS_DIGIT = {1: SWITCHED, 2: PASSIVE}
"""Bits of the digit after "##"."""

_STAMP = re.compile(rb"\((\d{1,10})(?:\.(\d{1,9}))?\)")
_HEX = re.compile(rb"[0-9A-Fa-f]*")
_NO_DIGIT = re.compile(rb"[^0-9A-Fa-f.]")
_REMOTE = re.compile(rb"[Rr]([0-8]?)(?:_[9A-Fa-f])?")
_LONG_DLC = re.compile(rb"_[9A-Fa-f]")
_LENGTH = re.compile(rb"\[(\d{1,2})\]")


def parse_line(line: bytes) -> Row | None:
    """The frame of one line, without or with its line end; None for a blank line.

    Raises DamagedError with the message for the user.
    """
    fields = line.split()
    if not fields:
        return None
    if len(fields) < 3:
        raise DamagedError(
            f'line "{shown(line.strip())}" has too few fields: a time stamp, an interface and a frame are needed.'
        )
    t_ns = stamp_ns(fields[0])
    name = _interface(fields[1])
    if len(fields) > 3 and _LENGTH.fullmatch(fields[3]):
        return _screen_form(t_ns, name, fields)
    if len(fields) > 4:
        raise DamagedError(f'line "{shown(line.strip())}" has more fields than a frame has.')
    sent = 0
    if len(fields) == 4:
        if fields[3] not in (b"R", b"T", b"r", b"t"):
            raise DamagedError(f'direction mark "{shown(fields[3])}" is neither R nor T.')
        sent = SENT if fields[3] in (b"T", b"t") else 0
    written, mark, rest = fields[2].partition(b"#")
    if not mark:
        raise DamagedError(f'frame "{shown(fields[2])}" has no "#".')
    identifier, flags = _identifier(written)
    length, data, more = _after_mark(rest)
    return Row(t_ns, name, identifier, flags | more | sent, length, data)


def stamp_ns(text: bytes) -> int:
    """Time stamp "(seconds.decimals)" in ns, exactly."""
    match = _STAMP.fullmatch(text)
    if not match:
        raise DamagedError(f'time stamp "{shown(text)}" is not readable.')
    t_ns = int(match[1]) * 1_000_000_000 + int((match[2] or b"").ljust(9, b"0"))
    if t_ns >= FOREVER:
        raise DamagedError(f'time stamp "{shown(text)}" is later than a recording can hold.')
    return t_ns


def _interface(text: bytes) -> str:
    try:
        name = text.decode()
    except UnicodeDecodeError:
        name = ""
    if not name.isprintable() or not name:
        raise DamagedError(f'interface name "{shown(text)}" is not readable.')
    return name


def _identifier(text: bytes) -> tuple[int, int]:
    """Identifier without flag bits, and its flags."""
    if not _HEX.fullmatch(text):
        raise DamagedError(f'identifier "{shown(text)}" is not a hex number.')
    if len(text) not in (3, 8):
        raise DamagedError(f'identifier "{shown(text)}" has {counted(len(text), "hex digit")}, not 3 or 8.')
    value = int(text, 16)
    if len(text) == 3:
        if value > MAX_STANDARD:
            raise DamagedError(f'identifier "{shown(text)}" is above 7FF, the highest of 11 bits.')
        return value, 0
    if value <= MAX_EXTENDED:
        return value, EXTENDED
    if value & ~MAX_EXTENDED == ERROR_ID:
        return value & MAX_EXTENDED, ERROR
    raise DamagedError(f'identifier "{shown(text)}" is above 1FFFFFFF, the highest of 29 bits.')


def _after_mark(text: bytes) -> tuple[int, bytes, int]:
    """Length, payload and flags from what follows the first "#"."""
    if text.startswith(b"#"):
        digit = text[1:2]
        if not digit or not _HEX.fullmatch(digit):
            raise DamagedError(f'CAN FD frame "#{shown(text)}" has no hex digit of flags after "##".')
        bits = int(digit, 16)
        flags = FD | sum(flag for bit, flag in FLAGS_DIGIT.items() if bits & bit)
        data = payload_bytes(text[2:])
        _check_fd_length(len(data), text[2:])
        return len(data), data, flags
    if text[:1] in (b"R", b"r"):
        match = _REMOTE.fullmatch(text)
        if not match:
            raise DamagedError(f'remote frame "{shown(text)}" has no length from 0 to 8 after the "R".')
        return int(match[1] or b"0"), b"", REMOTE
    has_dlc = _LONG_DLC.fullmatch(text[-2:]) is not None
    data = payload_bytes(text[:-2] if has_dlc else text)
    if len(data) > MAX_CLASSIC:
        raise DamagedError(f'payload "{shown(text)}" has {len(data)} bytes; a classic frame has 8 at most.')
    if has_dlc and len(data) != MAX_CLASSIC:
        raise DamagedError(f'payload "{shown(text)}" has a DLC above 8 but {counted(len(data), "byte")}.')
    return len(data), data, 0


def _check_fd_length(length: int, found: bytes) -> None:
    if length not in FD_LENGTHS:
        raise DamagedError(
            f'payload "{shown(found)}" has {length} bytes; CAN FD has 0 to 8, 12, 16, 20, 24, 32, 48 or 64.'
        )


def payload_bytes(text: bytes) -> bytes:
    """Bytes written as hex digits, with or without dots between them."""
    try:
        return binascii.unhexlify(text)
    except binascii.Error:
        pass
    stray = _NO_DIGIT.search(text)
    if stray:
        raise DamagedError(f'payload "{shown(text)}" has "{shown(stray[0])}", which is not a hex digit.')
    parts = text.split(b".")
    if any(len(part) % 2 for part in parts):
        raise DamagedError(f'payload "{shown(text)}" has an odd number of hex digits.')
    if not all(parts):
        raise DamagedError(f'payload "{shown(text)}" has a dot that no byte follows.')
    return binascii.unhexlify(b"".join(parts))


def _screen_form(t_ns: int, name: str, fields: list[bytes]) -> Row:
    """`fields[3]` is the length in brackets: one digit for classic, two for CAN FD."""
    identifier, flags = _identifier(fields[2])
    length, rest = int(fields[3][1:-1]), fields[4:]
    is_fd = len(fields[3]) == 4
    if rest[:2] == [b"remote", b"request"]:
        return Row(t_ns, name, identifier, flags | REMOTE, length, b"")
    written, extra = rest[:length], rest[length:]
    text = b" ".join(written)
    if any(len(part) != 2 for part in written):
        raise DamagedError(f'payload "{shown(text)}" is not written as bytes of two hex digits.')
    data = payload_bytes(b"".join(written))
    if len(data) != length:
        raise DamagedError(f'payload "{shown(text)}" has {counted(len(data), "byte")}, not the {length} announced.')
    if extra and not (extra[0] == b"ERRORFRAME" or extra[0].startswith(b"'")):
        raise DamagedError(f'payload is followed by "{shown(extra[0])}", which is no part of a frame.')
    if is_fd:
        _check_fd_length(length, text)
    elif length > MAX_CLASSIC:
        raise DamagedError(f'payload "{shown(text)}" has {length} bytes; a classic frame has 8 at most.')
    return Row(t_ns, name, identifier, flags | (FD if is_fd else 0), length, data)
