"""How a source is doing in a live run."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import takewhile

from busprobe.health import Health
from busprobe.session.gaps import Unsure
from busprobe.session.readers import Reader
from busprobe.timeline import NEVER

PERIODS = 3
"""A source that is polled is silent after this many of its periods, where that is longer than its patience."""


@dataclass
class SourceStatus:
    """A source in a live run, for the status line."""

    reader: Reader
    patience_s: float
    """So long it may get no further and is no silence."""
    is_polled: bool = False
    """An input box."""
    is_up: bool = False
    was_up: bool = False
    trouble: str = ""
    """What it said when it could not be opened or was lost."""
    complete_to_ns: int | None = None
    progress_s: float = 0.0
    """Monotonic time at which it last got further."""
    rows: int = 0
    errors: int = 0
    """Error frames among them."""
    own: int = 0
    """Frames among them that this program sent."""
    gaps: int = 0
    """How often it was declared down."""
    said_ns: int = NEVER
    """Time of its newest row of state."""
    is_said_down: bool = False
    """Whether that row is of this run, and says that it is down."""

    unsure: Unsure = field(default_factory=Unsure)
    earlier: Health = field(default_factory=Health)
    """Errors and losses of connections that are gone."""
    is_gone: bool = False

    def lost(self, text: str, health: Health | None) -> None:
        """It is gone, and says so in `text`. health: how the connection that was lost had been doing."""
        self.trouble, self.is_gone = text, True
        if health is not None:
            self.earlier = health.counted_on(self.earlier)

    def is_silent(self, now_s: float, busy_s: float = 0.0) -> bool:
        """Whether its reader has got no further for too long; a box that answers slowly takes its time.

        now_s: monotonic time. busy_s: patience besides, where the machine is busy.
        """
        since_s = now_s - self.progress_s - busy_s
        if since_s <= self.patience_s:
            return False
        if not self.is_polled:
            return True
        health = self.reader.source.health()
        period_ns = 2 * health.uncertainty_ns if health.period_ns is None else health.period_ns
        return since_s > PERIODS * period_ns / 1e9

    @property
    def good(self) -> int:
        """Frames or polls that came from the vehicle, and were no error frames."""
        return self.rows - self.errors - self.own

    @property
    def health(self) -> Health:
        """Errors and losses are those of all its connections; error frames count, whoever tells of them."""
        now, before = self.reader.source.health(), self.earlier
        if self.is_gone:
            now = replace(now, errors=0, lost=0, faults=())
        return now.counted_on(before).at_least(self.errors)


def holding_back(status: Mapping[str, SourceStatus], now_s: float, busy_s: float) -> list[str]:
    """The sources with silent readers that evaluation would wait for.

    To be asked just before it goes on: a source that gives something until then has had no gap.
    """
    up = [(one.complete_to_ns or NEVER, name) for name, one in status.items() if one.is_up]
    return [name for _, name in takewhile(lambda it: status[it[1]].is_silent(now_s, busy_s), sorted(up))]
