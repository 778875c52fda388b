"""The check `when ... expect ... within`, and the two halves of `follows`."""

from __future__ import annotations

from busprobe.checks.doubt import Doubt
from busprobe.checks.occurrence import MISSED, OpenOccurrence, Overdue, Terms
from busprobe.checks.watching import Say, Watched, Watcher, is_known_in, merged, rises
from busprobe.results import Occurrence, SignalTexts


class ExpectWatch(Watcher):
    """Opens an occurrence at every rise of `when` and carries each to its outcome."""

    def __init__(self, when: Watched, expect: Watched, terms: Terms, say: Say) -> None:
        super().__init__(when, expect)
        self._when, self._expect = when, expect
        self._terms = terms
        self._say = say
        self._open: list[OpenOccurrence] = []
        self._overdue: list[Overdue] = []
        self.done: list[Occurrence] = []
        self.start_not_seen = 0
        self.when_known = False

    def say(self, t_ns: int) -> SignalTexts:
        return self._say(t_ns)

    def expect_doubt_at(self, t_ns: int) -> Doubt:
        return self._expect.doubt_at(t_ns)

    def _judge(self, start_ns: int, end_ns: int) -> None:
        begins, unseen = rises(self._when, start_ns, end_ns)
        self.start_not_seen += len(unseen)
        self.when_known = self.when_known or is_known_in(self._when, start_ns, end_ns)
        goes_on = bool(self._open or self._overdue)
        if not goes_on and not len(begins):
            return
        begin_times = set(begins.tolist())
        first = start_ns if goes_on else int(begins[0])
        for t, (when, expect) in merged(self._watched, start_ns, end_ns):
            if t < first:
                continue
            for occurrence in self._open:
                occurrence.until(t)
                occurrence.at(t, when, expect)
            if t in begin_times:
                self._open.append(
                    OpenOccurrence(self._terms, self, t, expect, self._when.doubt_at(t)),
                )
            self._sweep()
            self._follow(t, when, expect)
        for occurrence in self._open:
            occurrence.until(end_ns)
        self._sweep()

    def finish(self, end_ns: int) -> None:
        """The data end at `end_ns`; what is still open is cut short, or has held so far."""
        for occurrence in self._open:
            occurrence.finish(end_ns)
        self._sweep()

    @property
    def final(self) -> int:
        return min((overdue.place for overdue in self._overdue), default=len(self.done))

    def take(self, count: int) -> list[Occurrence]:
        for overdue in self._overdue:
            overdue.place -= count
        return super().take(count)

    def close(self) -> None:
        self._overdue.clear()

    def _sweep(self) -> None:
        for occurrence in self._open:
            if (result := occurrence.result) is not None:
                if result.note == MISSED:
                    self._overdue.append(Overdue(occurrence, result, len(self.done)))
                self.done.append(result)
        self._open = [o for o in self._open if o.result is None]

    def _follow(self, t: int, when: int, expect: int) -> None:
        """Add to failures told before what came of them; their lines in the log stay as they are."""
        for overdue in self._overdue:
            overdue.at(t, when, expect, self.expect_doubt_at)
            self.done[overdue.place] = overdue.failed
        self._overdue = [o for o in self._overdue if not o.is_over]
