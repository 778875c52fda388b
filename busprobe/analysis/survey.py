"""The survey: everything about a recording that needs no check, gathered batch by batch.

Memory grows with the number of identifiers and of seconds, not with the number of frames,
and any division of the same data into batches gives the identical result.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import islice

import numpy as np

from busprobe.analysis.box_table import BoxTally
from busprobe.analysis.channel_table import ChannelTally
from busprobe.analysis.identifier_table import IdentifierTable, NameOf
from busprobe.analysis.intervals import forward
from busprobe.analysis.survey_result import BitRate, ChannelSeen, IdentifierSeen, SurveyResult
from busprobe.analysis.wire_length import wire_bits
from busprobe.bench.model import InputBox
from busprobe.frames import Batch, FrameBatch, InputBatch, Int64Array, SourceState

STATES_KEPT = 100


class Survey:
    """Gathers a recording; feed it every batch, then ask for the result at any time."""

    def __init__(self) -> None:
        self._numbers: dict[str, int] = {}
        self._channels: list[ChannelTally] = []
        self._identifiers = IdentifierTable()
        self._newest: int | None = None
        self._boxes: dict[str, BoxTally] = {}
        self._states: list[SourceState] = []
        self._state_count = 0

    def add(self, batch: Batch) -> None:
        """The next batch of the recording."""
        if isinstance(batch, FrameBatch):
            self._add_frames(batch)
        elif isinstance(batch, InputBatch):
            self._boxes.setdefault(batch.box, BoxTally(batch.box)).add(batch)
        else:
            self._state_count += len(batch.rows)
            self._states.extend(islice(batch.rows, STATES_KEPT - len(self._states)))

    def _add_frames(self, batch: FrameBatch) -> None:
        if not len(batch):
            return
        numbers = np.array([self._number(name) for name in batch.channels], np.int64)
        channel: Int64Array = numbers[batch.channel]
        bits = wire_bits(batch)
        for number in np.unique(channel).tolist():
            self._channels[number].add(batch, channel == number, bits)
        t_ns = forward(batch.t_ns, self._newest)
        self._newest = int(t_ns[-1])
        self._identifiers.add(batch, channel, t_ns)

    def _number(self, name: str) -> int:
        if name not in self._numbers:
            self._numbers[name] = len(self._channels)
            self._channels.append(ChannelTally(name))
        return self._numbers[name]

    @property
    def channels(self) -> tuple[str, ...]:
        """Names of the channels met, in the order of first sight."""
        return tuple(self._numbers)

    def result(
        self,
        name_of: NameOf | None = None,
        boxes: Sequence[InputBox] = (),
        bit_rates: Mapping[str, BitRate] | None = None,
    ) -> SurveyResult:
        """What was found so far.

        name_of: names of messages; boxes: names of input lines; bit_rates: by channel, of
        those where they are known.
        """
        rates = bit_rates or {}
        identifiers = self._identifiers.result([c.name for c in self._channels], name_of)
        tallies = sorted(self._channels, key=lambda tally: tally.name)
        channels = [
            tally.result(_decoded(identifiers, tally.name) if name_of else None, rates.get(tally.name))
            for tally in tallies
        ]
        described = {box.name: box for box in boxes}
        polled = [self._boxes[name].result(described.get(name)) for name in sorted(self._boxes)]
        seen: list[ChannelSeen] = [channel for channel in channels if channel]
        met = [box for box in polled if box]
        return SurveyResult(
            min([*(c.first_ns for c in seen), *(b.first_ns for b in met)], default=None),
            max([*(c.last_ns for c in seen), *(b.last_ns for b in met)], default=None),
            tuple(seen),
            identifiers,
            tuple(met),
            tuple(self._states),
            self._state_count,
        )


def _decoded(identifiers: Sequence[IdentifierSeen], channel: str) -> int:
    return sum(one.count for one in identifiers if one.channel == channel and one.message is not None)
