"""What checks and triggers have come to: kept as it grows, so that a new line costs no look at the old ones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from busprobe.bench.model import Follows
from busprobe.checks.expect import ExpectWatch
from busprobe.checks.trigger import TriggerWatch
from busprobe.checks.verdict import verdict
from busprobe.checks.watching import Watcher
from busprobe.engine.plan import CheckPlan
from busprobe.engine.watches import CheckWatch, limited, parts_of, result
from busprobe.grown import Growing, GrowingOccurrences, Grown, order
from busprobe.results import CheckResult, Occurrence, TriggerEntry
from busprobe.timeline import FOREVER


def settled(watchers: Sequence[Watcher], upto_ns: int) -> list[Any]:
    """Take from watchers what is decided for good and has its place: nothing will come before it any more.

    upto_ns: whatever they decide from now on is not decided before this. Returns it in order.
    """
    ready = [_ready(w, upto_ns) for w in watchers]
    while True:
        left = [order(one) for w, count in zip(watchers, ready, strict=True) for one in w.done[count:]]
        bound = min(left, default=(FOREVER, FOREVER))
        fewer = [
            next((i for i in range(count) if order(w.done[i]) >= bound), count)
            for w, count in zip(watchers, ready, strict=True)
        ]
        if fewer == ready:
            break
        ready = fewer
    taken = [one for w, count in zip(watchers, ready, strict=True) for one in w.take(count)]
    return sorted(taken, key=order)


def _ready(watcher: Watcher, upto_ns: int) -> int:
    final = watcher.final
    return next((i for i in range(final) if watcher.done[i].decided_ns >= upto_ns), final)


class CheckKept:
    """Of one check, over all segments."""

    def __init__(self, plan: CheckPlan) -> None:
        self._plan = plan
        self._grown = GrowingOccurrences()
        self._start_not_seen = self._glitches = 0
        self._known = False
        """Of the segments that are over."""
        self._blank = result(plan, [], 0, 0, when_known=False)
        self._newest = self._blank
        self._of: tuple[tuple[int, int], tuple[Occurrence, ...]] = (self._grown.version, ())
        """What the newest result was made of: the version of what is kept, and the rest as the watchers told it."""

    def __deepcopy__(self, memo: dict[int, object]) -> CheckKept:
        """A twin of an engine is asked for its log alone."""
        return CheckKept(self._plan)

    def settle(self, watchers: Sequence[Watcher], upto_ns: int) -> None:
        self._grown.add(self._limited(settled(watchers, upto_ns)))

    def end_segment(self, check: CheckWatch, glitches: int) -> None:
        """Nothing more comes of its watchers."""
        for watcher in check.watchers:
            watcher.close()
        self.settle(check.watchers, FOREVER)
        self._start_not_seen += _start_not_seen(check)
        self._glitches += glitches
        self._known |= check.when_known

    def result(self, watch: CheckWatch, glitches: int) -> CheckResult:
        """All so far; the same object while nothing has changed."""
        rest = tuple(sorted((one for w in watch.watchers for one in w.done), key=order))
        unseen = self._start_not_seen + _start_not_seen(watch)
        glitches += self._glitches
        known = self._known or watch.when_known
        before, (version, told) = self._newest, self._of
        is_same = version == self._grown.version and len(rest) == len(told)
        is_same = is_same and all(a is b for a, b in zip(rest, told, strict=True))
        if is_same and (unseen, glitches, known) == (before.start_not_seen, before.glitches, before.when_known):
            return before
        self._of = self._grown.version, rest
        check, occurrences = self._plan.check, self._grown.so_far(self._limited(rest))
        self._newest = replace(
            self._blank,
            verdict=verdict(occurrences, check.min_full, parts_of(check)),
            occurrences=occurrences,
            start_not_seen=unseen,
            glitches=glitches,
            when_known=known,
        )
        return self._newest

    def _limited(self, occurrences: Sequence[Occurrence]) -> Sequence[Occurrence]:
        check = self._plan.check
        return limited(check, occurrences) if isinstance(check, Follows) else occurrences


def _start_not_seen(watch: CheckWatch) -> int:
    first = watch.watchers[0]
    return first.start_not_seen if isinstance(first, ExpectWatch) else 0


class TriggersKept:
    """Of all triggers, over all segments."""

    def __init__(self) -> None:
        self._grown: Growing[TriggerEntry] = Growing()

    def __deepcopy__(self, memo: dict[int, object]) -> TriggersKept:
        """A twin of an engine is asked for its log alone."""
        return TriggersKept()

    def settle(self, watchers: Sequence[TriggerWatch], upto_ns: int) -> None:
        self._grown.add(settled(watchers, upto_ns))

    def entries(self, watchers: Sequence[TriggerWatch]) -> Grown[TriggerEntry]:
        """All so far."""
        return self._grown.so_far(sorted((e for w in watchers for e in w.done), key=order))
