"""Where the objects of a BLF stream begin.

    LOBJ ...object size bytes... | padding | LOBJ ...            padding: 0 to 4 bytes

Every place that reads LOBJ is a candidate; where each candidate's end leads to the next one, all
are objects. Only at a broken link (a payload that holds the four letters, damage) is it
looked at one by one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from busprobe.frames import Int64Array
from busprobe.sources.blf_objects import HEAD, PADDING, SIGNATURE, gather

_SMALLEST = 16
_FIRST = SIGNATURE[0]
_WORD = int.from_bytes(SIGNATURE, "little")


@dataclass(frozen=True)
class Walk:
    """The whole objects of a stretch of the stream."""

    starts: Int64Array
    """(n,) byte at which each object begins."""
    heads: npt.NDArray[Any]
    """(n,) their headers, `blf_objects.HEAD`."""
    used: int
    """Bytes that are done with; what follows is the beginning of an object that goes on."""
    skipped: tuple[tuple[int, int], ...]
    """(from, to) of the bytes that are no objects."""


def walk(data: bytes, size: int, after_loss: bool) -> Walk:
    """The objects in the first `size` bytes; `data` has at least 32 more bytes, all zero.

    after_loss: the stretch may begin inside an object, which is passed over without a word.
    """
    starts = _candidates(data, size)
    heads = gather(data, starts, HEAD)
    if not len(starts):
        used = max(0, size - len(SIGNATURE) + 1)
        return Walk(starts, heads, used, ((0, used),) if used > PADDING and not after_loss else ())
    lengths = heads["size"].astype(np.int64)
    open_ended = (lengths < _SMALLEST) | (starts > size - _SMALLEST)
    ends = np.where(open_ended, size + 1, starts + lengths)
    objects, skipped = _chain(starts, ends, size, after_loss)
    if not len(objects):
        return Walk(starts[:0], heads[:0], size, tuple(skipped))
    last = objects[-1]
    if ends[last] <= size:
        used = int(ends[last])
    else:
        used, objects = int(starts[last]), objects[:-1]
    if len(objects) == len(starts):
        return Walk(starts, heads, used, tuple(skipped))
    return Walk(starts[objects], heads[objects], used, tuple(skipped))


def _candidates(data: bytes, size: int) -> Int64Array:
    """(n,) every byte at which the signature stands, rising."""
    letters = np.frombuffer(data, np.uint8)[: max(0, size - len(SIGNATURE) + 1)]
    first = np.flatnonzero(letters == _FIRST)
    whole: Int64Array = first[gather(data, first, np.dtype("<u4")) == _WORD]
    return whole


def _chain(
    starts: Int64Array, ends: Int64Array, size: int, after_loss: bool
) -> tuple[Int64Array, list[tuple[int, int]]]:
    """Indexes of the candidates that are objects (the last may stick out), and the bytes skipped."""
    count = len(starts)
    gap = np.append(starts[1:], size) - ends
    linked = (gap >= 0) & (gap <= PADDING)
    sure, breaks = np.flatnonzero(linked), np.flatnonzero(~linked)
    keep = np.ones(count, np.bool_)
    skipped: list[tuple[int, int]] = []
    here = 0
    if after_loss or starts[0] > PADDING:
        here = _next(sure, 0, count - 1)
        keep[:here] = False
        if not after_loss:
            skipped.append((0, int(starts[here])))
    while (broken := _next(breaks, here, count)) < count:
        end = int(ends[broken])
        here = int(np.searchsorted(starts, end))
        if here == count or starts[here] - end > PADDING:  # else: the signature inside its payload
            here = _next(sure, broken + 1, count)
            if here < count:
                size_is_wrong = starts[here] < end
                keep[broken] = not size_is_wrong
                skipped.append((int(starts[broken]) if size_is_wrong else end, int(starts[here])))
        keep[broken + 1 : here] = False
    return np.flatnonzero(keep), skipped


def _next(rising: Int64Array, least: int, otherwise: int) -> int:
    """The first of `rising` that is not below `least`."""
    place = int(np.searchsorted(rising, least))
    return int(rising[place]) if place < len(rising) else otherwise
