"""Rows of the state board: every signal, input line and output."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from busprobe.errors import counted
from busprobe.session.snapshot import Kind, SignalNow, Snapshot
from busprobe.session.strips import SLICES
from busprobe.tui.view.history import history
from busprobe.tui.view.lazy_rows import LazyRows
from busprobe.tui.view.spans import Column, Row, Tone, cell, matches
from busprobe.tui.view.times import clock
from busprobe.tui.view.values import fresh_cell, since_cell, value_cell

COLUMNS = (
    Column("Signal", 16, grow=2),
    Column("  Value", 24, grow=1),
    Column("Since", 9, "right"),
    Column("Fresh", 10, "right"),
    Column("Edges", 6, "right", drop=2),
    Column("History", 8, "end", grow=2, drop=1),
    Column("Kind", 7, drop=4, minor=True),
    Column("Source", 18, grow=2, drop=3),
)
ORDERS = ("bench file", "newest change", "edges", "name")
"""What the sort key goes through."""
_KINDS = {Kind.BUS: "bus", Kind.LINE: "line", Kind.OUTPUT: "output", Kind.DERIVED: "derived"}


def signal_rows(picture: Snapshot, words: str, order: str) -> Sequence[Row]:
    """One row a signal. words: the filter; order: one of ORDERS."""
    chosen = picture.signals
    if words.strip():
        chosen = [s for s in chosen if matches(words, s.name, _source(s), s.text, _KINDS[s.kind], s.role or "")]
    return LazyRows(_ordered(chosen, order), lambda signal: _row(signal, picture))


def _ordered(signals: Sequence[SignalNow], order: str) -> Sequence[SignalNow]:
    if order == "newest change":
        return sorted(signals, key=lambda s: -(s.since_ns or 0))
    if order == "edges":
        return sorted(signals, key=lambda s: -s.edges)
    if order == "name":
        return sorted(signals, key=lambda s: s.name)
    return signals


def _row(signal: SignalNow, picture: Snapshot) -> Row:
    return Row(
        signal.name,
        (
            cell(signal.name),
            value_cell(signal),
            since_cell(signal, picture),
            fresh_cell(signal),
            cell(f"{signal.edges:,}", Tone.DIM),
            history(signal.strip, SLICES),
            cell(_KINDS[signal.kind], Tone.DIM),
            cell(_source(signal), Tone.DIM),
        ),
        partial(_copy, signal, picture),
    )


def _source(signal: SignalNow) -> str:
    return f"{signal.source} instead of {signal.instead}" if signal.instead else signal.source


def _copy(signal: SignalNow, picture: Snapshot) -> str:
    since = "" if signal.since_ns is None else f" since {clock(signal.since_ns - picture.start_ns, 3)}"
    here = clock(picture.t_ns - picture.start_ns, 3)
    return f"{signal.name}\t{signal.text}{since}\t{counted(signal.edges, 'edge')}\t{_source(signal)}\tat {here}"
