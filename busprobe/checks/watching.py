"""What every check and trigger needs to watch conditions of the network."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from busprobe.checks.doubt import Doubt
from busprobe.checks.network import Network
from busprobe.frames import Int64Array
from busprobe.results import SignalTexts
from busprobe.timeline import ASLEEP, FALSE, FOREVER, NEVER, TRUE, Timeline

Say = Callable[[int], SignalTexts]
"""What the signals of a check said at a time, as text."""


@dataclass
class Watched:
    """One condition of the network, read onward from where it was last read."""

    network: Network
    index: int
    is_event: bool = False
    code: int = ASLEEP
    """What held just before `start_ns`."""

    @property
    def timeline(self) -> Timeline:
        return self.network.timeline(self.index)

    def doubt_at(self, t_ns: int) -> Doubt:
        return self.network.doubt_at(self.index, t_ns)


def is_known_in(watched: Watched, start_ns: int, end_ns: int) -> bool:
    """Whether a condition is known to be true or false anywhere in a span."""
    return watched.code <= TRUE or bool((watched.timeline.between(start_ns, end_ns).code <= TRUE).any())


def rises(watched: Watched, start_ns: int, end_ns: int) -> tuple[Int64Array, Int64Array]:
    """Times at which a condition begins to hold, and those at which its start was not seen.

    For an event every instant at which it holds is a beginning.
    """
    part = watched.timeline.between(start_ns, end_ns)
    if not len(part):
        return part.t_ns, part.t_ns
    starts = part.code == TRUE
    if watched.is_event:
        return part.t_ns[starts], part.t_ns[:0]
    before = np.concatenate([np.array([watched.code], part.code.dtype), part.code[:-1]])
    seen = starts & (before == FALSE)
    if len(part.quiet):
        seen &= ~np.isin(part.t_ns, part.quiet)
    unseen = starts & (before != TRUE) & ~seen
    return part.t_ns[seen], part.t_ns[unseen]


def merged(watched: tuple[Watched, ...], start_ns: int, end_ns: int) -> Iterator[tuple[int, tuple[int, ...]]]:
    """(t_ns, code of each condition from then on) at every change of any, in order."""
    parts = [w.timeline.between(start_ns, end_ns) for w in watched]
    some = [part.t_ns for part in parts if len(part)]
    if not some:
        return iter(())
    times = some[0] if len(some) == 1 else np.unique(np.concatenate(some))
    columns = []
    for w, part in zip(watched, parts, strict=True):
        codes = np.concatenate([np.array([w.code], part.code.dtype), part.code])
        columns.append(codes[np.searchsorted(part.t_ns, times, "right")].tolist())
    return zip(times.tolist(), zip(*columns, strict=True), strict=True)


class Watcher:
    """Base of checks and triggers: reads its conditions onward, all to the same time."""

    def __init__(self, *watched: Watched) -> None:
        self._watched = watched
        self.upto_ns = NEVER
        """Everything before this time has been judged."""
        self.starts_ns = FOREVER
        """When the data begin: before that, and as long as nothing came, there is nothing to judge."""
        self.done: list[Any] = []
        """What was decided and not taken yet."""
        self.logged = 0
        """How much of that has been logged."""

    def advance(self) -> None:
        end = min(w.timeline.upto_ns for w in self._watched)
        if end <= max(self.upto_ns, self.starts_ns):
            return
        self._judge(self.upto_ns, end)
        for w in self._watched:
            w.code = w.timeline.code_at(end - 1)
        self.upto_ns = end

    def _judge(self, start_ns: int, end_ns: int) -> None:
        raise NotImplementedError

    @property
    def final(self) -> int:
        """How many of the first ones done will never look otherwise."""
        return len(self.done)

    def take(self, count: int) -> list[Any]:
        """The first ones done, which are kept elsewhere from now on."""
        taken = self.done[:count]
        del self.done[:count]
        self.logged -= count
        return taken

    def close(self) -> None:
        """The data have ended, and so has what may still change in what was decided."""

    def decided_at(self, t_ns: int) -> int:
        """When all conditions at a time can be told."""
        return max(w.timeline.settled_at(t_ns) for w in self._watched)
