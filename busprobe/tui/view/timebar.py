"""The replay bar: where a replay stands, and what lies before and after, a column for a stretch of time."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from busprobe.frames import Int64Array
from busprobe.session.snapshot import Mark, Snapshot
from busprobe.tui.view.frames import reached_text
from busprobe.tui.view.spans import Column, Line, Row, Span, Tone, cell, fit, width_of
from busprobe.tui.view.times import clock
from busprobe.tui.view.values import value_cell


class Step(NamedTuple):
    """What the arrow keys go to."""

    kind: str
    """As in `Mark`; "frame": single frames."""
    words: str


STEPS = (
    Step("frame", "frame"),
    Step("edge", "edge of"),
    Step("trigger", "trigger"),
    Step("failed", "failed occurrence"),
    Step("undecided", "undecided"),
    Step("gap", "gap"),
    Step("marker", "marker"),
    Step("walk", "walk result"),
)

_SHAPES = ("─", "╷", "◆", "▴", "▾", "?", "░", "✗")
"""One for each severity; the worst in a column wins."""
_SEVERITY = {"edge": 1, "trigger": 2, "walk": 3, "marker": 4, "undecided": 5, "gap": 6, "failed": 7}
_TONES = (Tone.DIM, Tone.PLAIN, Tone.NOTE, Tone.NOTE, Tone.KEY, Tone.WARN, Tone.WARN, Tone.BAD)
_POSITION, _PINNED, _UNREAD = "┃", "A", "·"


class Bar(NamedTuple):
    """What the bar shows beside the picture."""

    step: Step
    signal: str | None
    """Whose edges count."""
    pinned_ns: int | None = None
    """Instant A."""


class Scale(NamedTuple):
    """Columns of the bar and the times they stand for."""

    start_ns: int
    end_ns: int
    """Expected end of the whole recording, also while it is being read."""
    width: int

    def column(self, t_ns: int) -> int:
        length = max(self.end_ns - self.start_ns, 1)
        return min(max((t_ns - self.start_ns) * self.width // length, 0), max(self.width - 1, 0))

    def time(self, column: int) -> int:
        """Middle of a column."""
        return self.start_ns + (2 * column + 1) * (self.end_ns - self.start_ns) // max(2 * self.width, 1)


def scale(picture: Snapshot, width: int) -> Scale:
    """The share read so far takes that share of the width."""
    read = picture.end_ns - picture.start_ns
    whole = round(read / picture.loaded) if 0 < picture.loaded < 1 else read
    return Scale(picture.start_ns, picture.start_ns + whole, width)


class Density:
    """Worst severity in each column; worked out anew only when something in it changed."""

    def __init__(self) -> None:
        self._key: tuple[object, ...] = ()
        self._marks: Sequence[Mark] | None = None
        self._line = np.empty(0, np.int64)

    def line(self, marks: Sequence[Mark], edges: Int64Array, signal: str | None, on: Scale) -> Int64Array:
        """(width,) index of a shape for each column."""
        key = (on, signal, len(edges), len(marks))
        if key != self._key or marks is not self._marks:
            self._key, self._marks, self._line = key, marks, density(marks, edges, on)
        return self._line


def density(marks: Sequence[Mark], edges: Int64Array, on: Scale) -> Int64Array:
    """(width,) index of a shape for each column; a mark that lasts has all columns that are free."""
    line = np.zeros(on.width, np.int64)
    if not on.width:
        return line
    t = np.concatenate([edges, np.array([m.t_ns for m in marks], np.int64)])
    severity = np.ones(len(t), np.int64)
    severity[len(edges) :] = [_SEVERITY.get(m.kind, 0) for m in marks]
    share = (t - on.start_ns) / max(on.end_ns - on.start_ns, 1)
    np.maximum.at(line, np.clip((share * on.width).astype(np.int64), 0, on.width - 1), severity)
    for mark in marks:
        if mark.until_ns is not None:
            # What lasts is drawn where nothing else is: while one source is away others go on.
            through = line[on.column(mark.t_ns) : on.column(mark.until_ns)]
            through[through == 0] = _SEVERITY[mark.kind]
    return line


def bar_lines(picture: Snapshot, bar: Bar, line: Int64Array, marks: Sequence[Mark], on: Scale) -> tuple[Line, Line]:
    """Two lines, each as wide as the scale: words, and the whole recording."""
    return _words(picture, bar, marks, on), _drawn(picture, bar, line, on)


def _words(picture: Snapshot, bar: Bar, marks: Sequence[Mark], on: Scale) -> Line:
    start = picture.start_ns
    state = Span(" ▶ playing ", Tone.ON) if picture.is_playing else Span(" ‖ paused ", Tone.STRONG)
    to = bar.step.words
    if bar.step.kind == "edge":
        to += f" {bar.signal or 'no signal'}"
    elif bar.step.kind == "frame" and not picture.is_playing:
        to += f" {reached_text(picture.frames, picture.t_ns)}".rstrip()
    left = [
        state,
        Span(f"{picture.speed:g}×  ", Tone.STRONG),
        Span(clock(picture.t_ns - start, 3), Tone.STRONG),
        Span(f" of {clock(picture.end_ns - start)}  "),
        Span("←→ ", Tone.KEY),
        Span(to),
    ]
    if bar.pinned_ns is not None:
        left.append(Span(f"  A {clock(bar.pinned_ns - start)}", Tone.NOTE))
    right = _right(picture, marks, on)
    room = max(on.width - width_of(left) - 2, 0)
    return tuple(fit([*left, Span("  "), *fit(right, min(room, width_of(right)))], on.width))


def _right(picture: Snapshot, marks: Sequence[Mark], on: Scale) -> list[Span]:
    if picture.loaded < 1 and not picture.failure:
        return [
            Span(f"{int(picture.loaded * 100)} % read, ", Tone.WARN),
            Span("Esc", Tone.KEY),
            Span(" stops ", Tone.WARN),
        ]
    mark = mark_here(marks, picture.t_ns, on)
    if mark is None:
        return []
    severity = _SEVERITY.get(mark.kind, 0)
    at = clock(mark.t_ns - picture.start_ns, 3)
    elsewhere = "" if at == clock(picture.t_ns - picture.start_ns, 3) else f"{at} "
    return [Span(f"{_SHAPES[severity]} ", _TONES[severity]), Span(elsewhere, Tone.DIM), Span(f"{mark.text} ")]


def mark_here(marks: Sequence[Mark], t_ns: int, on: Scale) -> Mark | None:
    """The worst mark in the column of a time; of equal ones the nearest. marks: in order of time."""
    here = on.column(t_ns)
    low = bisect_left(marks, here, key=lambda m: on.column(m.t_ns))
    high = bisect_right(marks, here, lo=low, key=lambda m: on.column(m.t_ns))
    return max(marks[low:high], key=lambda m: (_SEVERITY.get(m.kind, 0), -abs(m.t_ns - t_ns)), default=None)


def _drawn(picture: Snapshot, bar: Bar, line: Int64Array, on: Scale) -> Line:
    read = on.column(picture.end_ns) if on.end_ns > picture.end_ns else on.width
    cells = [(_SHAPES[s], _TONES[s]) if i <= read else (_UNREAD, Tone.DIM) for i, s in enumerate(line.tolist())]
    if bar.pinned_ns is not None and cells:
        cells[on.column(bar.pinned_ns)] = (_PINNED, Tone.NOTE)
    if cells:
        cells[on.column(picture.t_ns)] = (_POSITION, Tone.KEY)
    spans: list[Span] = []
    for sign, tone in cells:
        if spans and spans[-1].tone is tone:
            spans[-1] = Span(spans[-1].text + sign, tone)
        else:
            spans.append(Span(sign, tone))
    return tuple(spans)


# --- two instants

DIFFERENCE_COLUMNS = (
    Column("Signal", 16, grow=1),
    Column("  At A", 18, grow=1),
    Column("  Now", 18, grow=1),
    Column("Edges between", 13, "right", drop=1),
)


def difference_rows(pinned: Snapshot, picture: Snapshot) -> list[Row]:
    """Signals that do not say the same at both instants; quantities last, because they seldom do."""
    before = {signal.name: signal for signal in pinned.signals}
    pairs = [(before[s.name], s) for s in picture.signals if s.name in before and before[s.name].text != s.text]
    pairs.sort(key=lambda pair: pair[1].unit is not None)
    return [
        Row(
            now.name,
            (cell(now.name), value_cell(was), value_cell(now), cell(f"{abs(now.edges - was.edges):,}", Tone.DIM)),
            f"{now.name}\tA {clock(pinned.t_ns - pinned.start_ns, 3)}: {was.text}"
            f"\t{clock(picture.t_ns - picture.start_ns, 3)}: {now.text}",
        )
        for was, now in pairs
    ]


def difference_title(pinned: Snapshot, picture: Snapshot, count: int) -> str:
    """"3 signals differ between A (01:00.000) and 03:20.000"."""  # fmt: skip
    noun = "signal differs" if count == 1 else "signals differ"
    a, now = (clock(t - picture.start_ns, 3) for t in (pinned.t_ns, picture.t_ns))
    return f"{count} {noun} between A ({a}) and now ({now})"
