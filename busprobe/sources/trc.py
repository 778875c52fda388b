"""TRC: a text recording, one frame a line, times in milliseconds since the start.

    ;$FILEVERSION=2.1
    ;$STARTTIME=45628.8611853472
    ;$COLUMNS=N,O,T,B,I,d,R,L,D
          1      1059.900 DT 1      0300 Rx -  7    00 00 00 00 04 00 00

The columns of versions 2.x are named in the header; those of 1.0 to 1.3 are fixed. The
layouts are those that python-can reads; version 1.2 and the meaning of the types are from
memory. `trc_lines` says where it differs. The start is a day count without a zone, taken as
UTC.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from busprobe.errors import FormatError, Problems
from busprobe.frames import ERROR, FrameBatch
from busprobe.sources.formats import Format
from busprobe.sources.line_rows import read_rows
from busprobe.sources.rows import DamagedError, Row, shown
from busprobe.sources.trc_lines import Columns, frame_row
from busprobe.timeline import FOREVER

_LIKE = re.compile(rb"\A(?:\xef\xbb\xbf)?(?:\s*;[^\n]*\n)*?\s*;\$FILEVERSION=\d")
_LIKE_OLDEST = re.compile(rb"\A(?:\s*;[^\n]*\n)+\s*\d+\)\s+\d+\s+[0-9A-Fa-f]{4,8}\s+\d\s")
_COLUMNS = {"1.0": "N,O,I,L,D", "1.1": "N,O,T,I,L,D", "1.2": "N,O,B,T,I,L,D", "1.3": "N,O,B,T,I,R,L,D"}
_DAY_NS = 86_400_000_000_000
_EPOCH_DAY = 25_569
"""1970-01-01 counted from 1899-12-30."""


def looks_like(head: bytes) -> bool:
    """Whether the comments at the top name a file version, or version 1.0 lines follow them."""
    return _LIKE.match(head) is not None or _LIKE_OLDEST.match(head) is not None


def read(path: Path, problems: Problems, batch_rows: int) -> Iterator[FrameBatch]:
    """Frames of a TRC file. Raises FormatError where its columns are not known."""
    return read_rows(path, problems, batch_rows, TrcParser(path))


class TrcParser:
    """Reads the lines of one file in their order."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.version = "1.0"
        self.letters = ""
        self.start_ns = 0
        self.columns: Columns | None = None
        """Known from the first line that is no comment."""

    def row(self, line: bytes) -> Row | None:
        fields = line.split()
        if not fields:
            return None
        if fields[0][:1] == b";":
            self._header(fields[0])
            return None
        if not fields[0].rstrip(b")").isdigit():
            raise DamagedError(f'line "{shown(line.strip())}" is not of the TRC format.')
        if self.columns is None:
            self.columns = self._columns()
        return frame_row(fields, self.columns, self.start_ns)

    def proves_end(self, row: Row) -> bool:
        """The bytes of a payload are counted and have two digits; those of an error line have not."""
        return row.flags & ERROR == 0

    def _header(self, field: bytes) -> None:
        name, _, value = field.partition(b"=")
        if name == b";$FILEVERSION":
            self.version = value.decode("ascii", "replace")
        elif name == b";$COLUMNS":
            self.letters = value.decode("ascii", "replace")
        elif name == b";$STARTTIME":
            self.start_ns = _start_ns(value)

    def _columns(self) -> Columns:
        letters = self.letters or _COLUMNS.get(self.version, "")
        if not letters:
            raise FormatError(
                f'TRC version "{shown(self.version.encode())}" has no line ";$COLUMNS=" in its header.',
                path=self.path,
                hint="Save the recording again as version 1.1 or 2.1.",
            )
        columns = Columns.of(letters.split(","))
        if columns is None:
            raise FormatError(
                f'The columns "{shown(letters.encode())}" lack one of O, I, L or l, and D.',
                path=self.path,
                hint="Save the recording again with its usual columns.",
            )
        return columns


def _start_ns(text: bytes) -> int:
    """Nanoseconds since the epoch of a count of days since 1899-12-30, to the nearest."""
    whole, _, decimals = text.partition(b".")
    if not (whole + decimals).isdigit() or len(text) > 40:
        raise DamagedError(f'start time "{shown(text)}" is not a number of days; times count from 0.')
    scale: int = 10 ** len(decimals)
    start_ns = (2 * int(whole + decimals) * _DAY_NS + scale) // (2 * scale) - _EPOCH_DAY * _DAY_NS
    if start_ns >= FOREVER:
        raise DamagedError(f'start time "{shown(text)}" is later than a recording can hold; times count from 0.')
    return start_ns


FORMAT = Format("TRC", (".trc",), looks_like, read, resolution_ns=100_000)
