"""A slow second evaluator of flashing lamps, from the words of DEVELOPERS.md alone.

A tick is 10 ms here: a burst has its rises less than 15 ticks apart, flashes are at most 150 apart.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from naive import ASLEEP, FALSE, TRUE, UNKNOWN, Functions, Grid, both, opposite

TICK_NS = 10_000_000
BURST = 15
GAP = 150
PERIODS = 4


@dataclass(frozen=True)
class Lamp:
    """A lamp as seen at every tick. sampling: ticks from sample to sample, 0 if not sampled periodically."""

    code: list[int]
    sampling: int

    def flashing(self) -> Grid:
        told = self._told()
        return Grid([code for code, _, _ in told], [at for _, at, _ in told], [])

    def rate(self) -> Grid:
        """Per minute."""
        return self._measured(lambda start, end, count: count * 60 / (end - start) * (10**9 / TICK_NS))

    def share(self) -> Grid:
        """Per cent of the time that it is on."""
        return self._measured(lambda start, end, _count: 100 * self.code[start:end].count(TRUE) / (end - start))

    def _measured(self, measure: Callable[[int, int, int], float]) -> Grid:
        codes, told, values = [], [], []
        for flashing, at, newest in self._told():
            is_sampled = flashing == TRUE and 4 * self.sampling <= self._shortest(newest[0], newest[-1])
            values.append(measure(newest[0], newest[-1], len(newest) - 1) if is_sampled else 0.0)
            known = TRUE if is_sampled or flashing == FALSE else UNKNOWN
            codes.append(known if flashing <= TRUE else flashing)
            told.append(at)
        return Grid(codes, told, values)

    def _shortest(self, start: int, end: int) -> int:
        """The shortest pulse or pause between two starts of flashes."""
        edges = [t for t in range(start + 1, end + 1) if self.code[t] != self.code[t - 1]]
        return min(b - a for a, b in zip([start, *edges], edges, strict=False))

    def _told(self) -> list[tuple[int, int, list[int]]]:
        """(flashing or not, tick at which that is told, starts of the flashes that a rate is taken from)."""
        found: list[tuple[int, int, list[int]]] = []
        for tick, code in enumerate(self.code):
            if code > TRUE:
                found.append((code, tick, []))
                continue
            if tick == 0 or self.code[tick - 1] > TRUE:
                lost = [t for t in range(tick, len(self.code)) if self.code[t] > TRUE]
                known = range(tick, lost[0] if lost else len(self.code))
                flashes = self._flashes(known)
            said = self._known_at(tick, known, flashes)
            if said is None:
                break
            found.append(said)
        return found

    def _known_at(self, tick: int, known: range, flashes: list[int]) -> tuple[int, int, list[int]] | None:
        """What is told of a tick at which the lamp is known; None if nothing by the end of the data."""
        begun = [f for f in flashes if f <= tick]
        if not begun:
            before = self.code[known.start - 1] if known.start else ASLEEP
            return (before if tick < known.start + GAP else FALSE), tick, []
        start = begun[-1]
        chain = [start]
        for flash in reversed(begun[:-1]):
            if chain[0] - flash > GAP:
                break
            chain.insert(0, flash)
        following = [f for f in flashes if start < f <= start + GAP]
        if following:
            return TRUE, following[0], [*chain, following[0]][-PERIODS - 1 :]
        due = start + (chain[-1] - chain[-2] if len(chain) > 1 else 0)
        if start + GAP not in known:
            if known.stop == len(self.code):
                return None
            return (TRUE if tick < due else UNKNOWN), known.stop, chain[-PERIODS - 1 :]
        if tick < due:
            return TRUE, start + GAP, chain[-PERIODS - 1 :]
        return FALSE, max(tick, start + GAP), []

    def _flashes(self, known: range) -> list[int]:
        """Starts of the flashes of a stretch in which the lamp is known."""
        rises = [t for t in known[1:] if (self.code[t - 1], self.code[t]) == (FALSE, TRUE)]
        return [t for i, t in enumerate(rises) if i == 0 or t - rises[i - 1] >= BURST]


def functions(sampling: int) -> Functions:
    """What an expression may say of a lamp."""

    def steady(lamp: Grid, *, on: bool) -> Grid:
        codes = lamp.code if on else [opposite(c) for c in lamp.code]
        flashing = Lamp(lamp.code, sampling).flashing()
        pairs = zip(codes, flashing.code, strict=False)
        return Grid([both(code, opposite(flashes)) for code, flashes in pairs], flashing.told, [])

    return {
        "flashing": lambda lamp: Lamp(lamp.code, sampling).flashing(),
        "flash_rate": lambda lamp: Lamp(lamp.code, sampling).rate(),
        "on_share": lambda lamp: Lamp(lamp.code, sampling).share(),
        "steady_on": lambda lamp: steady(lamp, on=True),
        "steady_off": lambda lamp: steady(lamp, on=False),
    }
