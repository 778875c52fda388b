"""What a recording tells of its sources: which gave anything, when they were down, how they did."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

import numpy as np

from busprobe.bench.model import InputBox
from busprobe.frames import (
    DAMAGED,
    ERROR,
    SENT,
    Batch,
    BoolArray,
    Condition,
    FrameBatch,
    InputBatch,
    SourceState,
    StateBatch,
)
from busprobe.health import Health
from busprobe.session.downs import down_notes, never_text
from busprobe.session.healths import Healths, RequestsKept
from busprobe.session.request_notes import request_notes
from busprobe.session.source_notes import source_notes
from busprobe.timeline import FOREVER


class SourcesSeen:
    """Told of every batch of a recording."""

    def __init__(self) -> None:
        self.healths, self.requests = Healths(), RequestsKept()
        self._names: set[str] = set()
        self._states: list[SourceState] = []
        self._errors = Counter[str]()
        """Error frames by channel."""
        self._good = Counter[str]()
        """Frames by channel that came from the vehicle and were none."""

    def add(self, batch: Batch) -> None:
        match batch:
            case FrameBatch():
                self._errors.update(_by_channel(batch, batch.flags & np.uint8(ERROR) != 0))
                self._good.update(_by_channel(batch, batch.flags & np.uint8(ERROR | SENT) == 0))
                if not self._names.issuperset(batch.channels):
                    self._names.update(batch.channels[i] for i in np.unique(batch.channel).tolist())
            case InputBatch():
                if len(batch):
                    self._names.add(batch.box)
            case StateBatch():
                self._states += batch.rows
                self.healths.add(batch.healths)
                self.requests.add(batch.requests)

    def notes(self, stated: Iterable[str], boxes: Iterable[InputBox], start_ns: int) -> list[str]:
        """What was asked, each source that was down or that is in `stated` and gave nothing, and how each did.

        boxes: those of the bench file.
        """
        absent = self._absent(start_ns)
        states = [row for row in self._states if row.source not in absent]
        asked = request_notes(self.requests.at(FOREVER))
        return [*asked, *self.never(stated, start_ns), *self._how(boxes), *down_notes(states, start_ns)]

    def never(self, stated: Iterable[str], start_ns: int) -> list[str]:
        """A sentence for each source that was never there, or that is in `stated` and gave nothing."""
        absent = self._absent(start_ns)
        gave = self._names.union(row.source for row in self._states)
        told = [never_text(name, absent[name]) for name in sorted(absent)]
        silent = [name for name in stated if name not in gave]
        return [*told, *(f"Nothing came from {name}; its signals are unknown." for name in silent)]

    def _absent(self, start_ns: int) -> dict[str, str]:
        """Sources that were down from the very start, never came up and gave nothing; with what they said."""
        first: dict[str, SourceState] = {}
        came = set(self._names)
        for row in self._states:
            first.setdefault(row.source, row)
            if row.condition is Condition.UP:
                came.add(row.source)
        return {
            name: row.note
            for name, row in first.items()
            if name not in came and row.condition is Condition.DOWN and row.t_ns <= start_ns and row.note != DAMAGED
        }

    def _how(self, boxes: Iterable[InputBox]) -> list[str]:
        by_name, healths = {box.name: box for box in boxes}, self.healths.last()
        notes: list[str] = []
        for name in dict.fromkeys((*healths, *self._errors)):
            health = healths.get(name, Health()).at_least(self._errors[name])
            notes += source_notes(name, health, self._good[name], by_name.get(name))
        return notes


def _by_channel(batch: FrameBatch, rows: BoolArray) -> dict[str, int]:
    """How many of some rows each channel has, of those that have any."""
    counts = np.bincount(batch.channel[rows], minlength=len(batch.channels)).tolist()
    return {name: count for name, count in zip(batch.channels, counts, strict=True) if count}
