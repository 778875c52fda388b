"""Batches: many frames, or many polls of an input box, as parallel arrays.

Payload words. Byte 0 of a frame, the first on the wire, is the lowest byte of word 0:

    bytes   b0 b1 b2 b3 b4 b5 b6 b7 | b8 ...
    word 0  = b0 + (b1 << 8) + ... + (b7 << 56)      word 1 starts with b8

so a DBC bit number (byte * 8 + bit) is the bit's place in the words. Bytes at and past
`lengths` are zero.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import Enum

import numpy as np
import numpy.typing as npt

from busprobe.health import HealthRow, RequestsRow

Int64Array = npt.NDArray[np.int64]
UInt64Array = npt.NDArray[np.uint64]
UInt32Array = npt.NDArray[np.uint32]
UInt8Array = npt.NDArray[np.uint8]
Int32Array = npt.NDArray[np.int32]
BoolArray = npt.NDArray[np.bool_]
FloatArray = npt.NDArray[np.float64]

# Bits of a frame's `flags`.
EXTENDED = 1
"""29-bit identifier."""
FD = 2
"""CAN FD format."""
REMOTE = 4
"""Remote frame: `length` is the number of bytes asked for, there is no payload."""
ERROR = 8
"""Error frame: reported by the adapter, no payload of the bus."""
SENT = 16
"""Sent by busprobe or by the recording machine, not received."""
LATE = 32
"""Came after logic had passed its time: recorded, counted, never used by logic."""
SWITCHED = 64
"""CAN FD with bit rate switch (BRS)."""
PASSIVE = 128
"""CAN FD error state indicator (ESI) set: the sender is error passive."""

TAIL_WORDS = 7


@dataclass(frozen=True)
class Tail:
    """Payload bytes 8 to 63 of the few frames that have them (CAN FD)."""

    rows: Int64Array
    """(m,) row numbers in the batch, rising."""
    words: UInt64Array
    """(m, 7) payload words 1 to 7."""


@dataclass(frozen=True)
class FrameBatch:
    """Frames in the order and with the stamps of their source."""

    t_ns: Int64Array
    """(n,) time of each frame, ns; since the epoch where the source knows it."""
    channels: tuple[str, ...]
    """Channel names; a later batch of one source may only append to them."""
    channel: UInt8Array
    """(n,) index into `channels`."""
    identifier: UInt32Array
    """(n,) 11-bit or 29-bit identifier, without flag bits."""
    flags: UInt8Array
    """(n,) the bits named above."""
    length: UInt8Array
    """(n,) payload length in bytes, 0 to 64."""
    payload: UInt64Array
    """(n,) payload word 0."""
    tail: Tail | None = None
    """Words 1 to 7, or None where no payload is longer than 8 bytes."""
    complete_to_ns: int | None = None
    """No later batch of this source has a frame before this time; None: the newest stamp."""
    share: float = 0.0
    """How much of the source has been read, 0 to 1; for progress only."""

    def __len__(self) -> int:
        return len(self.t_ns)

    @property
    def complete_to(self) -> int | None:
        """`complete_to_ns`, else the newest stamp, else None (empty batch)."""
        if self.complete_to_ns is not None:
            return self.complete_to_ns
        return int(self.t_ns.max()) if len(self.t_ns) else None

    def words(self) -> UInt64Array:
        """(n, 8) payload words of every frame, or (n, 1) where there is no tail."""
        if self.tail is None:
            return self.payload[:, None]
        out = np.zeros((len(self), 1 + TAIL_WORDS), np.uint64)
        out[:, 0] = self.payload
        out[self.tail.rows, 1:] = self.tail.words
        return out

    def cut(self, start: int, stop: int) -> FrameBatch:
        """Frames `start` to `stop` - 1, as views."""
        rows = slice(start, stop)
        tail = None
        if self.tail is not None:
            low, high = np.searchsorted(self.tail.rows, (start, stop))
            if low < high:
                tail = Tail(self.tail.rows[low:high] - start, self.tail.words[low:high])
        return FrameBatch(
            self.t_ns[rows], self.channels, self.channel[rows], self.identifier[rows], self.flags[rows],
            self.length[rows], self.payload[rows], tail, self.complete_to_ns, self.share,
        )  # fmt: skip

    def in_time_order(self) -> FrameBatch:
        """The frames in order of time; those of one time stay in theirs."""
        if (self.t_ns[1:] >= self.t_ns[:-1]).all():
            return self
        order = np.argsort(self.t_ns, kind="stable")
        tail = self.tail
        if tail is not None:
            rank = np.empty(len(order), np.int64)
            rank[order] = np.arange(len(order))
            rows = rank[tail.rows]
            by_row = np.argsort(rows)
            tail = Tail(rows[by_row], tail.words[by_row])
        return FrameBatch(
            self.t_ns[order], self.channels, self.channel[order], self.identifier[order], self.flags[order],
            self.length[order], self.payload[order], tail, self.complete_to_ns, self.share,
        )  # fmt: skip

    def take(self, rows: Int64Array | BoolArray) -> FrameBatch:
        """The frames at `rows` (rising indexes, or a mask), with the same channels."""
        index = np.flatnonzero(rows) if rows.dtype == np.bool_ else rows
        tail = None
        if self.tail is not None:
            place = np.searchsorted(index, self.tail.rows)
            hit = place < len(index)
            hit[hit] = index[place[hit]] == self.tail.rows[hit]
            if hit.any():
                tail = Tail(place[hit].astype(np.int64), self.tail.words[hit])
        return FrameBatch(
            self.t_ns[index], self.channels, self.channel[index], self.identifier[index],
            self.flags[index], self.length[index], self.payload[index], tail,
            self.complete_to_ns, self.share,
        )  # fmt: skip


def empty_frames(channels: tuple[str, ...] = (), complete_to_ns: int | None = None) -> FrameBatch:
    """A batch of no frames, which still says how far its source is complete."""
    return FrameBatch(
        np.empty(0, np.int64), channels, np.empty(0, np.uint8), np.empty(0, np.uint32),
        np.empty(0, np.uint8), np.empty(0, np.uint8), np.empty(0, np.uint64), None,
        complete_to_ns,
    )  # fmt: skip


def join_frames(batches: Sequence[FrameBatch]) -> FrameBatch:
    """Batches of one source in their order, as one."""
    if len(batches) == 1:
        return batches[0]
    if not batches:
        return empty_frames()
    last = batches[-1]
    rows, words, start = [], [], 0
    for batch in batches:
        if batch.tail is not None:
            rows.append(batch.tail.rows + start)
            words.append(batch.tail.words)
        start += len(batch)
    return FrameBatch(
        np.concatenate([b.t_ns for b in batches]),
        max((b.channels for b in batches), key=len),
        np.concatenate([b.channel for b in batches]),
        np.concatenate([b.identifier for b in batches]),
        np.concatenate([b.flags for b in batches]),
        np.concatenate([b.length for b in batches]),
        np.concatenate([b.payload for b in batches]),
        Tail(np.concatenate(rows), np.concatenate(words)) if rows else None,
        last.complete_to_ns,
        last.share,
    )


@dataclass(frozen=True)
class InputBatch:
    """Polls of one input box."""

    box: str
    """Name of the box: `[[inputs]] name` of the bench file."""
    t_ns: Int64Array
    """(n,) time of each poll: the midpoint of request and answer."""
    mask: UInt64Array
    """(n,) bit k is the electrical level of line number k: 1 high, 0 low."""
    analogue: Int32Array | None = None
    """(n, k) millivolts of analogue lines 0 to k-1, or None."""
    late: BoolArray | None = None
    """(n,) polls that came after logic had passed their time; None: none."""
    complete_to_ns: int | None = None
    share: float = 0.0

    def __len__(self) -> int:
        return len(self.t_ns)

    def cut(self, start: int, stop: int) -> InputBatch:
        """Polls `start` to `stop` - 1, as views."""
        return self.take(np.arange(start, stop))

    def take(self, rows: Int64Array | BoolArray) -> InputBatch:
        """The polls at `rows` (rising indexes, or a mask)."""
        return InputBatch(
            self.box,
            self.t_ns[rows],
            self.mask[rows],
            None if self.analogue is None else self.analogue[rows],
            None if self.late is None else self.late[rows],
            self.complete_to_ns,
            self.share,
        )

    @property
    def complete_to(self) -> int | None:
        if self.complete_to_ns is not None:
            return self.complete_to_ns
        return int(self.t_ns.max()) if len(self.t_ns) else None


class Condition(Enum):
    """Condition of a source, as a row of the recording."""

    UP = "up"
    DOWN = "down"


DAMAGED = "the recording is damaged here"
"""Note of the state in which a source is where its rows of a recording cannot be read."""


@dataclass(frozen=True)
class SourceState:
    """From `t_ns` on, the channel or box `source` is up or down."""

    t_ns: int
    source: str
    condition: Condition
    note: str = ""


@dataclass(frozen=True)
class StateBatch:
    """Source states in time order, and how far they are complete."""

    rows: tuple[SourceState, ...] = field(default=())
    complete_to_ns: int | None = None
    healths: tuple[HealthRow, ...] = ()
    """How sources were doing, for people; no logic looks at it."""
    requests: tuple[RequestsRow, ...] = ()
    """Who asked for OBD data, likewise."""

    @property
    def complete_to(self) -> int | None:
        if self.complete_to_ns is not None:
            return self.complete_to_ns
        return max((row.t_ns for row in self.rows), default=None)


Batch = FrameBatch | InputBatch | StateBatch


def join_polls(batches: Sequence[InputBatch]) -> InputBatch:
    """Polls of one box in their order, as one; at least one batch."""
    if len(batches) == 1:
        return batches[0]
    analogue = [b.analogue for b in batches if b.analogue is not None]
    return InputBatch(
        batches[0].box,
        np.concatenate([b.t_ns for b in batches]),
        np.concatenate([b.mask for b in batches]),
        np.concatenate(analogue) if len(analogue) == len(batches) else None,
        None,
        batches[-1].complete_to_ns,
        batches[-1].share,
    )
