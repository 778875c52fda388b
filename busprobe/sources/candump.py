"""Candump text: one frame a line, as candump writes it to a log or to the screen.

    (1436509052.249713) can0 123#DEADBEEF
    (1436509052.249714) can1 12345678#R8
    (1436509052.249715) can0 123##1DEADBEEF T

Source: the project can-utils, the comment on the frame notation in its `lib.h` and its
`candump.c`. A file is read in stretches of whole lines; `candump_fast` takes nearly all
lines of a block at once, `candump_line` the others and says which are damaged.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from busprobe.errors import OpenError, Problems
from busprobe.frames import FrameBatch, Int64Array, empty_frames, join_frames
from busprobe.sources.candump_end import LastLine, last_line
from busprobe.sources.candump_fast import parse_lines
from busprobe.sources.candump_line import parse_line
from busprobe.sources.formats import Format
from busprobe.sources.line_blocks import CHUNK_BYTES, LineBlocks, Text
from busprobe.sources.rows import DamagedError, frames_of, shown

BLOCK_LINES = 32_768
"""Lines parsed at once, so that their arrays stay in the processor's cache."""

_STAMPED = re.compile(rb"^[ \t]*\(\d{1,10}(\.\d{1,9})?\)[ \t]+\S+[ \t]+[0-9A-Fa-f]{3,8}(#|[ \t]+\[\d{1,2}\])", re.M)
_UNSTAMPED = re.compile(rb"^[ \t]*[^\s(]\S*[ \t]+([0-9A-Fa-f]{3}|[0-9A-Fa-f]{8})[ \t]+\[\d{1,2}\]\s", re.M)


def looks_like(head: bytes) -> bool:
    """Whether some line is a frame in the log form or in the screen form."""
    return bool(_STAMPED.search(head) or _UNSTAMPED.search(head))


def read(path: Path, problems: Problems, batch_rows: int) -> Iterator[FrameBatch]:
    """Frames of a candump text file. Raises OpenError where the lines have no time stamps."""
    with path.open("rb") as stream:
        head = stream.read(4096)
        if _UNSTAMPED.search(head) and not _STAMPED.search(head):
            raise OpenError(
                "the frames have no time stamps, so nothing can be timed.",
                path=path,
                hint="Record again with time stamps; the log form always has them.",
            )
        size = stream.seek(0, 2)
        reader = _Reader(path, problems, last_line(stream, size))
        stream.seek(0)
        blocks = LineBlocks(stream, min(batch_rows, BLOCK_LINES), CHUNK_BYTES)
        yield from _batches(reader, blocks, size, batch_rows)


def _batches(reader: _Reader, blocks: LineBlocks, size: int, batch_rows: int) -> Iterator[FrameBatch]:
    parts: list[FrameBatch] = []
    for text, starts, ends in blocks:
        parts.append(replace(reader.frames(text, starts, ends), share=min(1.0, blocks.bytes_done / max(1, size))))
        if sum(map(len, parts)) >= batch_rows:
            yield reader.join(parts)
            parts = []
    parts.append(reader.last_frame(blocks.rest))
    yield reader.join(parts)


@dataclass
class _Reader:
    """What is carried from block to block of one file."""

    path: Path
    problems: Problems
    last: LastLine | None
    channels: dict[str, int] = field(default_factory=dict)
    lines: int = 0
    """Lines before the block at hand."""
    newest_ns: int | None = None

    def frames(self, text: Text, starts: Int64Array, ends: Int64Array) -> FrameBatch:
        columns = parse_lines(text, starts, ends)
        for row in np.flatnonzero(~columns.done).tolist():
            try:
                frame = parse_line(text.line(int(starts[row]), int(ends[row])))
            except DamagedError as damage:
                self.problems.add(str(damage), path=self.path, line=self.lines + row + 1)
                continue
            if frame is not None:
                columns.put_row(row, frame)
        self.lines += len(starts)
        batch = columns.batch(self.channels, self.path)
        if self.last is not None:
            self.last.watch(batch)
        return batch

    def join(self, parts: list[FrameBatch]) -> FrameBatch:
        """Blocks as one batch, complete to the newest time of the file so far."""
        batch = join_frames(parts)
        if len(batch):
            newest = int(batch.t_ns.max())
            self.newest_ns = newest if self.newest_ns is None else max(self.newest_ns, newest)
        return replace(batch, complete_to_ns=self.newest_ns)

    def last_frame(self, rest: bytes) -> FrameBatch:
        """The frame of a last line without a line end, if it is whole."""
        if not rest.strip():
            return replace(empty_frames(tuple(self.channels)), share=1.0)
        row = self.last.frame() if self.last is not None and self.last.text == rest else None
        if row is None:
            self.problems.add(
                f'The file ends inside its last line ("{shown(rest)}"); that frame is lost.',
                path=self.path,
                line=self.lines + 1,
            )
        return frames_of([] if row is None else [row], self.channels, self.path, 1.0)


FORMAT = Format("candump text", (".log", ".txt"), looks_like, read, resolution_ns=1000)
