"""How often a box is really read, and what that means for its lines."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from itertools import pairwise

from busprobe.bench.model import InputBox
from busprobe.bench.units import duration_text
from busprobe.sources.wire_time import short_ms

NEWEST = 101
"""The achieved period is the median over this many samples."""
BOUNCE_NS = 2_000_000
"""Contacts bounce for a few ms: sampled more slowly than this, it cannot be measured (common practice, no source)."""
WOBBLE = 1.05
"""An achieved period is that much above the one asked for without being slower: polls wait for their turn."""
SLOWER = 1.2
"""A box slower than its period by this factor is told of."""


class Pace:
    """Time from one sample to the next."""

    def __init__(self) -> None:
        self._times: deque[int] = deque(maxlen=NEWEST)

    def add(self, times_ns: Iterable[int]) -> None:
        self._times.extend(times_ns)

    @property
    def period_ns(self) -> int | None:
        """Median of the newest gaps; None before the second sample."""
        gaps = sorted(after - before for before, after in pairwise(self._times))
        return gaps[len(gaps) // 2] if gaps else None


def is_bounce_measurable(period_ns: int) -> bool:
    """Whether bounce can be seen on lines that are read every `period_ns`."""
    return period_ns <= WOBBLE * BOUNCE_NS


def pace_notes(box: InputBox, period_ns: int) -> list[str]:
    """What a user has to know of a box that is read every `period_ns`, a sentence each."""
    title, every = f'the input box "{box.name}"', short_ms(period_ns)
    notes = []
    if period_ns > SLOWER * box.period_ns:
        asked = duration_text(box.period_ns)
        notes.append(f"T{title[1:]} is read every {every}, not every {asked} as the bench file says.")
    if not is_bounce_measurable(period_ns):
        notes.append(f"Bounce is not measurable on {title}: it is read every {every}, slower than every 2 ms.")
    for line in box.lines:
        if 0 < WOBBLE * line.debounce_ns < 2 * period_ns:
            notes.append(
                f'The debounce of "{line.name}", {duration_text(line.debounce_ns)}, is below twice the achieved '
                f"period of {title}: 2 × {every} = {short_ms(2 * period_ns)}."
            )
    return notes
