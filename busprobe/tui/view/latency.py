"""Latency against limit as a small plot: each occurrence a mark on a line from 0 to the limit and beyond.

     on   0├────────•──●──!┃┄┄┄┄✗┤ 250 ms    worst ✗ 240 ms of 200 ms, ✗ 1 failed

A column that holds several passed ones shows "●"; the worst wins. What came too late stands where
it came; past the end of the line, or never, in the last column.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from textwrap import wrap

from busprobe.grown import Grown, totals_of
from busprobe.results import CheckResult, Occurrence, Outcome
from busprobe.totals import PartTotals
from busprobe.tui.view.logic import limit_of, occurrence_text, worst_of
from busprobe.tui.view.spans import Line, Span, Tone, fit
from busprobe.tui.view.times import span

_BEYOND = 1.25
"""The line goes on to this many times the limit, or to the longest latency."""
_LABEL, _WORDS = 6, 38
_TONES = {"•": Tone.GOOD, "●": Tone.GOOD, "!": Tone.WARN, "✗": Tone.BAD, "┃": Tone.STRONG}


class Marks:
    """The marks on one line, from 0 to `end_ns` on `width` columns."""

    def __init__(self, limit_ns: int, end_ns: int, width: int) -> None:
        self.of = (limit_ns, end_ns, width)
        self._last = width - 1
        self._passed = [0] * width
        self._tight: set[int] = set()
        self._failed: set[int] = set()

    def copy(self) -> Marks:
        other = Marks(*self.of)
        other._passed, other._tight, other._failed = self._passed.copy(), self._tight.copy(), self._failed.copy()
        return other

    def add(self, occurrences: Iterable[Occurrence]) -> None:
        last, end_ns = self._last, self.of[1]
        for one in occurrences:
            taken, is_failed = one.came_ns, one.outcome is Outcome.FAILED
            if not is_failed and (taken is None or one.outcome is not Outcome.PASSED):
                continue
            column = last if taken is None else min(taken * last // end_ns, last)
            if is_failed:
                self._failed.add(column)
            elif one.tight:
                self._tight.add(column)
            else:
                self._passed[column] += 1

    def signs(self) -> str:
        """One sign a column: of those that share it the most severe."""
        limit_ns, end_ns, _ = self.of
        at_limit = min(limit_ns * self._last // end_ns, self._last)
        signs = ["─"] * at_limit + ["┃"] + ["┄"] * (self._last - at_limit)
        for column, count in enumerate(self._passed):
            if count:
                signs[column] = "•" if count == 1 else "●"
        for column in self._tight:
            signs[column] = "!"
        for column in self._failed:
            signs[column] = "✗"
        return "".join(signs)


class Axes:
    """The lines of the check that is looked at: as its occurrences grow only the new ones are drawn."""

    def __init__(self) -> None:
        self._kept: dict[str, tuple[Sequence[Occurrence], int, Marks]] = {}
        """By part: what was drawn, how many of it, and the marks."""

    def signs(self, occurrences: Sequence[Occurrence], part: str, limit_ns: int, end_ns: int, width: int) -> str:
        """One sign a column, for the occurrences of one part."""
        firm = occurrences.firm if isinstance(occurrences, Grown) else 0
        drawn, count, marks = self._kept.get(part, ((), 0, Marks(limit_ns, end_ns, width)))
        shared = occurrences.shared_with(drawn) if isinstance(occurrences, Grown) else 0
        if shared < count or marks.of != (limit_ns, end_ns, width):
            count, marks = 0, Marks(limit_ns, end_ns, width)
        marks.add(one for one in occurrences[count:firm] if one.part == part)
        self._kept[part] = (occurrences, firm, marks)
        whole = marks.copy()
        whole.add(one for one in occurrences[firm:] if one.part == part)
        return whole.signs()


def about_lines(
    check: CheckResult | None, one: Occurrence | None, start_ns: int, width: int, axes: Axes | None = None
) -> list[Line]:
    """What is expected, the plot, and the occurrence that is selected. axes: what was drawn before."""
    if check is None:
        return [(Span(" The bench file has no check, or none has these words.", Tone.DIM),)]
    lines: list[Line] = [(Span(f" {text}"),) for text in wrap(f"Expected: {check.expected}", max(width - 2, 20))[:3]]
    lines += plot_lines(check, width, axes)
    if one is not None:
        tone = Tone.BAD if one.outcome is Outcome.FAILED else Tone.PLAIN
        texts = wrap(occurrence_text(one, start_ns), max(width - 4, 20))[:2]
        lines += [(Span(" ▶ " if i == 0 else "   ", Tone.NOTE), Span(text, tone)) for i, text in enumerate(texts)]
    return [tuple(fit(line, width)) for line in lines]


def plot_lines(check: CheckResult, width: int, axes: Axes | None = None) -> list[Line]:
    """A line for each part; a sentence where the check has no latency."""
    if check.limit_ns is None:
        return [(Span(" A check of this kind has no latency; how long it was broken stands below.", Tone.DIM),)]
    axes = Axes() if axes is None else axes
    parts = totals_of(check.occurrences).parts
    if not parts:
        return [_plot_line(check, "", None, width, axes)]
    return [
        _plot_line(check, name, part, width, axes)
        for name, part in sorted(parts.items(), key=lambda p: ("", "on", "off").index(p[0]))
    ]


def _plot_line(check: CheckResult, name: str, part: PartTotals | None, width: int, axes: Axes) -> Line:
    """One line, `width` wide: axis with marks, then words where there is room. part: None: no occurrence."""
    limit = (check.limit_ns if part is None else limit_of(check, part.first)) or 1
    end = max(round(limit * _BEYOND), 0 if part is None else part.longest_ns)
    has_words = width >= _LABEL + _WORDS + 24
    room = width - _LABEL - len(span(end)) - 5 - (_WORDS if has_words else 0)
    axis = axes.signs(check.occurrences, name, limit, end, max(room, 8))
    spans = [
        Span(f" {name:<{_LABEL - 3}} 0", Tone.DIM),
        Span("├"),
        *_toned(axis),
        Span("┤ "),
        Span(span(end), Tone.DIM),
    ]
    if has_words:
        spans = [*fit(spans, width - _WORDS), *_words(part, limit)]
    return tuple(fit(spans, width))


def axis_signs(occurrences: Sequence[Occurrence], limit_ns: int, end_ns: int, width: int) -> str:
    """The line alone: one sign a column."""
    marks = Marks(limit_ns, end_ns, width)
    marks.add(occurrences)
    return marks.signs()


def _words(part: PartTotals | None, limit_ns: int) -> list[Span]:
    failed = 0 if part is None else part.count(Outcome.FAILED)
    spans = [Span(f"  limit ┃ {span(limit_ns)}")]
    if part is not None and (part.worst is not None or part.never_came):
        spans = [Span("  worst "), worst_of(part, limit_ns)]
    if failed:
        spans.append(Span(f", ✗ {failed} failed", Tone.BAD))
    return spans


def _toned(axis: str) -> list[Span]:
    spans: list[Span] = []
    for sign in axis:
        tone = _TONES.get(sign, Tone.DIM)
        if spans and spans[-1].tone is tone:
            spans[-1] = Span(spans[-1].text + sign, tone)
        else:
            spans.append(Span(sign, tone))
    return spans
