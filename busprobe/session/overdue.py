"""Signals whose newest sample is too old while logic cannot tell yet what that means.

    samples   x  x  x  x
    channel   frames up to there, then silence
    logic     ‾‾‾‾‾‾‾‾‾‾‾‾‾|                  lost, or asleep with its channel: told 2 s later, from here on
    picture   ‾‾‾‾‾‾‾‾‾‾‾‾‾|_____________     unknown at once: too old

What is made from such signals cannot be told either.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from busprobe.bench.nodes import signals_of
from busprobe.engine.history import History, Past
from busprobe.engine.plan import Plan
from busprobe.session.origin import Origin
from busprobe.timeline import UNKNOWN


class Overdue:
    """The signals of a plan; `histories` by the names of signals and derived ones."""

    def __init__(self, plan: Plan, histories: Mapping[str, History]) -> None:
        self._histories = histories
        self._operands = {name: signals_of(made.node) for name, made in plan.derived.items()}

    def at(self, t_ns: int, origins: Mapping[str, Origin]) -> dict[str, int]:
        """By signal that is overdue at a time, since when."""
        found = {}
        for name, origin in origins.items():
            if origin.newest_ns is None or origin.max_age_ns is None:
                continue
            over_ns = origin.newest_ns + origin.max_age_ns + 1
            if over_ns <= t_ns and self._histories[name].upto_ns <= t_ns:
                found[name] = over_ns
        if found:
            for name in self._operands:
                self._derive(name, t_ns, found)
        return found

    def _derive(self, name: str, t_ns: int, found: dict[str, int]) -> None:
        """Add a derived signal that is made from one of those found."""
        if name in found or self._histories[name].upto_ns > t_ns:
            return
        for operand in self._operands[name]:
            if operand in self._operands:
                self._derive(operand, t_ns, found)
        since = [found[operand] for operand in self._operands[name] if operand in found]
        if since:
            found[name] = min(since)


def unknown_from(past: Past, over_ns: int, from_ns: int) -> Past:
    """The past from about `from_ns` on, unknown since `over_ns`."""
    low, high = past.index_at(from_ns), past.index_at(over_ns) + 1
    return Past(
        np.append(past.t_ns[low:high], np.int64(over_ns)),
        np.append(past.code[low:high], np.uint8(UNKNOWN)),
        np.append(past.value[low:high], np.nan),
        np.append(past.edges[low:high], past.edges[high - 1]),
    )
