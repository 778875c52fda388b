"""How exactly it is known when edges happened.

    polls        |        |        |        of a line that rises between the last two
    the edge                (......]        its time is that of the poll which saw it
                           gap_ns

The stamps of a source are besides off by up to `stamp_ns`, all of them much alike.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple


class Doubt(NamedTuple):
    """Of the time of one edge."""

    gap_ns: int = 0
    """It may have happened up to so long before."""
    stamp_ns: int = 0
    """So far off its stamp may be."""
    source: str = ""
    """Whose stamp it is: a bus or box; empty: of several, or of none."""


NO_DOUBT = Doubt()


def widest(doubts: Iterable[Doubt]) -> Doubt:
    """Of an edge that any of these may have caused."""
    some = [doubt for doubt in doubts if doubt.gap_ns or doubt.stamp_ns]
    if not some:
        return NO_DOUBT
    sources = {doubt.source for doubt in some}
    source = sources.pop() if len(sources) == 1 else ""
    return Doubt(max(doubt.gap_ns for doubt in some), max(doubt.stamp_ns for doubt in some), source)


def between(one: Doubt, other: Doubt) -> int:
    """Of the time from one edge to another, ns either way.

    Both edges lie before their times, so that the longer gap is the most by which the time between
    them can be wrong. What the stamps of one source are off by is common to both edges, and counts once.
    """
    is_common = one.source == other.source != ""
    stamps = max(one.stamp_ns, other.stamp_ns) if is_common else one.stamp_ns + other.stamp_ns
    return max(one.gap_ns, other.gap_ns) + stamps
