"""ASC: a text recording, one event a line, times in seconds since the start.

    date Sat Sep 30 15:06:13.191 2017
    base hex  timestamps absolute
       0.015991 1  123             Rx   d 8 01 02 03 04 05 06 07 08
       0.016991 CANFD   1 Rx        123   name   1 0 8  8 01 02 03 04 05 06 07 08 0 0 1000

No public document describes the format; this follows what python-can reads, and `asc_lines`
says where it differs. A date without a zone is local time: the absolute times of a file
depend on the zone of the machine that reads it. Channels are numbered from 0, as python-can
does, though the file counts from 1.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from busprobe.errors import Problems
from busprobe.frames import ERROR, REMOTE, FrameBatch
from busprobe.sources.asc_date import date_ns
from busprobe.sources.asc_lines import can_row, fd_row
from busprobe.sources.formats import Format
from busprobe.sources.line_rows import read_rows, time_ns
from busprobe.sources.rows import DamagedError, Row, shown

_LIKE = re.compile(
    rb"\A(?:\xef\xbb\xbf)?(?:\s*//[^\n]*\n)*\s*"
    rb"(?:date\s+[^\n]*\d:\d\d:\d\d[^\n]*\d{4}\s*\n|base\s+(?:hex|dec)\b|begin\s+triggerblock\b)",
    re.IGNORECASE,
)
_HEADER_WORDS = (b"internal", b"no", b"end", b"previous")
"""First words of lines that say nothing about frames."""


def looks_like(head: bytes) -> bool:
    """Whether the first line that is no comment is a date, a base or the begin of a block."""
    return _LIKE.match(head) is not None


def read(path: Path, problems: Problems, batch_rows: int) -> Iterator[FrameBatch]:
    """Frames of an ASC file; lines of other buses, statistics and comments are passed over."""
    return read_rows(path, problems, batch_rows, AscParser())


class AscParser:
    """Reads the lines of one file in their order."""

    def __init__(self) -> None:
        self.base = 16
        self.is_relative = False
        """Each time counts from the line before."""
        self.start_ns = 0
        self.block_ns: int | None = None
        """Date of a block whose first time has not been seen yet."""
        self.is_fd_line = False
        """The newest line is a CANFD line."""
        self.newest_ns: int | None = None
        """Time of the newest line since the start; None before the first."""

    def row(self, line: bytes) -> Row | None:
        fields = line.split()
        if not fields:
            return None
        if not fields[0][:1].isdigit():
            self._header(line, fields)
            return None
        if len(fields) < 3:
            raise DamagedError(f'line "{shown(line.strip())}" has too few fields.')
        if fields[1] == b"Start":
            return None
        t_ns = self._t_ns(fields[0])
        self.is_fd_line = fields[1] == b"CANFD"
        if self.is_fd_line:
            return fd_row(t_ns, fields, self.base)
        return can_row(t_ns, fields, self.base) if fields[1].isdigit() else None

    def proves_end(self, row: Row) -> bool:
        """Hex bytes have two digits and are counted.

        A decimal byte may lack a digit, "r" its length, and a CANFD line its flags.
        """
        if self.is_fd_line:
            return False
        if row.flags & REMOTE:
            return row.length > 0
        return self.base == 16 or row.flags & ERROR != 0 or row.length == 0

    def _t_ns(self, text: bytes) -> int:
        """Absolute time of a line.

        A block that begins with a smaller time than the line before counts from its own date;
        otherwise the times count on from the first start.
        """
        if self.block_ns is not None:
            if self.is_relative or self.newest_ns is None or time_ns(text, 9, self.start_ns) < self.newest_ns:
                self.start_ns, self.newest_ns = self.block_ns, None
            self.block_ns = None
        before = self.newest_ns if self.is_relative and self.newest_ns is not None else self.start_ns
        self.newest_ns = time_ns(text, 9, before)
        return self.newest_ns

    def _header(self, line: bytes, fields: list[bytes]) -> None:
        """Takes in a line that does not begin with a time."""
        first, rest = fields[0].lower(), [field.lower() for field in fields[1:]]
        if first == b"date":
            self.start_ns = date_ns(line)
        elif first == b"base" and rest[:1] in ([b"hex"], [b"dec"]):
            self.base = 16 if rest[0] == b"hex" else 10
            self.is_relative = rest[1:3] == [b"timestamps", b"relative"]
        elif first == b"begin":
            self.block_ns = date_ns(line)
        elif first not in _HEADER_WORDS and not first.startswith(b"//"):
            raise DamagedError(f'line "{shown(line.strip())}" is not of the ASC format.')


FORMAT = Format("ASC", (".asc",), looks_like, read, resolution_ns=1_000)
