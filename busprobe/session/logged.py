"""The trigger log as the screens show it: what triggers logged, and when buses fell asleep and woke."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from busprobe.grown import Growing, Grown, order
from busprobe.results import BUS_KINDS, Logged, LogLine, TriggerEntry


class TriggerLog:
    """Puts both together in the order in which they could be told; what was there before is not looked at again."""

    def __init__(self) -> None:
        self._grown: Growing[Logged] = Growing()
        self._buses: list[LogLine] = []
        self._told = 0
        """So many lines of buses are in it."""
        self._before: Sequence[TriggerEntry] = ()
        """The entries that are in it."""

    def add(self, lines: Iterable[LogLine]) -> None:
        """New lines of the log, in its order; those of buses are kept."""
        self._buses += [line for line in lines if line.kind in BUS_KINDS]

    def with_entries(self, entries: Grown[TriggerEntry]) -> Grown[Logged]:
        """The whole log. entries: all of triggers so far, in the order in which they were decided."""
        known = entries.shared_with(self._before)
        if known < len(self._before):
            # Stamps have stepped back: the entries are another list.
            self._grown, self._told, known = Growing(), 0, 0
        new: list[Logged] = [*entries[known : entries.firm], *self._buses[self._told :]]
        self._grown.add(sorted(new, key=order))
        self._told, self._before = len(self._buses), entries[: entries.firm]
        return self._grown.so_far(entries[entries.firm :])
