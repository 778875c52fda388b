"""When sources were down, in words: the same of a live run and of its replay."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from busprobe.frames import Condition, SourceState
from busprobe.report.quantities import exact, moment, times

SHOWN = 5
"""Downs of one source that are told one by one."""
NEWEST = 3
"""... while the run goes on."""


class Down(NamedTuple):
    """A time without a source."""

    begin_ns: int
    end_ns: int | None
    """None: it has not come back."""
    note: str
    """Why, as far as it said."""


@dataclass(frozen=True)
class DownsNow:
    """When a source was down up to an instant."""

    count: int = 0
    newest: tuple[Down, ...] = ()
    """The last ones; one that lasts at the instant has no end."""

    @property
    def last(self) -> Down | None:
        """The one that lasts at the instant; None: it was up."""
        return self.newest[-1] if self.newest and self.newest[-1].end_ns is None else None


class Downs:
    """When sources were down, kept as their states come: asked for any instant it looks at no more than a few.

    One thread may add while another one asks.
    """

    def __init__(self) -> None:
        self._spans: dict[str, list[Down]] = {}
        self._begins: dict[str, list[int]] = {}
        self._times: dict[str, list[int]] = {}

    def add(self, rows: Iterable[SourceState]) -> None:
        """States; those of one source in time order."""
        for row in rows:
            spans = self._spans.setdefault(row.source, [])
            begins = self._begins.setdefault(row.source, [])
            self._times.setdefault(row.source, []).append(row.t_ns)
            is_down = bool(spans) and spans[-1].end_ns is None
            if row.condition is Condition.DOWN and not is_down:
                spans.append(Down(row.t_ns, None, row.note))
                begins.append(row.t_ns)
            elif row.condition is Condition.UP and is_down:
                spans[-1] = spans[-1]._replace(end_ns=row.t_ns)

    def knows(self, source: str) -> bool:
        """Whether there is any state of it."""
        return source in self._times

    def has_state(self, source: str, from_ns: int, to_ns: int) -> bool:
        """Whether it went down or came back in a time, both ends included."""
        times_ns = self._times.get(source, [])
        return bisect_left(times_ns, from_ns) < bisect_right(times_ns, to_ns)

    def whole(self) -> dict[str, list[Down]]:
        """By source, all of them."""
        return {name: spans for name, spans in self._spans.items() if spans}

    def of(self, source: str, t_ns: int) -> DownsNow:
        """Of one source up to an instant."""
        count = bisect_right(self._begins.get(source, []), t_ns)
        if not count:
            return DownsNow()
        newest = self._spans[source][max(count - NEWEST, 0) : count]
        end_ns = newest[-1].end_ns
        if end_ns is not None and end_ns > t_ns:
            newest[-1] = newest[-1]._replace(end_ns=None)
        return DownsNow(count, tuple(newest))

    def at(self, t_ns: int) -> dict[str, DownsNow]:
        """By source, of those that were down at all up to an instant."""
        found = {name: self.of(name, t_ns) for name in list(self._spans)}
        return {name: downs for name, downs in found.items() if downs.count}


def never_text(name: str, why: str) -> str:
    """That a source was never there. why: what it said, in one or more lines, if anything."""
    told = f": {why.splitlines()[0].rstrip('.')}" if why else ""
    return f"{name} was never there{told}; its signals are unknown."


def down_notes(states: Sequence[SourceState], start_ns: int) -> list[str]:
    """A sentence for each source that was down: when, for how long, and why. states: in time order."""
    downs = Downs()
    downs.add(states)
    return [f"{name} was {_told(spans, start_ns)}" for name, spans in downs.whole().items()]


def down_text(downs: DownsNow, start_ns: int) -> str:
    """The same of one source up to now, the newest ones, each with the reason that it gave."""
    parts = ", ".join(_span(down, start_ns, "now", down.note) for down in downs.newest)
    if downs.count == 1:
        return f"Was down {parts}; its signals are unknown there."
    last = f", the last {len(downs.newest)}" if downs.count > len(downs.newest) else ""
    return f"Was down {times(downs.count)}{last}: {parts}; its signals are unknown there."


def _told(spans: Sequence[Down], start_ns: int) -> str:
    befores = ("", *(down.note for down in spans))
    shown = zip(spans[:SHOWN], befores, strict=False)
    parts = [_span(down, start_ns, "the end", down.note if down.note != before else "") for down, before in shown]
    if len(spans) == 1:
        return f"down {parts[0]}; its signals are unknown there."
    more = f" and {len(spans) - SHOWN:,} more" if len(spans) > SHOWN else ""
    return f"down {times(len(spans))}: {', '.join(parts)}{more}; its signals are unknown there."


def _span(down: Down, start_ns: int, now: str, note: str = "") -> str:
    """now: what stands for the end of one that has not come back."""
    length = "" if down.end_ns is None else exact(down.end_ns - down.begin_ns)
    why = "; ".join(part for part in (length, note.rstrip(".")) if part)
    until = now if down.end_ns is None else moment(down.end_ns, start_ns)
    return f"from {moment(down.begin_ns, start_ns)} to {until}" + (f" ({why})" if why else "")
