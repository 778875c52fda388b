"""Flashing lamps: whether, how often and how long on.

    x      _|‾|_|‾|______|‾|_|‾|______|‾|_|‾|________________
            F1           F2           F3           (no flash)
    true    |‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾|_________

A *flash* is a burst of pulses whose rises are less than 150 ms apart; it starts at the first
of them. A lamp is *flashing* from the first of at least two flashes, none further apart than
1.5 s, until the flash that fails to come: one period, as long as the last one, after the last
flash. That takes a look ahead: what holds from a flash on is told at the next flash, or 1.5 s
later. For 1.5 s after the lamp became known nothing is told, unless a flash starts.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from busprobe.timeline import ASLEEP, FALSE, NEVER, TRUE, UNKNOWN, Changes, no_changes

BURST_NS = 150_000_000
GAP_NS = 1_500_000_000
PERIODS = 4
"""Rate and share are taken over this many newest periods, or as many as there are."""
PULSES_PER_SAMPLE = 4
"""A rate needs this many samples of the lamp in its shortest pulse or pause."""


@dataclass(frozen=True, slots=True)
class Period:
    """From the start of one flash to the start of the next."""

    length_ns: int
    on_ns: int
    shortest_ns: int
    """Shortest pulse or pause in it."""
    sampling_ns: int
    """Longest time between the samples that showed its edges."""


class Flash:
    """One of `flashing`, `flash_rate` (per minute) and `on_share` (per cent).

    sampling: how far before an edge of the operand its previous sample lies, ns; 0 where
    the operand is not sampled periodically.
    """

    def __init__(self, kind: str, sampling: Callable[[int], int]) -> None:
        self._kind = kind
        self.is_quantity = kind != "flashing"
        self._sampling = sampling
        self._code = ASLEEP
        self._settled = NEVER
        self._out: tuple[int, float, int] | None = None
        self._points: list[tuple[int, int, float, int]] = []
        self._warm_until: int | None = None
        self._warm_code = ASLEEP
        """What is said until then: lost or asleep, as the operand was before."""
        self._rise = NEVER
        self._forget_flash()

    def step(self, parts: Sequence[Changes], upto_ns: int) -> Changes:
        (part,) = parts
        self._points = []
        settled = part.settled if part.settled is not None else np.full(len(part), NEVER, np.int64)
        quiet = set(part.quiet.tolist())
        for t, code, barrier in zip(part.t_ns.tolist(), part.code.tolist(), settled.tolist(), strict=True):
            self._time_out(t)
            self._take(t, code, barrier, is_edge=t not in quiet)
            self._code, self._settled = code, barrier
        self._time_out(upto_ns)
        return self._changes(upto_ns if self._start is None else self._start)

    def _forget_flash(self) -> None:
        self._start: int | None = None
        self._in_stretch = False
        self._periods: deque[Period] = deque(maxlen=PERIODS)
        self._edge = NEVER
        self._on_ns = self._sampling_ns = 0
        self._shortest_ns = GAP_NS

    def _take(self, t: int, code: int, barrier: int, *, is_edge: bool) -> None:
        """One change point of the operand."""
        if code > TRUE:
            self._lose(t, code, barrier)
        elif self._code > TRUE:
            self._warm_until, self._warm_code = t + GAP_NS, self._code
        elif code == TRUE and self._code == FALSE and is_edge:
            self._rises(t, barrier)
        elif code == FALSE and self._code == TRUE and self._start is not None:
            self._measure(t)
            self._on_ns += t - self._rise
        if code <= TRUE and self._start is None:
            self._put(t, FALSE if self._warm_until is None else self._warm_code, 0.0, barrier)

    def _sampling_at(self, t: int) -> int:
        return self._sampling(t) if self.is_quantity else 0

    def _rises(self, t: int, barrier: int) -> None:
        self._warm_until = None
        goes_on = t - self._rise < BURST_NS
        if self._start is not None and goes_on:
            self._measure(t)
        elif self._start is None and not goes_on:
            self._start, self._edge = t, t
            self._sampling_ns = self._sampling_at(t)
        elif self._start is not None:
            self._measure(t)
            length = t - self._start
            self._periods.append(Period(length, self._on_ns, self._shortest_ns, self._sampling_ns))
            self._segment(self._start, max(t, barrier))
            self._start, self._in_stretch = t, True
            self._on_ns, self._shortest_ns, self._sampling_ns = 0, GAP_NS, self._sampling_at(t)
        self._rise = t

    def _measure(self, t: int) -> None:
        """An edge within a period: the pulse or pause before it, and how it was sampled."""
        self._shortest_ns = min(self._shortest_ns, t - self._edge)
        self._sampling_ns = max(self._sampling_ns, self._sampling_at(t))
        self._edge = t

    def _lose(self, t: int, code: int, barrier: int) -> None:
        if self._start is not None:
            told = max(t, barrier)
            due = self._start
            if self._in_stretch:
                self._segment(self._start, told)
                due += self._periods[-1].length_ns
            if due < t:
                self._put(due, UNKNOWN, 0.0, told)
        self._forget_flash()
        self._rise = NEVER
        self._warm_until = None
        self._put(t, code, 0.0, barrier)

    def _time_out(self, t: int) -> None:
        """Everything before `t` is seen: settle what that tells."""
        if self._start is not None and t > self._start + GAP_NS:
            over = self._start + GAP_NS
            told = max(over, self._settled)
            start = self._start
            if self._in_stretch:
                self._segment(start, told)
                self._put(start + self._periods[-1].length_ns, FALSE, 0.0, told)
            else:
                self._put(start, FALSE, 0.0, told)
            self._forget_flash()
        if self._warm_until is not None and t > self._warm_until:
            self._put(self._warm_until, FALSE, 0.0, self._settled)
            self._warm_until = None

    def _segment(self, start: int, told: int) -> None:
        """Flashing from `start` on, at the rate of the newest periods."""
        code, value = TRUE, 0.0
        if self.is_quantity:
            periods = self._periods
            if PULSES_PER_SAMPLE * max([p.sampling_ns for p in periods]) > min([p.shortest_ns for p in periods]):
                code = UNKNOWN
            elif self._kind == "flash_rate":
                value = len(periods) * 60e9 / sum([p.length_ns for p in periods])
            else:
                value = 100.0 * sum([p.on_ns for p in periods]) / sum([p.length_ns for p in periods])
        self._put(start, code, value, told)

    def _put(self, t: int, code: int, value: float, settled: int) -> None:
        if self.is_quantity and code == FALSE:
            code = TRUE
        state = (code, value, settled if settled > t else NEVER)
        if state != self._out:
            self._out = state
            self._points.append((t, *state))

    def _changes(self, upto_ns: int) -> Changes:
        if not self._points:
            return no_changes(upto_ns, quantity=self.is_quantity)
        t, code, value, settled = zip(*self._points, strict=True)
        codes = np.array(code, np.uint8)
        values = np.where(codes == TRUE, np.array(value), np.nan) if self.is_quantity else None
        return Changes(np.array(t, np.int64), codes, values, upto_ns, np.array(settled, np.int64))
