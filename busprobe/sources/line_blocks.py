"""A text file in blocks of whole lines, as positions in a padded buffer.

    [padding][line 0 \\n line 1 \\n ... line n-1 \\n rest][padding]

The rest is carried to the front before more is read; after the last block it is what stands
behind the last line end of the file.
"""

from __future__ import annotations

from collections.abc import Iterator
from io import BufferedReader

import numpy as np
import numpy.typing as npt

from busprobe.frames import Int64Array, UInt8Array, UInt64Array

CHUNK_BYTES = 1 << 20
"""Read at once, so that it stays in the processor's cache."""
FRONT, BACK = 32, 192
"""Bytes of padding, so that no word gathered around a line lies outside."""


class Text:
    """A stretch of a file in memory; words of it are gathered from any place, aligned or not."""

    def __init__(self, size: int) -> None:
        self.size = size
        self.data: UInt8Array = np.zeros(FRONT + size + BACK, np.uint8)
        self.words: UInt64Array = self._every("<u8", 8)

    def _every(self, dtype: str, size: int) -> npt.NDArray[np.uint64]:
        return np.ndarray((len(self.data) - size + 1,), dtype, self.data, strides=(1,))

    def gather(self, places: Int64Array, count: int) -> UInt64Array:
        """(n, count) words: `8 * count` characters from each place on."""
        return self._every(f"V{8 * count}", 8 * count)[places].view("<u8").reshape(-1, count)

    def line(self, start: int, end: int) -> bytes:
        return self.data[start:end].tobytes()


class LineBlocks:
    """Iterates over `(text, starts, ends)`: at most `block_lines` lines, line ends excluded.

    A block is valid until the next one is asked for.
    """

    def __init__(self, stream: BufferedReader, block_lines: int, chunk_bytes: int) -> None:
        self._stream = stream
        self._block_lines = block_lines
        self._text = Text(chunk_bytes)
        self.bytes_done = 0
        """Bytes of the file up to the end of the newest block."""
        self.rest = b""
        """After the last block: what follows the last line end."""

    def __iter__(self) -> Iterator[tuple[Text, Int64Array, Int64Array]]:
        kept = 0
        while got := self._read(kept):
            kept += got
            text, stop = self._text, FRONT + kept
            ends = np.flatnonzero(text.data[FRONT:stop] == ord("\n")) + FRONT
            if not len(ends):
                continue
            starts = np.concatenate(([FRONT], ends[:-1] + 1))
            for first in range(0, len(ends), self._block_lines):
                block = slice(first, first + self._block_lines)
                self.bytes_done += int(ends[block][-1] + 1 - starts[first])
                yield text, starts[block], ends[block]
            kept = stop - int(ends[-1] + 1)
            text.data[FRONT : FRONT + kept] = text.data[stop - kept : stop].copy()
        self.rest = self._text.line(FRONT, FRONT + kept)

    def _read(self, kept: int) -> int:
        """Bytes read behind the `kept` ones; a line longer than the buffer doubles it."""
        if kept == self._text.size:
            longer = Text(2 * kept)
            longer.data[FRONT : FRONT + kept] = self._text.data[FRONT : FRONT + kept]
            self._text = longer
        space = self._text.data.data[FRONT + kept : FRONT + self._text.size]
        return self._stream.readinto(space)
