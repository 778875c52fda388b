"""Signals with several sources of which the one that counted is too old: another one may be known.

bus A     x  x  x  x  |  then silence: lost, or asleep, which logic can tell 2 s later
bus B       x   x   x   x   x   x
logic     A  A  A  A  |  B  B  B        whatever it is, B counts from there on
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from busprobe.engine.history import History, Past
from busprobe.session.origin import Origin, Origins
from busprobe.timeline import NEVER, TRUE


class TakenOver(NamedTuple):
    """The source that counts instead."""

    origin: Origin
    past: Past
    """Of the signal, with what that source gave since the other one is too old."""


def taken_over(
    origins: Origins, history: History, t_ns: int, over_ns: int, newest_of: Callable[[int], int | None]
) -> TakenOver | None:
    """The first source listed that is known at a time; None: no one is.

    over_ns: since when the one that counted is too old, or the first instant that logic has not told of.
    newest_of: time of a source's newest sample.
    """
    for place in range(len(origins.sources)):
        source = history.source(place)
        given = source.past
        if given.code[given.index_at(t_ns)] > TRUE:
            continue
        origin = origins.at(t_ns, place, newest_of(place))
        if source.upto_ns > t_ns or not origin.is_too_old(t_ns):
            return TakenOver(origin, _joined(history.past, given, over_ns))
    return None


def held_back(
    origins: Origins, history: History, t_ns: int, newest_of: Callable[[int], int | None]
) -> TakenOver | None:
    """What a signal says at a time that logic has not come to: another source is silent, lost or asleep.

    None where that is known, or it is what was said last.
    """
    told_ns = history.upto_ns
    if len(origins.sources) == 1 or not NEVER < told_ns <= t_ns:
        return None
    found = taken_over(origins, history, t_ns, told_ns - 1, newest_of)
    return found if found is not None and found.past.t_ns[found.past.index_at(t_ns)] >= told_ns else None


def _joined(past: Past, given: Past, over_ns: int) -> Past:
    """`past` up to a time, `given` from there on; that the source is another one is no edge."""
    stop, start = past.index_at(over_ns) + 1, given.index_at(over_ns)
    edges = past.edges[stop - 1] - given.edges[start]
    if past.code[stop - 1] == given.code[start] and past.value[stop - 1] == given.value[start]:
        start += 1  # it says what was said before
    return Past(
        np.concatenate([past.t_ns[:stop], np.maximum(given.t_ns[start:], over_ns)]),
        np.concatenate([past.code[:stop], given.code[start:]]),
        np.concatenate([past.value[:stop], given.value[start:]]),
        np.concatenate([past.edges[:stop], edges + given.edges[start:]]),
    )
