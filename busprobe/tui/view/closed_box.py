"""The controller as a closed box: an edge goes in, an edge comes out, and the time between."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from busprobe.results import Occurrence, Outcome
from busprobe.session.snapshot import ClosedBox, Snapshot
from busprobe.tui.view.blocks import DOT_ROWS
from busprobe.tui.view.boxes import HEAVY, box
from busprobe.tui.view.room_text import drawn as room_drawn
from busprobe.tui.view.room_text import fitting
from busprobe.tui.view.spans import Line, Span, Tone, fit
from busprobe.tui.view.times import clock, span
from busprobe.tui.view.values import value_cell

_BAR = "█░"


class Passage(NamedTuple):
    """One way through the controller, in words."""

    cause: str
    caused: str
    """When the input edge came."""
    effect: str
    effected: str
    delay: str
    limit: str
    share: float | None
    """Delay, or time waited so far, as a part of the limit; None: there is none."""
    verdict: str
    """A shape and a word."""
    tone: Tone
    cause_now: Line = ()
    """What the signal at the input says at this instant; empty where it is an expression."""
    effect_now: Line = ()


_VERDICTS = {
    Outcome.PASSED: ("✓ passed", Tone.GOOD),
    Outcome.FAILED: ("✗ FAILED", Tone.BAD),
    Outcome.UNDECIDED: ("? undecided", Tone.WARN),
    Outcome.ALREADY: ("= already so, proves nothing", Tone.WARN),
    Outcome.CUT: ("/ cut short", Tone.DIM),
}


def passage(closed: ClosedBox, picture: Snapshot) -> Passage:
    """What went in last and what came out, as decided up to the picture's time."""
    cause_now, effect_now = _says_now(closed.cause, picture), _says_now(closed.effect, picture)
    if closed.cause_ns is None:
        return Passage(
            closed.cause, "no edge yet", closed.effect, "-", "-", _limit(closed.limit_ns), None,
            "○ not exercised", Tone.DIM, cause_now, effect_now,
        )  # fmt: skip
    last = _occurrence(closed, picture)
    limit_ns = last.limit_ns if last is not None and last.limit_ns is not None else closed.limit_ns
    part = f"{last.part} " if last is not None and last.part else ""
    waited = max(picture.t_ns - closed.cause_ns, 0)
    taken = closed.delay_ns
    if closed.effect_ns is not None:
        effected, delay = f"{part}at {clock(closed.effect_ns - picture.start_ns, 3)}", span(taken or 0)
    elif last is None:
        effected, delay, taken = "not come yet", f"{span(waited)} so far", waited
    else:
        effected, delay = "no edge counted", "-"
    share = taken / limit_ns if limit_ns and taken is not None else None
    caused = f"{part}at {clock(closed.cause_ns - picture.start_ns, 3)}"
    return Passage(
        closed.cause,
        caused,
        closed.effect,
        effected,
        delay,
        _limit(limit_ns),
        share,
        *_verdict(last),
        cause_now,
        effect_now,
    )


def _limit(limit_ns: int | None) -> str:
    return "no limit" if limit_ns is None else f"limit {span(limit_ns)}"


def _says_now(name: str, picture: Snapshot) -> Line:
    signal = picture.signal(name)
    return () if signal is None else (Span("now ", Tone.DIM), *value_cell(signal))


def _occurrence(closed: ClosedBox, picture: Snapshot) -> Occurrence | None:
    for check in picture.checks:
        if check.name == closed.check:
            return next((o for o in reversed(check.occurrences) if o.t_ns == closed.cause_ns), None)
    return None


def _verdict(last: Occurrence | None) -> tuple[str, Tone]:
    if last is None:
        return "… waiting", Tone.NOTE
    word, tone = _VERDICTS[last.outcome]
    if last.tight:
        word += ", tight"
    return (f"{word}: {last.note}" if last.note else word), tone


def newest(boxes: Sequence[ClosedBox]) -> list[ClosedBox]:
    """The box of the newest input edge first; those without one last."""
    return sorted(boxes, key=lambda b: (b.cause_ns is None, -(b.cause_ns or 0)))


def bar(share: float | None, width: int) -> str:
    """The time taken as a bar whose full width is the limit."""
    filled = min(round((share or 0.0) * width), width)
    return _BAR[0] * filled + _BAR[1] * (width - filled)


def drawn(says: Passage, check: str, width: int, *, large: bool = False) -> list[Line]:
    """Three boxes with arrows between; large: the delay in block characters, if there is room."""
    middle = max(width * 2 // 5, 24)
    arrow = "─" * (4 if width >= 100 else 2) + "▶"
    side = (width - middle - 2 * len(arrow)) // 2
    inside = _middle(says, middle - 4, large=large)
    left = box("input edge", _edge(says.cause, says.caused, says.cause_now, len(inside)), side)
    centre = box(f"controller: {check}", inside, middle, edge=HEAVY, tone=says.tone)
    right = box("output edge", _edge(says.effect, says.effected, says.effect_now, len(inside)), side)
    arrow_at = len(left) // 2
    lines: list[Line] = []
    for i, parts in enumerate(zip(left, centre, right, strict=True)):
        link = Span(arrow if i == arrow_at else " " * len(arrow), Tone.HEAD)
        lines.append((*parts[0], link, *parts[1], link, *parts[2]))
    return lines


def _edge(name: str, happened: str, now: Line, height: int) -> list[Line]:
    """Name, instant and present state of an edge, in the middle of `height` lines."""
    above = (height - 3) // 2
    return [*[()] * above, (Span(name, Tone.STRONG),), (Span(happened),), now, *[()] * (height - 3 - above)]


def _middle(says: Passage, width: int, *, large: bool) -> list[Line]:
    measure: Line = (Span(says.delay, Tone.STRONG), Span(f"   {says.limit}"))
    rule: Line = (Span(bar(says.share, width), says.tone if says.share is not None else Tone.DIM),)
    verdict: Line = (Span(says.verdict, says.tone),)
    number, _, unit = says.delay.partition(" ")
    scale = fitting(number, unit, width, DOT_ROWS) if large else None
    if scale is not None and says.delay != "-":
        return [*room_drawn(number, unit, scale, Tone.STRONG), rule, (*verdict, Span(f"   {says.limit}"))]
    return [rule, measure, verdict]


def in_one_line(says: Passage, check: str, width: int) -> Line:
    """The same where there is no room for boxes."""
    line = (
        Span(says.cause, Tone.STRONG),
        Span(" ─▶ ┃ ", Tone.HEAD),
        Span(f"{says.delay}, {says.limit}, "),
        Span(says.verdict, says.tone),
        Span(" ┃─▶ ", Tone.HEAD),
        Span(says.effect, Tone.STRONG),
        Span(f"   {check}", Tone.DIM),
    )
    return tuple(fit(line, width))
