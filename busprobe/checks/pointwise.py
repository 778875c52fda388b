"""Operators whose output at a time depends on their operands at that time alone."""

from __future__ import annotations

import operator
from collections.abc import Callable, Sequence

import numpy as np

from busprobe.frames import BoolArray, FloatArray, Int64Array, UInt8Array
from busprobe.timeline import ASLEEP, NEVER, NO_TIMES, TRUE, UNKNOWN, Changes, no_changes

#: Kleene's tables, row and column in the order false, true, unknown, asleep. What is lost
#: outweighs what is merely asleep, so that a sleeping bus never hides a fault.
AND: UInt8Array = np.array([[0, 0, 0, 0], [0, 1, 2, 3], [0, 2, 2, 2], [0, 3, 2, 3]], np.uint8)
OR: UInt8Array = np.array([[0, 1, 2, 3], [1, 1, 1, 1], [2, 1, 2, 2], [3, 1, 2, 3]], np.uint8)
XOR: UInt8Array = np.array([[0, 1, 2, 3], [1, 0, 2, 3], [2, 2, 2, 2], [3, 3, 2, 3]], np.uint8)
NOT: UInt8Array = np.array([1, 0, 2, 3], np.uint8)
#: `known(x)` says nothing while x sleeps: a sleeping bus is no fault.
IS_KNOWN: UInt8Array = np.array([1, 1, 0, 3], np.uint8)
#: Known only where both are: the code of a comparison or a sum before its value counts.
BOTH: UInt8Array = np.array([[1, 1, 2, 3], [1, 1, 2, 3], [2, 2, 2, 2], [3, 3, 2, 3]], np.uint8)

COMPARE: dict[str, Callable[[FloatArray, FloatArray], BoolArray]] = {
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
    "==": operator.eq,
    "!=": operator.ne,
}
ARITHMETIC: dict[str, Callable[[FloatArray, FloatArray], FloatArray]] = {
    "+": operator.add,
    "-": operator.sub,
    "*": operator.mul,
    "/": operator.truediv,
}

Codes = Sequence[UInt8Array]
Values = Sequence[FloatArray | None]
Combined = tuple[UInt8Array, FloatArray | None]
Combine = Callable[[Codes, Values], Combined]


class Pointwise:
    """Merges the change points of its operands and applies `combine` at each.

    event: every instant at which it is true stands alone, even 1 ns after another.
    """

    def __init__(self, arity: int, combine: Combine, *, quantity: bool = False, event: bool = False) -> None:
        self.combine = combine
        self.is_quantity = quantity
        self.is_event = event
        self._codes = [ASLEEP] * arity
        self._values = [np.nan] * arity
        self._settled = [NEVER] * arity
        self._last: tuple[int, float, int] | None = None

    def step(self, parts: Sequence[Changes], upto_ns: int) -> Changes:
        t = merged_times(parts)
        if self._last is None and not (len(t) and t[0] == NEVER):
            t = np.concatenate([np.array([NEVER], np.int64), t])
        if not len(t):
            return no_changes(upto_ns, quantity=self.is_quantity)
        codes: list[UInt8Array] = []
        values: list[FloatArray | None] = []
        settled: Int64Array | None = None
        for i, part in enumerate(parts):
            code, value, barrier = self._spread(i, part, t)
            codes.append(code)
            values.append(value)
            if barrier is not None:
                settled = barrier if settled is None else np.maximum(settled, barrier)
        code, value = self.combine(codes, values)
        return self._thin(t, code, value, settled, quiet_times(parts), upto_ns)

    def _spread(self, i: int, part: Changes, t: Int64Array) -> tuple[UInt8Array, FloatArray | None, Int64Array | None]:
        """What operand `i` says at each of the merged times."""
        if len(part) == len(t):
            place: Int64Array | None = None
            code, value = part.code, part.value
        else:
            place = np.searchsorted(part.t_ns, t, "right")
            code = np.concatenate([np.array([self._codes[i]], np.uint8), part.code])[place]
            value = None if part.value is None else np.concatenate([[self._values[i]], part.value])[place]
        barrier = None
        if part.settled is not None or self._settled[i] > t[0]:
            own = part.settled if part.settled is not None else np.full(len(part), NEVER, np.int64)
            barrier = own if place is None else np.concatenate([np.array([self._settled[i]], np.int64), own])[place]
        if len(part):
            self._codes[i] = int(part.code[-1])
            self._values[i] = np.nan if part.value is None else float(part.value[-1])
            self._settled[i] = NEVER if part.settled is None else int(part.settled[-1])
        return code, value, barrier

    def _thin(
        self,
        t: Int64Array,
        code: UInt8Array,
        value: FloatArray | None,
        settled: Int64Array | None,
        quiet: Int64Array,
        upto_ns: int,
    ) -> Changes:
        """Drop the points at which nothing changes."""
        keep = np.empty(len(t), np.bool_)
        keep[1:] = code[1:] != code[:-1]
        keep[0] = self._last is None or self._last[0] != code[0]
        if value is not None:
            keep[1:] |= (value[1:] != value[:-1]) & (code[1:] == TRUE)
            keep[0] |= self._last is None or (self._last[1] != value[0] and code[0] == TRUE)
        last_settled = NEVER if self._last is None else self._last[2]
        if settled is not None:
            settled = np.where(settled > t, settled, NEVER)
            keep[1:] |= settled[1:] != settled[:-1]
            keep[0] |= last_settled != settled[0]
        if self.is_event:
            keep |= code == TRUE
        self._last = (
            int(code[-1]),
            np.nan if value is None else float(value[-1]),
            NEVER if settled is None else int(settled[-1]),
        )
        if keep.all():
            return Changes(t, code, value, upto_ns, settled, quiet)
        return Changes(
            t[keep],
            code[keep],
            None if value is None else value[keep],
            upto_ns,
            None if settled is None else settled[keep],
            quiet,
        )


