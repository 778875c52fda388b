"""The last line of a candump text file where it has no line end: whole, or cut?

    (1436509052.249713) can0 123#DEADBEEF
    (1436509053.249713) can0 123#DEAD

A cut leaves a shorter payload that reads just as well. So the line is kept only where it
proves itself: its direction mark is there, or its payload is as long as that of all other
frames with its identifier.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from io import BufferedReader

import numpy as np

from busprobe.frames import ERROR, EXTENDED, SENT, FrameBatch
from busprobe.sources.candump_line import parse_line
from busprobe.sources.rows import DamagedError, Row

LOOK_BYTES = 1 << 16
"""The end of the file in which the last line, and direction marks of others, are looked for."""

_MARKED = re.compile(rb" [RTrt]\r?\n")
_WHOLE = re.compile(rb"(?: [RTrt]|\r)\Z")


@dataclass
class LastLine:
    """A last line without a line end, and what the other frames say of it."""

    text: bytes
    row: Row | None
    """The frame that it would be; None: it is damaged or its direction mark is cut off."""
    whole: bool
    """Its own end shows that it is whole."""
    alike: int = 0
    """Earlier frames with its identifier."""
    differ: bool = False
    """Some of them have another length or kind."""

    def watch(self, batch: FrameBatch) -> None:
        """Compare with earlier frames."""
        if self.row is None or self.whole:
            return
        kind = np.uint8(EXTENDED | ERROR)
        rows = (batch.identifier == self.row.identifier) & (batch.flags & kind == self.row.flags & kind)
        other = (batch.length != self.row.length) | ((batch.flags ^ self.row.flags) & ~np.uint8(SENT) != 0)
        self.alike += int(np.count_nonzero(rows))
        self.differ |= bool((rows & other).any())

    def frame(self) -> Row | None:
        """The frame, or None where it may be cut."""
        return self.row if self.whole or (self.alike and not self.differ) else None


def last_line(stream: BufferedReader, size: int) -> LastLine | None:
    """The last line of a file of `size` bytes; None where the file ends with a line end."""
    stream.seek(max(0, size - LOOK_BYTES))
    before, _, text = stream.read(LOOK_BYTES).rpartition(b"\n")
    if not text.strip():
        return None
    whole = _WHOLE.search(text) is not None
    try:
        row = parse_line(text)
    except DamagedError:
        row = None
    if not whole:
        stream.seek(0)
        if _MARKED.search(before + b"\n") or _MARKED.search(stream.read(LOOK_BYTES)):
            row = None
    return LastLine(text, row, whole)
