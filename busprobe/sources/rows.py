"""Frames one by one, for readers that work line by line, and how they become a batch."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from busprobe.errors import FormatError
from busprobe.frames import TAIL_WORDS, FrameBatch, Tail, UInt8Array, UInt64Array

MAX_CHANNELS = 256
"""Channel numbers of a batch are one byte."""
SHOWN_CHARACTERS = 60


class Row(NamedTuple):
    """One frame, as a line of a file says it."""

    t_ns: int
    channel: str
    identifier: int
    flags: int
    length: int
    data: bytes
    """Payload; empty for a remote frame, whose `length` is the number of bytes asked for."""


class DamagedError(Exception):
    """A line is no frame; the text is the message for the user. Never leaves its reader."""


def shown(text: bytes) -> str:
    """Text found in a file, fit for a message: printable, 60 characters at most."""
    start = text[: 4 * SHOWN_CHARACTERS].decode("utf-8", "backslashreplace")
    plain = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in start)
    return plain if len(plain) <= SHOWN_CHARACTERS else plain[: SHOWN_CHARACTERS - 1] + "…"


def channel_number(channels: dict[str, int], name: str, path: object) -> int:
    """Number of the channel `name`, which is added to `channels` where it is new."""
    number = channels.setdefault(name, len(channels))
    if number >= MAX_CHANNELS:
        raise FormatError(
            f'more than {MAX_CHANNELS} channels; the last one is "{shown(name.encode())}".', path=str(path)
        )
    return number


def payload_words(data: Sequence[bytes]) -> UInt64Array:
    """(n, 8) payload words; see `busprobe.frames`."""
    joined = b"".join(d.ljust(8 * (1 + TAIL_WORDS), b"\0") for d in data)
    return np.frombuffer(joined, "<u8").reshape(-1, 1 + TAIL_WORDS).astype(np.uint64)


def frames_of(rows: Sequence[Row], channels: dict[str, int], path: object, share: float) -> FrameBatch:
    """Rows in their order as a batch; new channel names are added to `channels`."""
    number: UInt8Array = np.array([channel_number(channels, row.channel, path) for row in rows], np.uint8)
    words = payload_words([row.data for row in rows])
    long = np.flatnonzero([len(row.data) > 8 for row in rows])
    return FrameBatch(
        np.array([row.t_ns for row in rows], np.int64),
        tuple(channels),
        number,
        np.array([row.identifier for row in rows], np.uint32),
        np.array([row.flags for row in rows], np.uint8),
        np.array([row.length for row in rows], np.uint8),
        words[:, 0].copy(),
        Tail(long, words[long, 1:]) if len(long) else None,
        share=share,
    )
