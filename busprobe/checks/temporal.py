"""Operators that look back in time, or a bounded stretch ahead: edges, held, age, in step."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from busprobe.frames import BoolArray, Int64Array, UInt8Array
from busprobe.timeline import (
    ASLEEP,
    FALSE,
    NEVER,
    TRUE,
    UNKNOWN,
    Changes,
    from_points,
)


class Edge:
    """`rises`, `falls`, `changes`: true for the 1 ns at which the operand changes.

        x        ____|‾‾‾‾‾‾|____....|‾‾‾       known false to known true is a rise;
        rises        ^                          unknown to true is none

    While the operand is unknown, so is the edge.
    """

    def __init__(self, kind: str) -> None:
        self._kind = kind
        self._code = ASLEEP
        self._value = np.nan
        self._settled = NEVER
        self._owed: int | None = None
        """Time at which the last event still has to go false."""

    def step(self, parts: Sequence[Changes], upto_ns: int) -> Changes:
        (part,) = parts
        event = self._events(part)
        base = np.where(part.code <= TRUE, FALSE, part.code).astype(np.uint8)
        t, code = part.t_ns, np.where(event, TRUE, base).astype(np.uint8)
        settled = part.settled
        if settled is None and self._settled > NEVER:
            settled = np.full(len(part), NEVER, np.int64)
        # Each event goes false 1 ns later, unless the operand has a change of its own there.
        fallen = part.t_ns[event] + 1
        if self._owed is not None:
            fallen = np.concatenate([[self._owed], fallen]).astype(np.int64)
        self._owed = None
        fallen = fallen[~np.isin(fallen, t)]
        if len(fallen) and fallen[-1] >= upto_ns:
            self._owed = int(fallen[-1])
            fallen = fallen[:-1]
        if settled is not None:
            carried = np.concatenate([[self._settled], settled])[np.searchsorted(t, fallen, "right")]
            settled = np.concatenate([settled, carried]).astype(np.int64)
        if len(part):
            self._code = int(part.code[-1])
            self._value = np.nan if part.value is None else float(part.value[-1])
            self._settled = NEVER if part.settled is None else int(part.settled[-1])
        if not len(fallen):
            return Changes(t, code, None, upto_ns, settled, part.quiet)
        order = np.argsort(np.concatenate([t, fallen]), kind="stable")
        if settled is not None:
            settled = settled[order]
        return Changes(
            np.concatenate([t, fallen])[order],
            np.concatenate([code, np.full(len(fallen), FALSE, np.uint8)])[order],
            None,
            upto_ns,
            settled,
            part.quiet,
        )

    def _events(self, part: Changes) -> BoolArray:
        before = np.concatenate([np.array([self._code], np.uint8), part.code[:-1]])[: len(part)]
        if part.value is None:
            falls = (before == TRUE) & (part.code == FALSE)
            rises = (before == FALSE) & (part.code == TRUE)
            event: BoolArray = {"rises": rises, "falls": falls, "changes": rises | falls}[self._kind]
        else:
            values = np.concatenate([[self._value], part.value[:-1]])[: len(part)]
            event = (before == TRUE) & (part.code == TRUE) & (values != part.value)
        if len(part.quiet):
            event &= ~np.isin(part.t_ns, part.quiet)
        return event


class Held:
    """`held(x, d)`: x was true without a break over the closed stretch [t - d, t].

    False if it was known false anywhere in it, else unknown if unknown anywhere in it.
    """

    def __init__(self, ns: int) -> None:
        self._ns = ns
        self._code = ASLEEP
        self._settled = NEVER
        self._end = {FALSE: NEVER, UNKNOWN: NEVER, ASLEEP: NEVER}
        """When the newest run of each code ended."""
        self._at = NEVER
        self._out: tuple[int, int] | None = None

    def step(self, parts: Sequence[Changes], upto_ns: int) -> Changes:
        (part,) = parts
        points: list[tuple[int, int, int]] = []
        settled = part.settled if part.settled is not None else np.full(len(part), NEVER, np.int64)
        for t, code, barrier in zip(part.t_ns.tolist(), part.code.tolist(), settled.tolist(), strict=True):
            self._run(points, t)
            if self._code != TRUE:
                self._end[self._code] = t
            self._code, self._settled, self._at = code, barrier, t
        self._run(points, upto_ns)
        self._at = upto_ns
        return from_points(points, upto_ns)

    def _run(self, points: list[tuple[int, int, int]], end: int) -> None:
        """The output from the time reached up to `end`, the operand holding its code."""
        t = self._at
        while t < end:
            self._put(points, t)
            expiries = [over for e in self._end.values() if (over := e + self._ns) > t]
            t = min(expiries, default=end)

    def _put(self, points: list[tuple[int, int, int]], t: int) -> None:
        code = TRUE
        for candidate in (FALSE, UNKNOWN, ASLEEP):
            end = self._end[candidate]
            if self._code == candidate or (end > NEVER and t < end + self._ns):
                code = candidate
                break
        state = (code, self._settled if self._settled > t else NEVER)
        if state != self._out:
            self._out = state
            points.append((t, *state))


class Age:
    """`age(x) > d` and its like, from the times of the samples of x.

    The operand's changes are its samples: each point is one, whatever its code.
    """

    def __init__(self, op: str, ns: int) -> None:
        self._older = op in {">", ">="}
        self._ns = ns + 1 if op in {">", "<="} else ns
        """From this age on it counts as older."""
        self._last: int | None = None
        self._is_older = False

    def step(self, parts: Sequence[Changes], upto_ns: int) -> Changes:
        (part,) = parts
        points: list[tuple[int, int, int]] = []
        times = part.t_ns[part.t_ns > NEVER]
        if self._last is None and len(times):
            # Every age is at least 0.
            self._last, self._is_older = int(times[0]), self._ns == 0
            points.append((self._last, self._code(self._is_older), NEVER))
        if self._last is not None and len(times) and self._ns > 0:
            times = np.concatenate([[self._last], times])
            for i in np.flatnonzero(np.diff(times) > self._ns).tolist():
                if i or not self._is_older:
                    points.append((int(times[i]) + self._ns, self._code(True), NEVER))
                points.append((int(times[i + 1]), self._code(False), NEVER))
            self._last, self._is_older = int(times[-1]), False
        if self._last is not None and not self._is_older and self._last + self._ns < upto_ns:
            self._is_older = True
            points.append((self._last + self._ns, self._code(True), NEVER))
        return from_points(points, upto_ns)

    def _code(self, older: bool) -> int:
        return TRUE if older == self._older else FALSE


class InStep:
    """True but where two conditions differ for longer than a tolerance.

        differ   ___|‾|______|‾‾‾‾‾‾|___
        in step  ‾‾‾‾‾‾‾‾‾‾‾‾|______|‾‾‾      told a tolerance after a difference began

    The operand is "they differ". Unknown where either is.
    """

    def __init__(self, ns: int) -> None:
        self._ns = ns
        self._since: int | None = None
        """Start of a difference not yet told."""
        self._long = False
        self._settled = NEVER
        self._out: tuple[int, int] | None = None

    def step(self, parts: Sequence[Changes], upto_ns: int) -> Changes:
        (part,) = parts
        points: list[tuple[int, int, int]] = []
        settled = part.settled if part.settled is not None else np.full(len(part), NEVER, np.int64)
        for t, code, barrier in zip(part.t_ns.tolist(), part.code.tolist(), settled.tolist(), strict=True):
            self._tell_if_long(points, t)
            self._take(points, t, code, barrier)
        self._tell_if_long(points, upto_ns)
        if self._since is not None and not self._long:
            return from_points(points, self._since)
        return from_points(points, upto_ns)

    def _take(self, points: list[tuple[int, int, int]], t: int, code: int, barrier: int) -> None:
        if code == TRUE and self._since is None:
            self._since, self._long, self._settled = t, False, barrier
        elif code == TRUE and self._long:
            self._put(points, t, FALSE, barrier)
        elif code == TRUE:
            self._settled = max(self._settled, barrier)
        else:
            if self._since is not None and not self._long:
                self._put(points, self._since, TRUE, max(self._settled, barrier, t))
            self._since = None
            self._put(points, t, TRUE if code == FALSE else code, barrier)

    def _tell_if_long(self, points: list[tuple[int, int, int]], t: int) -> None:
        """Everything before `t` is seen: a difference that began long enough ago is too long."""
        if self._since is not None and not self._long and t > self._since + self._ns:
            self._long = True
            self._put(points, self._since, FALSE, max(self._settled, self._since + self._ns))

    def _put(self, points: list[tuple[int, int, int]], t: int, code: int, settled: int) -> None:
        state = (code, settled if settled > t else NEVER)
        if state != self._out:
            self._out = state
            points.append((t, *state))


def sample_points(times: Int64Array, upto_ns: int) -> Changes:
    """The samples of a signal as the operand of `Age`."""
    codes: UInt8Array = np.full(len(times), TRUE, np.uint8)
    return Changes(times, codes, None, upto_ns)
