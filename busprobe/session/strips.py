"""The recent past of a signal in slices of a second, kept from one picture to the next.

slices     … | 41 | 42 | 43 | 44      whole seconds of event time, the newest one goes on
logic      ‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾‾|        has decided up to here: slices before stay as they are
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from busprobe.engine.history import History, Past
from busprobe.timeline import ASLEEP, FALSE, NEVER, TRUE, UNKNOWN

SLICE_NS = 1_000_000_000
SLICES = 30
UNSEEN = 4
"""Code of a slice from before anything was seen of the signal; the others are those of `timeline`."""
_BY_SEVERITY = (FALSE, ASLEEP, UNKNOWN, TRUE)
"""Which code stands for a slice that has several: the last of these."""
_SEVERITY = np.array([_BY_SEVERITY.index(code) for code in range(len(_BY_SEVERITY))], np.uint8)


class Strip(NamedTuple):
    """The last 30 slices of a signal, oldest first; the last one up to the instant shown."""

    code: bytes
    """(SLICES,) timeline code of each: TRUE wherever it was true in it, else the worst; or UNSEEN."""
    value: tuple[float, ...] | None
    """(SLICES,) last value in each, NaN where unknown; None for a condition."""


class Strips:
    """Strips of one signal; for one thread."""

    def __init__(self, history: History) -> None:
        self._history = history
        self._end = NEVER
        """Number of the slice after those kept."""
        self._codes = b""
        self._values: tuple[float, ...] = ()

    def at(self, t_ns: int, instead: Past | None = None) -> Strip:
        """Up to a time. instead: a past that counts instead of that of the history."""
        now = t_ns // SLICE_NS
        first = now + 1 - SLICES
        codes, values = self._kept(first, now, t_ns) if instead is None else _slices(instead, first, now, t_ns)
        return Strip(codes, None if self._history.is_condition else values)

    def _kept(self, first: int, now: int, t_ns: int) -> tuple[bytes, tuple[float, ...]]:
        upto_ns = min(self._history.upto_ns, t_ns)  # before the past: see `History.append`
        kept = self._end - first if first < self._end <= now else 0
        codes, values = _slices(self._history.past, first + kept, now, t_ns)
        if kept:
            codes, values = self._codes[-kept:] + codes, self._values[-kept:] + values
        final = min(max(upto_ns // SLICE_NS - first, 0), SLICES)
        self._end, self._codes, self._values = first + final, codes[:final], values[:final]
        return codes, values


def _slices(past: Past, first: int, last: int, t_ns: int) -> tuple[bytes, tuple[float, ...]]:
    """Codes and values of slices by number, the last one up to `t_ns`."""
    if first == last:
        return _newest(past, first * SLICE_NS, t_ns)
    begins = np.arange(first, last + 1, dtype=np.int64) * SLICE_NS
    ends = np.append(begins[1:] - 1, np.int64(t_ns))
    low = np.maximum(past.t_ns.searchsorted(begins, "right") - 1, 0)
    high = np.maximum(past.t_ns.searchsorted(ends, "right") - 1, 0)
    base = int(low[0])
    severity = np.zeros(int(high[-1]) + 2 - base, np.uint8)
    severity[:-1] = _SEVERITY[past.code[base : int(high[-1]) + 1]]
    is_unseen = _begins_unseen(past)
    if is_unseen and not base:
        severity[0] = 0  # a slice in which it is first seen says what was seen
    bounds = np.empty(2 * len(begins), np.int64)
    bounds[::2], bounds[1::2] = low - base, high + 1 - base
    codes = np.array(_BY_SEVERITY, np.uint8)[np.maximum.reduceat(severity, bounds)[::2]]
    if is_unseen:
        codes[high == 0] = UNSEEN
    return codes.tobytes(), tuple(past.value[high].tolist())


def _newest(past: Past, begin_ns: int, t_ns: int) -> tuple[bytes, tuple[float, ...]]:
    """Code and value of a single slice."""
    low, high = past.index_at(begin_ns), past.index_at(t_ns)
    code = int(past.code[high])
    if high == 0 and _begins_unseen(past):
        code = UNSEEN
    elif low < high:
        low += low == 0 and _begins_unseen(past)
        code = max(past.code[low : high + 1].tolist(), key=_BY_SEVERITY.index)
    return bytes((code,)), (float(past.value[high]),)


def _begins_unseen(past: Past) -> bool:
    return bool(past.t_ns[0] == NEVER and past.code[0] == ASLEEP)
