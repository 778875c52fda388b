"""How identifiers are sent, as far as can be told: in a cycle, or when something changes."""

from __future__ import annotations

from busprobe.analysis.intervals import Sending
from busprobe.decode.freshness import LEARNING, learnt_age
from busprobe.frames import Int64Array


class Sendings:
    """Says of identifiers what `decode.freshness` says of their signals; what was learnt is kept."""

    def __init__(self) -> None:
        self._learnt: dict[tuple[str, int, bool], Sending] = {}

    def of(self, who: tuple[str, int, bool], count: int, early: Int64Array, cycle_ns: int | None) -> Sending:
        """By the database's cycle time, else by the first intervals.

        who: channel, identifier, whether it has 29 bits. count: frames so far. early: (LEARNING + 1,)
        times of its first frames.
        """
        if cycle_ns:
            return Sending.CYCLIC
        if count <= LEARNING:
            return Sending.SINGLE if count == 1 else Sending.TOO_FEW
        if who not in self._learnt:
            self._learnt[who] = Sending.ON_CHANGE if learnt_age(early) is None else Sending.CYCLIC
        return self._learnt[who]
