"""Frames of a text recording whose lines are read one by one, and the fields they share."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import BinaryIO, Protocol

from busprobe.errors import Problems, counted
from busprobe.frames import EXTENDED, FrameBatch
from busprobe.sources.limits import MAX_EXTENDED, MAX_STANDARD
from busprobe.sources.rows import DamagedError, Row, frames_of, shown
from busprobe.timeline import FOREVER

_LONGEST = 40
"""Digits of a time; more of them are not worth a number."""
_SCALE = tuple(10**power for power in range(10))
_BYTE_ORDER_MARK = b"\xef\xbb\xbf"


class LineParser(Protocol):
    """Knows one text format, and remembers what its earlier lines said (start time, columns)."""

    def row(self, line: bytes) -> Row | None:
        """The frame of a line, None where the line is something else.

        Raises DamagedError with the message for the user.
        """

    def proves_end(self, row: Row) -> bool:
        """Whether nothing of the frame can be missing behind the newest line, which gave `row`."""


def read_rows(path: Path, problems: Problems, batch_rows: int, parser: LineParser) -> Iterator[FrameBatch]:
    """The frames of a file; damaged lines are problems.

    A last line without a line end is lost unless it proves that it is whole.
    """
    with path.open("rb") as file:
        if file.read(len(_BYTE_ORDER_MARK)) != _BYTE_ORDER_MARK:
            file.seek(0)
        batches = _Batches(path, file)
        rows: list[Row] = []
        number, line = 0, b"\n"
        row = None
        for number, line in enumerate(file, 1):
            try:
                row = parser.row(line)
            except DamagedError as damage:
                row = None
                if line.endswith(b"\n"):
                    problems.add(str(damage), path=path, line=number)
                continue
            if row is not None:
                if len(rows) >= batch_rows:
                    yield batches.close(rows)
                    rows = []
                rows.append(row)
        if not line.endswith(b"\n") and _is_cut(line, row, parser):
            if row is not None:
                rows.pop()
            problems.add(f'the file ends inside line "{shown(line.strip())}"; it is lost.', path=path, line=number)
        if rows:
            yield batches.close(rows)


def _is_cut(line: bytes, row: Row | None, parser: LineParser) -> bool:
    """Of a last line without a line end: whether it is a frame that may have been longer."""
    if row is None:
        return line.lstrip()[:1].isdigit()
    return not parser.proves_end(row)


class _Batches:
    """Makes batches of the rows of one file."""

    def __init__(self, path: Path, file: BinaryIO) -> None:
        self.path = path
        self.file = file
        self.size = os.fstat(file.fileno()).st_size
        self.channels: dict[str, int] = {}
        self.newest_ns: int | None = None

    def close(self, rows: list[Row]) -> FrameBatch:
        batch = frames_of(rows, self.channels, self.path, self.file.tell() / self.size)
        newest = int(batch.t_ns.max())
        self.newest_ns = newest if self.newest_ns is None else max(self.newest_ns, newest)
        return replace(batch, complete_to_ns=self.newest_ns)


def time_ns(text: bytes, places: int, start_ns: int) -> int:
    """Time from a number with decimals that counts from `start_ns`, exactly.

    places: 9 for seconds, 6 for milliseconds. Decimals beyond the nanosecond are dropped.
    """
    whole, _, decimals = text.partition(b".")
    digits = whole + decimals[:places]
    if not digits.isdigit():
        unit = "seconds" if places == 9 else "milliseconds"
        raise DamagedError(f'time "{shown(text)}" is not a number of {unit}.')
    if len(digits) < _LONGEST:
        t_ns: int = start_ns + int(digits) * _SCALE[max(0, places - len(decimals))]
        if t_ns < FOREVER:
            return t_ns
    raise DamagedError(f'time "{shown(text)}" is later than a recording can hold.')


def identifier_of(text: bytes, base: int, extended: bool) -> tuple[int, int]:
    """Identifier, and EXTENDED or 0."""
    try:
        value = int(text, base)
    except ValueError:
        value = -1
    if value < 0 or not text.isalnum():
        raise DamagedError(f'identifier "{shown(text)}" is not a {base_name(base)} number.')
    if extended:
        if value > MAX_EXTENDED:
            raise DamagedError(f'identifier "{shown(text)}" is above 1FFFFFFF, the highest of 29 bits.')
        return value, EXTENDED
    if value > MAX_STANDARD:
        raise DamagedError(f'identifier "{shown(text)}" is above 7FF, the highest of 11 bits.')
    return value, 0


def payload_of(fields: list[bytes], length: int, base: int) -> bytes:
    """Payload of `length` bytes written as separate numbers, in hex with two digits each."""
    if len(fields) < length:
        raise DamagedError(f"the line says {counted(length, 'payload byte')} and has {len(fields)}.")
    text = b" ".join(fields[:length])
    try:
        data = bytes.fromhex(text.decode("ascii")) if base == 16 else bytes(map(int, fields[:length]))
    except ValueError:
        data = b""
    if len(data) != length:
        what = "hex bytes of two digits" if base == 16 else "numbers from 0 to 255"
        raise DamagedError(f'payload "{shown(text)}" is not made of {what}.')
    return data


def base_name(base: int) -> str:
    return "hex" if base == 16 else "decimal"
