"""What an input box did: its polls, and the edges of its lines."""

from __future__ import annotations

import numpy as np

from busprobe.analysis.intervals import IntervalTable, Parts, forward
from busprobe.analysis.survey_result import AnalogueSeen, BoxSeen, LineSeen
from busprobe.bench.model import InputBox
from busprobe.frames import InputBatch, Int64Array

_LINES = 64


class BoxTally:
    """Counts the polls of one box and the edges of its lines."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.first_ns: int | None = None
        self.last_ns: int | None = None
        self._polls = 0
        self._late = 0
        self._newest: int | None = None
        self._level: np.uint64 | None = None
        self._edges: Int64Array = np.zeros(_LINES, np.int64)
        self._least: Int64Array = np.empty(0, np.int64)
        self._greatest: Int64Array = np.empty(0, np.int64)
        self._intervals = IntervalTable()

    def add(self, batch: InputBatch) -> None:
        """More polls of this box."""
        if not len(batch):
            return
        self._polls += len(batch)
        if batch.late is not None:
            self._late += int(batch.late.sum())
        low, high = int(batch.t_ns.min()), int(batch.t_ns.max())
        self.first_ns = low if self.first_ns is None else min(self.first_ns, low)
        self.last_ns = high if self.last_ns is None else max(self.last_ns, high)
        t_ns = forward(batch.t_ns, self._newest)
        self._newest = int(t_ns[-1])
        self._intervals.add(Parts.of(np.zeros(len(batch), np.int64)), t_ns)
        self._count_edges(batch)
        if batch.analogue is not None:
            self._widen(batch.analogue.astype(np.int64))

    def _count_edges(self, batch: InputBatch) -> None:
        before = batch.mask[0] if self._level is None else self._level
        changed = batch.mask ^ np.concatenate([[before], batch.mask[:-1]])
        self._level = batch.mask[-1]
        any_change = int(np.bitwise_or.reduce(changed))
        for line in range(_LINES):
            if any_change >> line & 1:
                self._edges[line] += int((changed >> np.uint64(line) & np.uint64(1)).sum())

    def _widen(self, millivolts: Int64Array) -> None:
        limits = np.iinfo(np.int64)
        more = max(0, millivolts.shape[1] - len(self._least))
        self._least = np.append(self._least, np.full(more, limits.max))
        self._greatest = np.append(self._greatest, np.full(more, limits.min))
        lines = slice(0, millivolts.shape[1])
        self._least[lines] = np.minimum(self._least[lines], millivolts.min(axis=0))
        self._greatest[lines] = np.maximum(self._greatest[lines], millivolts.max(axis=0))

    def result(self, box: InputBox | None) -> BoxSeen | None:
        """The box in figures, None if it was never polled; box: names its lines."""
        if self.first_ns is None or self.last_ns is None:
            return None
        named = box.lines if box else ()
        names = {line.number: line.name for line in named if not line.analogue}
        analogue_names = {line.number: line.name for line in named if line.analogue}
        level = int(self._level) if self._level is not None else 0
        return BoxSeen(
            self.name,
            self._polls,
            self._late,
            self.first_ns,
            self.last_ns,
            self._intervals.stats(0, self._polls),
            tuple(
                LineSeen(n, names.get(n, ""), int(self._edges[n]), bool(level >> n & 1))
                for n in sorted({*np.flatnonzero(self._edges).tolist(), *names})
            ),
            tuple(
                AnalogueSeen(n, analogue_names.get(n, ""), int(least), int(greatest))
                for n, (least, greatest) in enumerate(zip(self._least, self._greatest, strict=True))
            ),
        )
