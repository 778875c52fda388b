"""All change points of a signal, kept for looking back: grows at its end, read from other threads."""

from __future__ import annotations

from array import array
from bisect import bisect_right, insort
from collections.abc import Sequence
from dataclasses import dataclass
from operator import itemgetter
from typing import NamedTuple

import numpy as np

from busprobe.decode.lines import Burst
from busprobe.engine.tap_past import TapPast
from busprobe.frames import FloatArray, Int64Array, UInt8Array
from busprobe.timeline import ASLEEP, NEVER, TRUE, Changes


class Past(NamedTuple):
    """The change points known at some moment; the arrays are never written to again."""

    t_ns: Int64Array
    code: UInt8Array
    value: FloatArray
    """(n,) value of a quantity, NaN where unknown; of a condition its code."""
    edges: Int64Array
    """(n,) changes from known to known up to and with each point."""

    def index_at(self, t_ns: int) -> int:
        return max(int(self.t_ns.searchsorted(t_ns, "right")) - 1, 0)


class Bounce(NamedTuple):
    """What the debounce of an input line has taken out so far."""

    glitches: int = 0
    """Bursts of transitions after which the level was as before."""
    extra: int = 0
    """Transitions beyond the one of each change of level."""
    longest_ns: int = 0
    """Longest burst that ended in a change of level: how long its contact bounces."""
    chatters: int = 0
    """Bursts that went on for too long, with the signal unknown meanwhile."""
    transitions: int = 0
    """All changes of level of the line itself, before the debounce."""
    is_chattering: bool = False
    """Such a burst goes on now."""

    def after(self, burst: Burst) -> Bounce:
        if burst.is_chatter:
            return self._replace(chatters=self.chatters + 1)
        if burst.is_glitch:
            return self._replace(glitches=self.glitches + 1)
        return self._replace(extra=self.extra + burst.transitions - 1, longest_ns=max(self.longest_ns, burst.length_ns))


NO_BOUNCE = Bounce()

MOST_BURSTS = 20_000
"""Bursts whose times are kept; of more the older half is forgotten."""

_FIRST = Past(np.array([NEVER], np.int64), np.array([ASLEEP], np.uint8), np.array([np.nan]), np.array([0], np.int64))


@dataclass
class History:
    """One signal's past. `append` from one thread, `past` from any."""

    is_condition: bool

    def __post_init__(self) -> None:
        self._room = [np.empty(1024, kind) for kind in (np.int64, np.uint8, np.float64, np.int64)]
        self._count = 0
        self._past = _FIRST
        self._taps: list[TapPast] = []
        self._sources: dict[int, History] = {}
        self._bounces: list[tuple[int, Bounce]] = [(NEVER, NO_BOUNCE)]
        """From the end of each burst on."""
        self._transitions: tuple[int, array[int]] = (0, array("q"))
        """How many are forgotten, and the times of the others."""
        self.upto_ns = NEVER
        self._add(*_FIRST)

    @property
    def past(self) -> Past:
        return self._past

    def append(self, changes: Changes) -> None:
        """More change points, all after those so far."""
        if len(changes):
            self._append(changes)
        self.upto_ns = changes.upto_ns  # last: who reads it first finds all points before it

    def _append(self, changes: Changes) -> None:
        t, code = changes.t_ns, changes.code
        value = code.astype(np.float64) if changes.value is None else changes.value
        if self._count == 1 and t[0] == NEVER:
            # What holds from the very start; a past that others have stays as it is.
            self._room = [column.copy() for column in self._room]
            self._count = 0
            self._add(t[:1], code[:1], value[:1], np.array([0], np.int64))
            t, code, value = t[1:], code[1:], value[1:]
        before_code = np.concatenate([self._past.code[-1:], code[:-1]])
        before_value = np.concatenate([self._past.value[-1:], value[:-1]])
        known = (code <= TRUE) & (before_code <= TRUE)
        edge = known & (value != before_value)
        if len(changes.quiet):
            edge &= ~np.isin(t, changes.quiet)
        edges = int(self._past.edges[-1]) + np.cumsum(edge)
        if changes.settled is not None:
            # A point at which a known value does not change but when it can be told: it says what it said before.
            is_new = ~known | (value != before_value)
            t, code, value, edges = t[is_new], code[is_new], value[is_new], edges[is_new]
        self._add(t, code, value, edges)

    def tap(self, place: int) -> TapPast:
        """The past of one of the signal's taps, in the order of the bench file."""
        while len(self._taps) <= place:
            self._taps.append(TapPast())
        return self._taps[place]

    def source(self, place: int) -> History:
        """What one of several sources of the signal gives, in the terms of the signal, whether it counts or not."""
        return self._sources.setdefault(place, History(self.is_condition))

    def bounced(self, bursts: Sequence[Burst]) -> None:
        """Bursts of transitions, all after those so far."""
        for burst in bursts:
            self._bounces.append((burst.told_ns, self._bounces[-1][1].after(burst)))
        if len(self._bounces) > MOST_BURSTS + 1:
            self._bounces = self._bounces[MOST_BURSTS // 2 :]

    def changed(self, transitions: Sequence[int]) -> None:
        """Times at which the level of an input line changed, of each line all after those so far."""
        for t_ns in transitions:
            insort(self._transitions[1], t_ns)

    def bounce_at(self, t_ns: int) -> Bounce:
        """What was taken out up to a time; of a time long ago, the oldest that is kept."""
        bounces, (forgotten, transitions) = self._bounces, self._transitions
        bounce = bounces[max(bisect_right(bounces, t_ns, key=itemgetter(0)) - 1, 0)][1]
        return bounce._replace(transitions=forgotten + bisect_right(transitions, t_ns))

    def forget(self, before_ns: int) -> None:
        """Drop the points before a time, but for the one that holds there."""
        for tap in self._taps:
            tap.forget(before_ns)
        for source in self._sources.values():
            source.forget(before_ns)
        forgotten, transitions = self._transitions
        old = bisect_right(transitions, before_ns)
        self._transitions = (forgotten + old, transitions[old:])
        place = self._past.index_at(before_ns)
        if place > 1024:
            self._room = [np.array(column[place:]) for column in self._past]
            self._count = len(self._room[0])
            self._past = Past(*(np.array(column) for column in self._room))

    def _add(self, *columns: Int64Array | UInt8Array | FloatArray) -> None:
        end = self._count + len(columns[0])
        if end > len(self._room[0]):
            size = max(end, 2 * len(self._room[0]))
            self._room = [np.concatenate([r[: self._count], np.empty(size - self._count, r.dtype)]) for r in self._room]
        for room, column in zip(self._room, columns, strict=True):
            room[self._count : end] = column
        self._count = end
        t, code, value, edges = (room[:end] for room in self._room)
        self._past = Past(t, code, value, edges)  # type: ignore[arg-type]
