"""What was heard of every identifier, as the screens take it."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from busprobe.analysis.frame_tally import FrameTally, TallyRows
from busprobe.analysis.intervals import Sending
from busprobe.decode.freshness import LEARNING
from busprobe.decode.layout import MessageLayout
from busprobe.session.sendings import sending_of
from busprobe.session.snapshot import FrameTable

Who = tuple[str, int, bool]
"""Channel, identifier, whether it has 29 bits."""


class FrameTables:
    """Tables of one board's tallies. What more frames cannot change is kept from one to the next."""

    def __init__(self, messages_of: Callable[[tuple[str, ...]], Mapping[Who, MessageLayout]]) -> None:
        """messages_of: the messages of some channels."""
        self._messages_of = messages_of
        self._keys = np.empty(0, np.int64)
        self._names: tuple[str, ...] = ()
        self._cycles: list[int | None] = []
        """Cycle times that the databases give, ns."""
        self._learnt: list[Sending | None] = []
        """Of the rows of `_keys` that have come often enough; None: not looked at yet."""

    def table(self, tally: FrameTally) -> FrameTable:
        rows = tally.rows
        channel = (rows.key >> 30).astype(np.uint8)
        if not np.array_equal(rows.key, self._keys):
            self._take_keys(tally)
        total = np.bincount(channel, weights=rows.bits, minlength=len(tally.channels))
        return FrameTable(
            tally.channels,
            channel,
            (rows.key & 0x1FFF_FFFF).astype(np.uint32),
            (rows.key >> 29 & 1).astype(np.uint8),
            rows.count,
            rows.period_ns,
            rows.jitter_ns,
            rows.last_ns,
            rows.length,
            rows.words,
            rows.changed | rows.changed_before,
            rows.changed_ns,
            rows.bits / np.maximum(total[channel], 1),
            self._names,
            self._sending(rows),
        )

    def _take_keys(self, tally: FrameTally) -> None:
        key = self._keys = tally.rows.key
        columns = (key >> 30).tolist(), (key & 0x1FFF_FFFF).tolist(), (key >> 29 & 1).tolist()
        who = [(tally.channels[c], i, bool(e)) for c, i, e in zip(*columns, strict=True)]
        messages = self._messages_of(tally.channels)
        found = [messages.get(one) for one in who]
        self._names = tuple("" if message is None else message.name for message in found)
        self._cycles = [None if message is None else message.cycle_time_ns for message in found]
        self._learnt = [None] * len(who)

    def _sending(self, rows: TallyRows) -> tuple[Sending, ...]:
        found = list(self._learnt)
        few = (rows.count <= LEARNING).tolist()
        for i, (learnt, is_few) in enumerate(zip(self._learnt, few, strict=True)):
            if learnt is None or is_few:
                found[i] = sending_of(int(rows.count[i]), rows.early[i], self._cycles[i])
                if not is_few:
                    self._learnt[i] = found[i]
        return tuple(found)  # type: ignore[arg-type]
