"""The frames of one block of candump lines, column by column, while they are being read."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from busprobe.frames import BoolArray, FrameBatch, Int64Array, Tail, UInt8Array, UInt32Array, UInt64Array
from busprobe.sources.rows import Row, channel_number, payload_words


@dataclass
class Columns:
    """Frames of one block of lines, being filled in; one row a line."""

    t_ns: Int64Array
    name: npt.NDArray[np.uint16]
    """Index into `names`."""
    identifier: UInt32Array
    flags: UInt8Array
    length: UInt8Array
    payload: UInt64Array
    done: BoolArray
    """The line is a frame and its row is filled in."""
    names: dict[str, tuple[int, int]] = field(default_factory=dict)
    """Interface name -> its index, and the first row that has it."""
    tails: list[tuple[Int64Array, UInt64Array]] = field(default_factory=list)
    """Row numbers, and payload words 1 to 7 of these rows."""

    def name_index(self, name: str, row: int) -> int:
        index, first = self.names.get(name, (len(self.names), row))
        self.names[name] = index, min(first, row)
        return index

    def put_row(self, row: int, frame: Row) -> None:
        """Fill in one row from the line parser's frame."""
        self.t_ns[row] = frame.t_ns
        self.name[row] = self.name_index(frame.channel, row)
        self.identifier[row] = frame.identifier
        self.flags[row] = frame.flags
        self.length[row] = frame.length
        self.payload[row] = int.from_bytes(frame.data[:8], "little")
        self.done[row] = True
        if len(frame.data) > 8:
            self.tails.append((np.array([row]), payload_words([frame.data])[:, 1:]))

    def put(self, rows: Int64Array, part: Columns) -> None:
        """Fill in `rows` from the columns of these lines alone."""
        index = np.array([self.name_index(n, int(rows[first])) for n, (_, first) in part.names.items()], np.uint16)
        if len(index):
            self.name[rows] = index[part.name]
        self.t_ns[rows] = part.t_ns
        self.identifier[rows] = part.identifier
        self.flags[rows] = part.flags
        self.length[rows] = part.length
        self.payload[rows] = part.payload
        self.done[rows] = part.done
        self.tails += [(rows[tail_rows], words) for tail_rows, words in part.tails]

    def batch(self, channels: dict[str, int], path: Path) -> FrameBatch:
        """The filled-in rows; new channel names are added to `channels` by their first frame."""
        numbers = np.zeros(max(1, len(self.names)), np.uint8)
        for name, (index, _) in sorted(self.names.items(), key=lambda item: item[1][1]):
            numbers[index] = channel_number(channels, name, path)
        tail = None
        if self.tails:
            rows = np.concatenate([rows for rows, _ in self.tails])
            order = np.argsort(rows)
            tail = Tail(rows[order], np.concatenate([words for _, words in self.tails])[order])
        batch = FrameBatch(
            self.t_ns, tuple(channels), numbers[self.name], self.identifier,
            self.flags, self.length, self.payload, tail,
        )  # fmt: skip
        return batch if self.done.all() else batch.take(self.done)


def empty_columns(n: int) -> Columns:
    return Columns(
        np.zeros(n, np.int64), np.zeros(n, np.uint16), np.zeros(n, np.uint32), np.zeros(n, np.uint8),
        np.zeros(n, np.uint8), np.zeros(n, np.uint64), np.zeros(n, np.bool_),
    )  # fmt: skip
