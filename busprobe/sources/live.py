"""The contract of a live source: a bus adapter or an input box, read by a thread of its own.

    open ──> read, read, read ... ──> close
              │ a batch about every 50 ms (`batch_end_ns`), an empty one too, always with complete_to_ns

A source never waits longer than it takes to notice that it should stop, and it raises
`DeviceError` as soon as its device is gone; who runs it marks the gap and opens it again.
"""

from __future__ import annotations

from typing import Protocol

from busprobe.frames import FrameBatch, InputBatch
from busprobe.health import Health
from busprobe.sources.clock import Clock

BATCH_NS = 50_000_000
"""A live source closes a batch about this often."""
SHORTEST_NS = 10_000_000
"""No batch is planned to be shorter."""


def batch_end_ns(now_ns: int) -> int:
    """When to close a batch that begins now, in clock time: all sources close theirs at the same instants.

    Evaluation goes as far as all of them are complete: so it waits for none that has only just begun.
    """
    return (now_ns + SHORTEST_NS) // BATCH_NS * BATCH_NS + BATCH_NS


class LiveSource(Protocol):
    """A bus adapter or an input box."""

    @property
    def name(self) -> str:
        """The bus or box of the bench file."""
        ...

    def open(self, clock: Clock) -> None:
        """Connect. Raises DeviceError with what to plug in, permit or install."""
        ...

    def read(self) -> FrameBatch | InputBatch:
        """What came in the next 50 ms or so, with `complete_to_ns`. Raises DeviceError if the device is gone.

        Rows of which it cannot say when they came are flagged late; who runs it marks the gap.
        """
        ...

    def close(self) -> None:
        """Let go of the device; harmless twice."""
        ...

    def health(self) -> Health: ...