def merged_times(parts: Sequence[Changes]) -> Int64Array:
    """All change times of several operands, each once, rising."""
    some = [part.t_ns for part in parts if len(part)]
    if not some:
        return NO_TIMES
    if len(some) == 1:
        return some[0]
    t: Int64Array = np.sort(np.concatenate(some), kind="stable")  # each rises already: far quicker than `np.unique`
    is_first: BoolArray = np.append(True, t[1:] != t[:-1])
    return t[is_first]


def quiet_times(parts: Sequence[Changes]) -> Int64Array:
    some = [part.quiet for part in parts if len(part.quiet)]
    return np.unique(np.concatenate(some)) if some else NO_TIMES


def negated(codes: Codes, _values: Values) -> Combined:
    return NOT[codes[0]], None


def is_known(codes: Codes, _values: Values) -> Combined:
    return IS_KNOWN[codes[0]], None


def first(codes: Codes, _values: Values) -> Combined:
    return codes[0], None


def folded(table: UInt8Array) -> Combine:
    """Combine any number of conditions by a two-place table."""

    def combine(codes: Codes, _values: Values) -> Combined:
        result = codes[0]
        for code in codes[1:]:
            result = table[result, code]
        return result, None

    return combine


def compared(op: str) -> Combine:
    """`left op right` of two quantities."""
    compare = COMPARE[op]

    def combine(codes: Codes, values: Values) -> Combined:
        left, right = values
        assert left is not None
        assert right is not None
        code = BOTH[codes[0], codes[1]]
        return np.where(code == TRUE, compare(left, right), code).astype(np.uint8), None

    return combine


def compared_with(op: str, number: float) -> Combine:
    """`quantity op number`."""
    compare = COMPARE[op]
    right = np.array(number)

    def combine(codes: Codes, values: Values) -> Combined:
        left = values[0]
        assert left is not None
        return np.where(codes[0] == TRUE, compare(left, right), codes[0]), None

    return combine


def computed(op: str) -> Combine:
    """Arithmetic of two quantities; where the result is no number it is unknown."""
    apply = ARITHMETIC[op]

    def combine(codes: Codes, values: Values) -> Combined:
        left, right = values
        assert left is not None
        assert right is not None
        code = BOTH[codes[0], codes[1]]
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            value = apply(left, right)
        code = np.where((code == TRUE) & ~np.isfinite(value), UNKNOWN, code).astype(np.uint8)
        return code, np.where(code == TRUE, value, np.nan)

    return combine


def truth(two_bit: bool) -> Combine:
    """A quantity as a condition: zero is false; of a 2-bit switch only 0 and 1 are known."""

    def combine(codes: Codes, values: Values) -> Combined:
        value = values[0]
        assert value is not None
        code = np.where(codes[0] == TRUE, (value != 0).astype(np.uint8), codes[0])
        if two_bit:
            code = np.where((codes[0] == TRUE) & (value > 1), UNKNOWN, code)
        return code.astype(np.uint8), None

    return combine


def among(wanted: tuple[float, ...]) -> Combine:
    """Whether a quantity is one of a few values."""

    def combine(codes: Codes, values: Values) -> Combined:
        value = values[0]
        assert value is not None
        hit = value == wanted[0] if wanted else np.zeros(len(value), np.bool_)
        for other in wanted[1:]:
            hit = hit | (value == other)
        return np.where(codes[0] == TRUE, hit, codes[0]).astype(np.uint8), None

    return combine


class Hysteresis:
    """A quantity as a condition: true above one limit, false again below another.

    Between the limits it stays as it was; after unknown it stays unknown until it has
    left the band.
    """

    def __init__(self, above: float, below_again: float) -> None:
        self._above, self._below = above, below_again
        self._state = ASLEEP
        self._thin = Pointwise(1, lambda codes, _values: (codes[0], None))

    def step(self, parts: Sequence[Changes], upto_ns: int) -> Changes:
        (part,) = parts
        value = part.value
        assert value is not None
        known = part.code == TRUE
        code = np.where(known, value > self._above, part.code)
        stays = known & (value <= self._above) & (value >= self._below)
        if stays.any():
            start = np.where(stays, -1, np.arange(len(code)))
            source = np.maximum.accumulate(start)
            code = np.where(source < 0, self._state, code[source])
        code = code.astype(np.uint8)
        if len(code):
            self._state = int(code[-1])
        return self._thin.step([Changes(part.t_ns, code, None, upto_ns, part.settled, part.quiet)], upto_ns)
