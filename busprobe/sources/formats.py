"""The contract of a recording format: recognise it, then read it as batches."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from busprobe.errors import Problems
from busprobe.frames import FrameBatch

BATCH_ROWS = 131_072
"""Frames in a batch, about; a reader may close one earlier or a little later."""

Read = Callable[[Path, Problems, int], Iterator[FrameBatch]]
"""`read(path, problems, batch_rows)`: batches in the file's order, with the file's own stamps."""


@dataclass(frozen=True)
class Format:
    """One file format. Adding one is a module and a line in `sources.FORMATS`."""

    name: str
    """As a person says it: "candump text"."""
    suffixes: tuple[str, ...]
    looks_like: Callable[[bytes], bool]
    """Whether the first 4096 bytes of a file are of this format; pure."""
    read: Read
    resolution_ns: int
    """Step of its time stamps: the uncertainty of a frame's time."""
