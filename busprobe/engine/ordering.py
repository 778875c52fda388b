"""Batches of several sources in one order of time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np

from busprobe.frames import FrameBatch, InputBatch, empty_frames, join_frames

_Rows = TypeVar("_Rows", FrameBatch, InputBatch)


def split(batches: Sequence[_Rows], upto: int) -> tuple[list[_Rows], list[_Rows]]:
    """What lies before a time, and the rest; the batches are in order of time."""
    before: list[_Rows] = []
    rest: list[_Rows] = []
    for batch in batches:
        place = int(np.searchsorted(batch.t_ns, upto))
        if place:
            before.append(batch if place == len(batch) else batch.cut(0, place))
        if place < len(batch):
            rest.append(batch if place == 0 else batch.cut(place, len(batch)))
    return before, rest


def merge(batches: Sequence[FrameBatch]) -> FrameBatch:
    """Frames of several sources as one batch in order of time."""
    if not batches:
        return empty_frames()
    if len(batches) == 1:
        return batches[0]
    channels = tuple(dict.fromkeys(name for b in batches for name in b.channels))
    place = [np.array([channels.index(name) for name in b.channels], np.uint8) for b in batches]
    joined = join_frames(
        [replace(b, channels=channels, channel=p[b.channel]) for b, p in zip(batches, place, strict=True)]
    )
    return joined.in_time_order()
