"""How sources were doing and who asked: what a live run records of it, what a recording tells up to any time."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

from busprobe.frames import StateBatch
from busprobe.health import Health, HealthRow, RequestsNow, RequestsRow
from busprobe.session.recorder import Recording
from busprobe.session.source_status import SourceStatus

EVERY_NS = 1_000_000_000
"""A row of each source that often at most."""


class HealthRows:
    """What a run records, from its start on.

    asked: what is known of requests now.
    """

    def __init__(self, sources: Mapping[str, SourceStatus], asked: Callable[[], Sequence[RequestsNow]] = tuple) -> None:
        """The run starts now; what its sources had before is none of it, nor what was asked before."""
        self._sources = sources
        self._asked = asked
        self._asked_before = {one.bus: one for one in asked()}
        self._told_asked: dict[str, RequestsNow] = {}
        self._start = {name: status.health for name, status in sources.items()}
        self._told: dict[str, Health] = {}
        self._due_ns = self._told_ns = 0

    def of(self, source: str) -> Health:
        """Errors and losses since the run began."""
        return self._sources[source].health.since(self._start.get(source, Health()))

    def requests(self) -> tuple[RequestsNow, ...]:
        """What was asked since the run began, by bus."""
        before = self._asked_before
        return tuple(one.since(before[one.bus]) if one.bus in before else one for one in self._asked())

    def tell(self, recorder: Recording | None, t_ns: int, *, is_end: bool = False) -> None:
        """Record of what there is news; at the end whatever it is. t_ns: how far the run has come, or its start."""
        if recorder is None or not (is_end or t_ns >= self._due_ns):
            return
        t_ns = self._told_ns = max(t_ns, self._told_ns)
        rows, asked = self.due(t_ns, is_end=is_end), self._news_of_requests(t_ns, is_end=is_end)
        if rows or asked:
            recorder.put(StateBatch((), None, rows, asked))

    def _news_of_requests(self, t_ns: int, *, is_end: bool) -> tuple[RequestsRow, ...]:
        is_first = not self._told_asked and not is_end  # at its start; what has come since is told later
        now = tuple(one.since(one) for one in self._asked_before.values()) if is_first else ()
        news = [one for one in now or self.requests() if one != self._told_asked.get(one.bus)]
        self._told_asked |= {one.bus: one for one in news}
        return tuple(RequestsRow(t_ns, one) for one in news)

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


class RequestsKept:
    """What a recording tells of requests; grows as `Healths` does."""

    def __init__(self) -> None:
        self._rows: dict[str, list[RequestsRow]] = {}

    def add(self, rows: Iterable[RequestsRow]) -> None:
        for row in rows:
            self._rows.setdefault(row.requests.bus, []).append(row)

    def at(self, t_ns: int) -> tuple[RequestsNow, ...]:
        """By bus the newest up to a time, as far as somebody asks there or is missed."""
        found = []
        for rows in tuple(self._rows.values()):
            place = bisect_right(rows, t_ns, key=lambda row: row.t_ns)
            found += [rows[place - 1].requests] if place else []
        return tuple(found)

    def shown(self, t_ns: int) -> tuple[RequestsNow, ...]:
        """As far as somebody asks."""
        return tuple(one for one in self.at(t_ns) if one.is_polled or one.other is not None)

    def unasked(self, t_ns: int) -> tuple[str, ...]:
        """That nobody asks for what the bench file polls."""
        return tuple(one.unasked for one in self.at(t_ns) if one.unasked)
