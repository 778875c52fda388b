"""What a survey of a recording found: values only."""

from __future__ import annotations

from dataclasses import dataclass

from busprobe.analysis.intervals import IntervalStats
from busprobe.frames import SourceState


@dataclass(frozen=True)
class BitRate:
    """Bit rates of a channel, bit/s."""

    nominal: int
    data: int | None = None
    """Of the data part of FD frames with bit rate switch."""


@dataclass(frozen=True)
class ChannelSeen:
    """One channel of a recording."""

    name: str
    first_ns: int
    last_ns: int
    frames: int
    """All of them: data, remote and error frames."""
    errors: int
    remotes: int
    sent: int
    """Frames that the recording machine sent itself."""
    late: int
    load: float | None = None
    """Share of the time that the bus was busy, 0 to 1; None where the bit rate is not known."""
    busiest: float | None = None
    """The same within the busiest whole second; never less than over all."""
    busiest_ns: int | None = None
    """When that second began."""
    decoded: int | None = None
    """Data frames that the databases have a message for; None without a database."""

    @property
    def duration_ns(self) -> int:
        return self.last_ns - self.first_ns

    @property
    def data_frames(self) -> int:
        return self.frames - self.errors - self.remotes


@dataclass(frozen=True)
class IdentifierSeen:
    """One identifier of one channel."""

    channel: str
    identifier: int
    extended: bool
    message: str | None
    """Its name in the database."""
    count: int
    """Data frames."""
    remotes: int
    lengths: tuple[int, ...]
    """Payload lengths met, rising."""
    first_ns: int
    last_ns: int
    intervals: IntervalStats
    changing: tuple[int, ...]
    """Payload words with a 1 for each bit that was not always the same."""


@dataclass(frozen=True)
class LineSeen:
    """One input line of a box."""

    number: int
    name: str
    edges: int
    """Changes of level from one poll to the next, before any debounce."""
    high: bool
    """Its level at the last poll."""


@dataclass(frozen=True)
class AnalogueSeen:
    """One analogue line of a box."""

    number: int
    name: str
    least_mv: int
    greatest_mv: int


@dataclass(frozen=True)
class BoxSeen:
    """One input box."""

    name: str
    polls: int
    late: int
    first_ns: int
    last_ns: int
    intervals: IntervalStats
    """Of its polls: the median is the period that was achieved."""
    lines: tuple[LineSeen, ...]
    """The lines named, and others that changed."""
    analogue: tuple[AnalogueSeen, ...]


@dataclass(frozen=True)
class SurveyResult:
    """A recording in figures."""

    start_ns: int | None
    """Of a recording that says so when it starts, else its oldest stamp; None without any sample."""
    end_ns: int | None
    channels: tuple[ChannelSeen, ...]
    identifiers: tuple[IdentifierSeen, ...]
    """By channel, then 11-bit before 29-bit, then by number."""
    boxes: tuple[BoxSeen, ...]
    states: tuple[SourceState, ...]
    """The first source states recorded."""
    state_count: int

    @property
    def frames(self) -> int:
        return sum(channel.frames for channel in self.channels)
