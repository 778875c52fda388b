"""When sources were down, in words: the same of a live run and of its replay."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

from busprobe.frames import Batch, Condition, FrameBatch, InputBatch, SourceState, StateBatch
from busprobe.report.quantities import exact, moment, times

SHOWN = 5
"""Downs of one source that are told one by one."""
NEWEST = 3
"""... while the run goes on."""


class SourcesSeen:
    """Which sources a recording has anything of, and what states were recorded."""

    def __init__(self) -> None:
        self._names: set[str] = set()
        self._states: list[SourceState] = []

    def add(self, batch: Batch) -> None:
        match batch:
            case FrameBatch():
                if not self._names.issuperset(batch.channels):
                    self._names.update(batch.channels[i] for i in np.unique(batch.channel).tolist())
            case InputBatch():
                if len(batch):
                    self._names.add(batch.box)
            case StateBatch():
                self._states += batch.rows

    def notes(self, stated: Iterable[str], start_ns: int) -> list[str]:
        """A sentence for each source that was down, or that is in `stated` and gave nothing."""
        absent = absent_from(self._states, start_ns) - self._names
        states = [row for row in self._states if row.source not in absent]
        return [*self.never(stated, start_ns), *down_notes(states, start_ns)]

    def never(self, stated: Iterable[str], start_ns: int) -> list[str]:
        """A sentence for each source that was never there, or that is in `stated` and gave nothing."""
        absent = absent_from(self._states, start_ns) - self._names
        gave = self._names.union(row.source for row in self._states)
        told = [f"{name} was never there; its signals are unknown." for name in sorted(absent)]
        silent = [name for name in stated if name not in gave]
        return [*told, *(f"Nothing came from {name}; its signals are unknown." for name in silent)]


def absent_from(states: Iterable[SourceState], start_ns: int) -> set[str]:
    """Sources that were down from the very start and never came up."""
    first: dict[str, SourceState] = {}
    came = set()
    for row in states:
        first.setdefault(row.source, row)
        if row.condition is Condition.UP:
            came.add(row.source)
    return {name for name, row in first.items() if row.condition is Condition.DOWN and row.t_ns <= start_ns} - came


class Down(NamedTuple):
    """A time without a source."""

    begin_ns: int
    end_ns: int | None
    """None: it has not come back."""
    note: str
    """Why, as far as it said."""


def downs_of(states: Iterable[SourceState]) -> dict[str, list[Down]]:
    """By source, when it was down. states: in time order."""
    downs: dict[str, list[Down]] = {}
    for row in states:
        spans = downs.setdefault(row.source, [])
        is_down = bool(spans) and spans[-1].end_ns is None
        if row.condition is Condition.DOWN and not is_down:
            spans.append(Down(row.t_ns, None, row.note))
        elif row.condition is Condition.UP and is_down:
            spans[-1] = spans[-1]._replace(end_ns=row.t_ns)
    return {name: spans for name, spans in downs.items() if spans}


def down_notes(states: Sequence[SourceState], start_ns: int) -> list[str]:
    """A sentence for each source that was down: when, and for how long. states: in time order."""
    return [f"{name} was {_told(spans, start_ns)}" for name, spans in downs_of(states).items()]


def down_text(spans: Sequence[Down], start_ns: int) -> str:
    """The same of one source up to now, the newest ones, each with the reason that it gave."""
    newest = spans[-NEWEST:]
    parts = ", ".join(_span(down, start_ns, "now", down.note) for down in newest)
    if len(spans) == 1:
        return f"Was down {parts}; its signals are unknown there."
    last = f", the last {len(newest)}" if len(spans) > len(newest) else ""
    return f"Was down {times(len(spans))}{last}: {parts}; its signals are unknown there."


def _told(spans: Sequence[Down], start_ns: int) -> str:
    parts = [_span(down, start_ns, "the end") for down in spans[:SHOWN]]
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
