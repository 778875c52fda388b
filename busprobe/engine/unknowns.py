"""When signals were unknown: from which time to which, for saying how long a loss lasted."""

from __future__ import annotations

import numpy as np

from busprobe.results import Stretch
from busprobe.timeline import NEVER, UNKNOWN, Changes, Timeline

MOST_STRETCHES = 10_000
"""Of one signal; how long later ones lasted is not kept."""


class Unknowns:
    """Takes the timelines of signals as they grow; what is excused (asleep) is not unknown."""

    def __init__(self) -> None:
        self._upto: dict[str, int] = {}
        self._open: dict[str, int] = {}
        """By signal that is unknown at the time reached, since when."""
        self._over: dict[str, list[Stretch]] = {}

    def __deepcopy__(self, memo: dict[int, object]) -> Unknowns:
        """A twin of a run is asked for its log alone."""
        return Unknowns()

    def take(self, name: str, line: Timeline) -> None:
        """What has come to a signal's timeline since the last time."""
        before = self._upto.get(name, NEVER)
        if line.upto_ns <= before:
            return
        self._upto[name] = line.upto_ns
        if line.t_ns[-1] >= before:
            self._add(name, line.between(before, line.upto_ns))

    def all(self) -> list[Stretch]:
        """All so far, in order of time; those that last have no end."""
        over = [one for stretches in self._over.values() for one in stretches]
        lasting = [Stretch(name, begin, None) for name, begin in self._open.items()]
        return sorted([*over, *lasting], key=lambda one: (one.begin_ns, one.signal))

    def _add(self, name: str, part: Changes) -> None:
        out = part.code == UNKNOWN
        if not out.any() and name not in self._open:
            return
        turns = np.flatnonzero(np.diff(out, prepend=name in self._open))
        for t_ns in part.t_ns[turns].tolist():
            begin = self._open.pop(name, None)
            if begin is None:
                self._open[name] = t_ns
                continue
            over = self._over.setdefault(name, [])
            if len(over) < MOST_STRETCHES:
                over.append(Stretch(name, begin, t_ns))
