"""The contract of a live source: a bus adapter or an input box, read by a thread of its own.

    open ──> read, read, read ... ──> close
              │ a batch about every 50 ms, an empty one too, always with complete_to_ns

A source never waits longer than it takes to notice that it should stop, and it raises
`DeviceError` as soon as its device is gone; who runs it marks the gap and opens it again.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from busprobe.frames import FrameBatch, InputBatch
from busprobe.sources.clock import Clock

BATCH_NS = 50_000_000
"""A live source closes a batch about this often."""


@dataclass(frozen=True)
class Health:
    """How a source has been doing since it was opened; for people, never for logic."""

    records: int = 0
    """Frames or polls given."""
    errors: int = 0
    """Error frames, exceptions and time-outs of the box, unreadable lines."""
    lost: int = 0
    """Records that the driver says it dropped."""
    uncertainty_ns: int = 0
    """How exactly its records are stamped."""
    period_ns: int | None = None
    """Input box: achieved time between polls, median of the newest ones."""
    state: str = ""
    """Of a bus: "active", "passive", "off"; of a box: what it last said was wrong; else empty."""
    listening: str = ""
    """Of a bus: how it is kept from sending; see `listening`."""


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
