"""Steps: something that keeps a whole number until it changes, such as a switch or a gear.

    t_ns      0        40     70
    values    0         1      0
              |________|‾‾‾‾‾‾|_______     values[i] holds from t_ns[i] up to t_ns[i + 1]

Times are nanoseconds since the beginning of the drive cycle.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from busprobe.frames import BoolArray, FloatArray, Int64Array


def ns(seconds: float) -> int:
    """Seconds as whole nanoseconds."""
    return round(seconds * 1e9)


@dataclass(frozen=True)
class Steps:
    t_ns: Int64Array
    """(n,) rising; before the first the first value holds."""
    values: Int64Array

    def at(self, t_ns: Int64Array) -> Int64Array:
        """The value at each time."""
        place = np.searchsorted(self.t_ns, t_ns, side="right") - 1
        out: Int64Array = self.values[np.maximum(place, 0)]
        return out

    def rises(self) -> Int64Array:
        """Times at which the value goes from zero to anything else."""
        on = self.values != 0
        out: Int64Array = self.t_ns[1:][on[1:] & ~on[:-1]]
        return out

    def stretches(self, end_ns: int) -> list[tuple[int, int]]:
        """[from, to) of each stretch that is not zero, the last one cut at `end_ns`."""
        on = simplified(self.t_ns, (self.values != 0).astype(np.int64))
        bounds = [*on.t_ns.tolist(), end_ns]
        return [(bounds[i], bounds[i + 1]) for i in range(len(on.t_ns)) if on.values[i]]


def simplified(t_ns: Int64Array, values: Int64Array) -> Steps:
    """Steps from points in time order, without those that change nothing."""
    keep = np.ones(len(values), np.bool_)
    keep[1:] = values[1:] != values[:-1]
    return Steps(t_ns[keep], values[keep])


def steps_of(points: Iterable[tuple[int, int]], first: int = 0) -> Steps:
    """Steps that begin with `first` and take each (t_ns, value) in turn."""
    rows = [(0, first), *sorted(points)]
    table = np.array(rows, np.int64)
    return simplified(table[:, 0], table[:, 1])


def combine(rule: Callable[..., BoolArray], *inputs: Steps) -> Steps:
    """A condition over several steps: `rule` gets their values and gives true or false."""
    t_ns = np.unique(np.concatenate([s.t_ns for s in inputs]))
    return simplified(t_ns, rule(*(s.at(t_ns) for s in inputs)).astype(np.int64))


def delayed(condition: Steps, on_ns: FloatArray | float, off_ns: FloatArray | float) -> Steps:
    """A condition after a filter: a new state counts only once it has lasted its delay.

    on_ns, off_ns: one delay, or one for each change of `condition`; a change with a shorter
    life than its delay is never seen behind the filter.
    """
    on = condition.values[1:] != 0
    wait = np.where(on, on_ns, off_ns).astype(np.int64)
    t_ns = condition.t_ns[1:] + wait
    lasts = np.append(t_ns[:-1] < condition.t_ns[2:], True) if len(t_ns) else np.empty(0, np.bool_)
    return simplified(
        np.append(condition.t_ns[:1], t_ns[lasts]), np.append(condition.values[:1], condition.values[1:][lasts])
    )


def flashes(
    condition: Steps, period_ns: int, pulses_ns: tuple[tuple[int, int], ...], jitter_ns: FloatArray, end_ns: int
) -> Steps:
    """A lamp that flashes while a condition holds, and goes dark at once when it ends.

    pulses_ns: (from, to) of each pulse, counted from the start of its flash.
    jitter_ns: added to the start of the flashes, used over and over.
    """
    edges: list[tuple[int, int]] = []
    for begin, end in condition.stretches(end_ns):
        count = (end - begin) // period_ns + 1
        starts = begin + np.arange(count) * period_ns + np.abs(np.resize(jitter_ns, count)).astype(np.int64)
        for on, off in pulses_ns:
            lit = starts[starts + on < end] + on
            edges += [(t, 1) for t in lit.tolist()]
            edges += [(t, 0) for t in np.minimum(lit + (off - on), end).tolist()]
    return steps_of(edges)


def replaced(base: Steps, begin_ns: int, end_ns: int, inner: Steps) -> Steps:
    """`inner` in [begin, end), `base` before and after."""
    t_ns = np.unique(np.concatenate([base.t_ns, inner.t_ns, np.array([begin_ns, end_ns])]))
    inside = (t_ns >= begin_ns) & (t_ns < end_ns)
    return simplified(t_ns, np.where(inside, inner.at(t_ns), base.at(t_ns)))


NEVER = steps_of([])
