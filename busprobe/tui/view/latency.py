"""Latency against limit as a small plot: each occurrence a mark on a line from 0 to the limit and beyond.

     on   0├────────•──●──!┃┄┄┄┄✗┤ 250 ms    worst 196 ms of 200 ms

A column that holds several passed ones shows "●"; the worst wins. What came too late stands where
it came; past the end of the line, or never, in the last column.
"""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap

from busprobe.results import CheckResult, Occurrence, Outcome
from busprobe.tui.view.logic import limit_of, occurrence_text
from busprobe.tui.view.spans import Line, Span, Tone, fit
from busprobe.tui.view.times import span

_BEYOND = 1.25
"""The line goes on to this many times the limit, or to the longest latency."""
_LABEL, _WORDS = 6, 38
_TONES = {"•": Tone.GOOD, "●": Tone.GOOD, "!": Tone.WARN, "✗": Tone.BAD, "┃": Tone.STRONG}
_RANK = "─┄┃•●!✗"
"""Signs in order of severity: of those that share a column the last one is drawn."""


def about_lines(check: CheckResult | None, one: Occurrence | None, start_ns: int, width: int) -> list[Line]:
    """What is expected, the plot, and the occurrence that is selected."""
    if check is None:
        return [(Span(" The bench file has no check, or none has these words.", Tone.DIM),)]
    lines: list[Line] = [(Span(f" {text}"),) for text in wrap(f"Expected: {check.expected}", max(width - 2, 20))[:3]]
    lines += plot_lines(check, width)
    if one is not None:
        tone = Tone.BAD if one.outcome is Outcome.FAILED else Tone.PLAIN
        texts = wrap(occurrence_text(one, start_ns), max(width - 4, 20))[:2]
        lines += [(Span(" ▶ " if i == 0 else "   ", Tone.NOTE), Span(text, tone)) for i, text in enumerate(texts)]
    return [tuple(fit(line, width)) for line in lines]


def plot_lines(check: CheckResult, width: int) -> list[Line]:
    """A line for each part; a sentence where the check has no latency."""
    if check.limit_ns is None:
        return [(Span(" A check of this kind has no latency; how long it was broken stands below.", Tone.DIM),)]
    parts = sorted({o.part for o in check.occurrences}, key=("", "on", "off").index)
    if not parts:
        return [plot_line(check, (), "", width)]
    return [plot_line(check, [o for o in check.occurrences if o.part == part], part, width) for part in parts]


def plot_line(check: CheckResult, occurrences: Sequence[Occurrence], part: str, width: int) -> Line:
    """One line, `width` wide: axis with marks, then words where there is room."""
    limit = next((limit_of(check, o) for o in occurrences), check.limit_ns) or 1
    latencies = [o.latency_ns for o in occurrences if o.latency_ns is not None]
    end = max(round(limit * _BEYOND), *(latencies or [0]))
    has_words = width >= _LABEL + _WORDS + 24
    room = width - _LABEL - len(span(end)) - 5 - (_WORDS if has_words else 0)
    axis = axis_signs(occurrences, limit, end, max(room, 8))
    spans = [
        Span(f" {part:<{_LABEL - 3}} 0", Tone.DIM),
        Span("├"),
        *_toned(axis),
        Span("┤ "),
        Span(span(end), Tone.DIM),
    ]
    if has_words:
        spans = [*fit(spans, width - _WORDS), *_words(occurrences, limit)]
    return tuple(fit(spans, width))


def axis_signs(occurrences: Sequence[Occurrence], limit_ns: int, end_ns: int, width: int) -> str:
    """The line alone: one sign a column."""
    last = width - 1
    at_limit = min(limit_ns * last // end_ns, last)
    signs = ["─"] * at_limit + ["┃"] + ["┄"] * (last - at_limit)
    for one in occurrences:
        sign = _sign(one)
        if sign is None:
            continue
        taken = one.came_after_ns if one.latency_ns is None else one.latency_ns
        column = last if taken is None else min(taken * last // end_ns, last)
        if sign == "•" and signs[column] in "•●":
            sign = "●"
        if _RANK.index(sign) > _RANK.index(signs[column]):
            signs[column] = sign
    return "".join(signs)


def _sign(one: Occurrence) -> str | None:
    if one.outcome is Outcome.FAILED:
        return "✗"
    if one.outcome is Outcome.PASSED and one.latency_ns is not None:
        return "!" if one.tight else "•"
    return None


def _words(occurrences: Sequence[Occurrence], limit_ns: int) -> list[Span]:
    passed = [o for o in occurrences if o.outcome is Outcome.PASSED and o.latency_ns is not None]
    failed = sum(o.outcome is Outcome.FAILED for o in occurrences)
    spans = [Span(f"  limit ┃ {span(limit_ns)}")]
    if passed:
        worst = max(passed, key=lambda o: o.latency_ns or 0)
        spans = [
            Span(f"  worst {span(worst.latency_ns or 0)} of {span(limit_ns)}", Tone.WARN if worst.tight else Tone.PLAIN)
        ]
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
