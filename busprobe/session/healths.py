"""How sources were doing: what a live run records of it, and what a recording tells up to any time."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import replace

from busprobe.frames import StateBatch
from busprobe.health import Health, HealthRow
from busprobe.session.recorder import Recording
from busprobe.session.source_status import SourceStatus

EVERY_NS = 1_000_000_000
"""A row of each source that often at most."""


class HealthRows:
    """What a run records, from its start on."""

    def __init__(self, sources: Mapping[str, SourceStatus]) -> None:
        """The run starts now; what its sources had before is none of it."""
        self._sources = sources
        self._start = {name: status.health for name, status in sources.items()}
        self._told: dict[str, Health] = {}
        self._due_ns = 0

    def of(self, source: str) -> Health:
        """Errors and losses since the run began."""
        return self._sources[source].health.since(self._start.get(source, Health()))

    def tell(self, recorder: Recording | None, t_ns: int, *, is_end: bool = False) -> None:
        """Record how sources do of which there is news; at the end whatever it is. t_ns: how far the run has come."""
        if recorder is not None and (rows := self.due(t_ns, is_end=is_end)):
            recorder.put(StateBatch((), None, rows))

    def due(self, t_ns: int, *, is_end: bool = False) -> tuple[HealthRow, ...]:
        """The rows that are to be recorded now."""
        if not is_end and t_ns < self._due_ns:
            return ()
        self._due_ns = t_ns + EVERY_NS
        rows = []
        for source in self._sources:
            health, told = replace(self.of(source), records=0), self._told.get(source)
            if health != told and (is_end or told is None or _news(health) != _news(told)):
                self._told[source] = health
                rows.append(HealthRow(t_ns, source, health))
        return tuple(rows)


def _news(health: Health) -> tuple[object, ...]:
    """What is told as soon as it has changed."""
    return health.errors, health.lost, health.state, health.listening, health.period_ns is None


class Healths:
    """What a recording tells; grows at its end in one thread, read from others."""

    def __init__(self) -> None:
        self._rows: dict[str, list[HealthRow]] = {}

    def add(self, rows: Iterable[HealthRow]) -> None:
        for row in rows:
            self._rows.setdefault(row.source, []).append(row)

    def at(self, source: str, t_ns: int) -> Health | None:
        """The newest up to a time; None: nothing was recorded of it."""
        rows = self._rows.get(source, [])
        place = bisect_right(rows, t_ns, key=lambda row: row.t_ns)
        return rows[place - 1].health if place else None

    def last(self) -> Mapping[str, Health]:
        """By source, that of the end."""
        return {source: rows[-1].health for source, rows in self._rows.items()}
