"""How an identifier is sent, in the words of the Frames screen."""

from __future__ import annotations

from typing import NamedTuple

from busprobe.analysis.intervals import Sending
from busprobe.session.snapshot import FrameTable
from busprobe.tui.view.spans import EMPTY, Cell, Tone, cell
from busprobe.tui.view.times import SECOND, span
from busprobe.tui.view.values import calm_age

SILENT_NS = 2 * SECOND
"""No frame for this long, and for five periods: one that is sent in a cycle is silent."""


class Rhythm(NamedTuple):
    period: Cell
    jitter: Cell
    """In ms; how long ago the newest frame came, where there is no period."""
    told: str
    """Both as a phrase, for copying."""


def rhythm(table: FrameTable, i: int, t_ns: int) -> Rhythm:
    """Of one row. Only what is sent in a cycle can be missed: all else is quiet, and nothing is wrong."""
    sending, period, quiet = table.sending[i], int(table.period_ns[i]), max(t_ns - int(table.last_ns[i]), 0)
    is_quiet, ago = quiet > max(SILENT_NS, 5 * period), calm_age(quiet)
    if sending is Sending.ON_CHANGE:
        return Rhythm(cell("on change", Tone.DIM), cell(ago, Tone.DIM), f"sent on change, newest {ago} ago")
    if sending is Sending.CYCLIC and is_quiet:
        return Rhythm(cell("silent", Tone.WARN), cell(ago, Tone.WARN), f"silent for {ago}")
    if table.count[i] == 1:
        return Rhythm(cell("once", Tone.DIM), cell(ago, Tone.DIM) if is_quiet else EMPTY, f"once, {ago} ago")
    if is_quiet:
        return Rhythm(cell("seldom", Tone.DIM), cell(ago, Tone.DIM), f"seldom, newest {ago} ago")
    if period <= 0:
        return Rhythm(cell("-", Tone.DIM), EMPTY, "no period yet")
    # 999.7 ms is a second to a person, and one character less.
    length = span(SECOND if round(period / 1e6) == 1000 else period)
    jitter = f"{table.jitter_ns[i] / 1e6:.3g}"[:5]
    return Rhythm(cell(length), cell(jitter, Tone.DIM), f"period {length} ± {jitter} ms")
