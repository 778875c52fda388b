"""CSV of frames, as python-can writes it; the payload is in base64.

    timestamp,arbitration_id,extended,remote,error,dlc,data
    1483389946.197,0xdadada,1,0,0,6,3q2+7wEC
    1483389946.198,0x123,0,1,0,8,

Source: python-can, documentation of `CSVWriter`. The file names no channel: it is "0". CAN FD
is not marked either; a payload of more than 8 bytes can be nothing else.
"""

from __future__ import annotations

import binascii
import re
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

from busprobe.errors import Problems, counted
from busprobe.frames import ERROR, FD, REMOTE, FrameBatch
from busprobe.sources.formats import Format
from busprobe.sources.limits import FD_LENGTHS, MAX_CLASSIC
from busprobe.sources.line_rows import identifier_of, read_rows
from busprobe.sources.rows import DamagedError, Row, shown
from busprobe.timeline import FOREVER

HEADER = b"timestamp,arbitration_id,extended,remote,error,dlc,data"
CHANNEL = "0"
_COLUMNS = HEADER.decode().split(",")
_PLAIN_STAMP = re.compile(rb"(\d{1,10})\.(\d{1,9})")
_STAMP = re.compile(rb"\d+(\.\d+)?(e[-+]?\d{1,3})?")
"""As `repr` writes a float."""


def looks_like(head: bytes) -> bool:
    return head.removeprefix(b"\xef\xbb\xbf").startswith(HEADER)


def read(path: Path, problems: Problems, batch_rows: int) -> Iterator[FrameBatch]:
    return read_rows(path, problems, batch_rows, _Lines())


class _Lines:
    """Every line stands for itself; what its columns 1 to 4 say is remembered."""

    def __init__(self) -> None:
        self._kinds: dict[tuple[bytes, ...], tuple[int, int]] = {}

    def row(self, line: bytes) -> Row | None:
        fields = line.strip().split(b",")
        if len(fields) != 7:
            if fields == [b""]:
                return None
            raise DamagedError(f'line "{shown(line.strip())}" has {counted(len(fields), "field")}, not 7.')
        if fields[0] == b"timestamp":
            return None
        t_ns = _stamp_ns(fields[0])
        key = tuple(fields[1:5])
        if key not in self._kinds:
            self._kinds[key] = _kind(fields)
        identifier, flags = self._kinds[key]
        if not fields[5].isdigit():
            raise DamagedError(f'dlc "{shown(fields[5])}" is not a number.')
        length, data = int(fields[5]), _payload(fields[6])
        if len(data) == length and length in FD_LENGTHS and not flags & REMOTE:
            return Row(t_ns, CHANNEL, identifier, flags if length <= MAX_CLASSIC else flags | FD, length, data)
        if flags & REMOTE and not data and length <= MAX_CLASSIC:
            return Row(t_ns, CHANNEL, identifier, flags, length, data)
        if flags & REMOTE and data:
            raise DamagedError(f'payload "{shown(fields[6])}" stands in a remote frame, which has none.')
        raise DamagedError(
            f'payload "{shown(fields[6])}" has {counted(len(data), "byte")} and the dlc is "{shown(fields[5])}".'
        )

    def proves_end(self, row: Row) -> bool:
        """The dlc says how long the payload is."""
        return True


def _kind(fields: list[bytes]) -> tuple[int, int]:
    """Identifier and flags of a line."""
    for column in (2, 3, 4):
        if fields[column] not in (b"0", b"1"):
            raise DamagedError(f'column "{_COLUMNS[column]}" has "{shown(fields[column])}", not 0 or 1.')
    extended, remote, error = (field == b"1" for field in fields[2:5])
    identifier, flags = identifier_of(fields[1].lower().removeprefix(b"0x"), 16, extended)
    return identifier, ERROR if error else flags | (REMOTE if remote else 0)


def _stamp_ns(text: bytes) -> int:
    """Time in ns, to the nearest."""
    if plain := _PLAIN_STAMP.fullmatch(text):
        t_ns = int(plain[1]) * 1_000_000_000 + int(plain[2].ljust(9, b"0"))
        if t_ns < FOREVER:
            return t_ns
    if not _STAMP.fullmatch(text):
        raise DamagedError(f'time stamp "{shown(text)}" is not readable.')
    seconds = Decimal(text.decode())
    if seconds >= FOREVER // 1_000_000_000:
        raise DamagedError(f'time stamp "{shown(text)}" is later than a recording can hold.')
    return round(seconds * 1_000_000_000)


def _payload(text: bytes) -> bytes:
    try:
        return binascii.a2b_base64(text, strict_mode=True)
    except binascii.Error:
        raise DamagedError(f'payload "{shown(text)}" is not base64.') from None


FORMAT = Format("CSV of python-can", (".csv",), looks_like, read, resolution_ns=1000)
