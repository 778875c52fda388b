"""Triggers: a line in the log whenever a condition begins to hold."""

from __future__ import annotations

from busprobe.checks.watching import Say, Watched, Watcher, rises
from busprobe.results import TriggerEntry


class TriggerWatch(Watcher):
    def __init__(
        self, name: str, on: Watched, keep_ns: tuple[int, int] | None, say: Say, *, is_marker: bool = False
    ) -> None:
        super().__init__(on)
        self._name = name
        self._keep = keep_ns
        self._say = say
        self._is_marker = is_marker
        self.done: list[TriggerEntry] = []

    def _judge(self, start_ns: int, end_ns: int) -> None:
        times, _unseen = rises(self._watched[0], start_ns, end_ns)
        for t in times.tolist():
            start, end = (None, None) if self._keep is None else (t - self._keep[0], t + self._keep[1])
            entry = TriggerEntry(self._name, t, self.decided_at(t), self._say(t), start, end, self._is_marker)
            self.done.append(entry)

    def finish(self, end_ns: int) -> None:
        """Nothing is open in a trigger when the data end."""
