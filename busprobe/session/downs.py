"""When sources were down, in words: the same of a live run and of its replay."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from busprobe.frames import Batch, Condition, FrameBatch, InputBatch, SourceState, StateBatch
from busprobe.report.quantities import exact, moment, times

SHOWN = 5
"""Downs of one source that are told one by one."""


class SourcesSeen:
    """Which sources a recording has anything of, and what states were recorded."""

    def __init__(self) -> None:
        self._names: set[str] = set()
        self._states: list[SourceState] = []

    def add(self, batch: Batch) -> None:
        match batch:
            case FrameBatch():
                self._names.update(batch.channels)
            case InputBatch():
                self._names.add(batch.box)
            case StateBatch():
                self._states += batch.rows

    def notes(self, stated: Iterable[str], start_ns: int) -> list[str]:
        """A sentence for each source that was down, or that is in `stated` and gave nothing."""
        gone = self._names.union(row.source for row in self._states)
        never = [f"{name} was never there; its signals are unknown." for name in stated if name not in gone]
        return [*never, *down_notes(self._states, start_ns)]


def down_notes(states: Sequence[SourceState], start_ns: int) -> list[str]:
    """A sentence for each source that was down: when, and for how long. states: in time order."""
    downs: dict[str, list[tuple[int, int | None]]] = {}
    for row in states:
        spans = downs.setdefault(row.source, [])
        is_down = bool(spans) and spans[-1][1] is None
        if row.condition is Condition.DOWN and not is_down:
            spans.append((row.t_ns, None))
        elif row.condition is Condition.UP and is_down:
            spans[-1] = (spans[-1][0], row.t_ns)
    return [_told(name, spans, start_ns) for name, spans in downs.items() if spans]


def _told(name: str, spans: Sequence[tuple[int, int | None]], start_ns: int) -> str:
    parts = [_span(span, start_ns) for span in spans[:SHOWN]]
    if len(spans) == 1:
        return f"{name} was down {parts[0]}; its signals are unknown there."
    more = f" and {len(spans) - SHOWN:,} more" if len(spans) > SHOWN else ""
    return f"{name} was down {times(len(spans))}: {', '.join(parts)}{more}; its signals are unknown there."


def _span(span: tuple[int, int | None], start_ns: int) -> str:
    begin, end = span
    until = "the end" if end is None else f"{moment(end, start_ns)} ({exact(end - begin)})"
    return f"from {moment(begin, start_ns)} to {until}"
