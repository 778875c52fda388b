"""The controller as a closed box: an edge goes in, an edge comes out, and the time between."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from textwrap import wrap
from typing import NamedTuple

from busprobe.results import CheckResult, Occurrence, Outcome, Verdict
from busprobe.session.snapshot import ClosedBox, SignalPath, Snapshot
from busprobe.tui.view.blocks import DOT_ROWS
from busprobe.tui.view.boxes import HEAVY, box
from busprobe.tui.view.came import came_brief, came_text, doubt_text
from busprobe.tui.view.room_text import drawn as room_drawn
from busprobe.tui.view.room_text import fitting
from busprobe.tui.view.spans import Line, Span, Tone, fit, plain, width_of
from busprobe.tui.view.times import clock, span
from busprobe.tui.view.values import value_cell
from busprobe.tui.view.wrapped import wrapped

_BAR = "█░"
STANDING = ("never", "always")
"""Kinds of checks that no edge puts to the test."""
LARGE_ROWS = ((DOT_ROWS, DOT_ROWS), (DOT_ROWS, 3), (3, 3), (0, 3))
"""Lines that delay and verdict take in block letters, the largest first."""


class Passage(NamedTuple):
    """One way through the controller, in words."""

    cause: str
    caused: str
    """When the input edge came."""
    effect: str
    effected: str
    delay: str
    doubt: str
    """How exactly the delay is known: "± 10 ms"; empty where it was not measured, or exactly enough."""
    limit: str
    share: float | None
    """Delay, or time waited so far, as a part of the limit; None: there is none."""
    verdict: str
    """A shape and a word."""
    tone: Tone
    note: str = ""
    """Why; one short phrase."""
    cause_now: Line = ()
    """What the signal at the input says at this instant; empty where it is an expression."""
    effect_now: Line = ()

    @property
    def told(self) -> str:
        """The verdict and why."""
        return f"{self.verdict}: {self.note}" if self.note else self.verdict


_VERDICTS = {
    Outcome.PASSED: ("✓ passed", Tone.GOOD),
    Outcome.FAILED: ("✗ FAILED", Tone.BAD),
    Outcome.UNDECIDED: ("? undecided", Tone.WARN),
    Outcome.ALREADY: ("= already so, proves nothing", Tone.WARN),
    Outcome.CUT: ("/ cut short", Tone.DIM),
}


_KEPT = {
    Outcome.PASSED: "obeyed",
    Outcome.FAILED: "VIOLATED",
    Outcome.UNDECIDED: "unknown",
    Outcome.ALREADY: "obeyed",
    Outcome.CUT: "obeyed until then",
}
"""What came of a check of the kinds never and always."""


def standing(path: SignalPath, picture: Snapshot) -> tuple[ClosedBox, ...]:
    """Boxes of the never and always checks that use the signal: without an edge, without a latency."""
    results = {result.name: result for result in picture.checks}
    names = dict.fromkeys(user.name for user in path.users if user.kind == "check")
    made = []
    for result in (results[name] for name in names if name in results):
        if result.kind in STANDING:
            last = max(result.occurrences, key=lambda o: o.t_ns, default=None)
            since_ns = None if last is None else last.t_ns
            when = result.when or "at any time"
            made.append(ClosedBox(when, since_ns, result.expected, None, result.name, None))
    return tuple(made)


def is_standing(closed: ClosedBox, picture: Snapshot) -> bool:
    return any(result.name == closed.check and result.kind in STANDING for result in picture.checks)


def passage(closed: ClosedBox, picture: Snapshot) -> Passage:
    """What went in last and what came out, as decided up to the picture's time."""
    cause_now, effect_now = _says_now(closed.cause, picture), _says_now(closed.effect, picture)
    if closed.cause_ns is None:
        return Passage(
            closed.cause, "no edge yet", closed.effect, "-", "-", "", _limit(closed.limit_ns), None,
            "○ not exercised", Tone.DIM, "", cause_now, effect_now,
        )  # fmt: skip
    last = _occurrence(closed, picture)
    limit_ns = last.limit_ns if last is not None and last.limit_ns is not None else closed.limit_ns
    part = f"{last.part} " if last is not None and last.part else ""
    waited = max(picture.t_ns - closed.cause_ns, 0)
    taken = closed.delay_ns
    if closed.effect_ns is not None:
        effected, delay = f"{part}at {clock(closed.effect_ns - picture.start_ns, 3)}", span(taken or 0)
    elif last is None and is_standing(closed, picture):
        effected, delay = "not decided yet", "-"
    elif last is None:
        effected, delay, taken = "not come yet", f"{span(waited)} so far", waited
    elif is_standing(closed, picture):
        effected, delay = f"{part}{_KEPT[last.outcome]}", "-" if last.length_ns is None else span(last.length_ns)
    elif came_brief(last):
        effected, delay, taken = f"{part}{came_text(last)}", came_brief(last), last.came_after_ns
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
        "" if last is None or taken is None else doubt_text(last),
        _limit(limit_ns) if not is_standing(closed, picture) else "no latency",
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


def _verdict(last: Occurrence | None) -> tuple[str, Tone, str]:
    if last is None:
        return "… waiting", Tone.NOTE, ""
    word, tone = _VERDICTS[last.outcome]
    return (f"{word}, tight" if last.tight else word), tone, last.note


def in_order(boxes: Sequence[ClosedBox], picture: Snapshot, check: str | None = None) -> list[ClosedBox]:
    """The box of the check asked for first; then what failed, then the newest input edge; without one last.

    What is never or always to be so comes after all that has an edge, unless it failed.
    """
    results = {result.name: result for result in picture.checks}

    def rank(closed: ClosedBox) -> tuple[int | bool, ...]:
        last, result = _occurrence(closed, picture), results.get(closed.check)
        rest = 3 if is_standing(closed, picture) else 2
        has_failed = 0 if last is not None and last.outcome is Outcome.FAILED else 1 if _fails(result) else rest
        return closed.check != check, has_failed, closed.cause_ns is None, -(closed.cause_ns or 0)

    return sorted(boxes, key=rank)


def _fails(result: CheckResult | None) -> bool:
    return result is not None and result.verdict is Verdict.FAIL


def opened(boxes: Sequence[ClosedBox], checks: Sequence[CheckResult], t_ns: int) -> tuple[ClosedBox, ...]:
    """The boxes with occurrences that have begun by now and are decided later. checks: of the whole recording."""
    results = {result.name: result for result in checks}
    return tuple(_opened(box, results[box.check], t_ns) if box.check in results else box for box in boxes)


def _opened(closed: ClosedBox, result: CheckResult, t_ns: int) -> ClosedBox:
    last = max((o for o in result.occurrences if o.t_ns <= t_ns < o.decided_ns), key=lambda o: o.t_ns, default=None)
    if last is None:
        return closed
    came_ns = None if last.latency_ns is None else last.t_ns + last.latency_ns
    return replace(closed, cause_ns=last.t_ns, effect_ns=came_ns if came_ns is None or came_ns <= t_ns else None)


def next_check(boxes: Sequence[ClosedBox], picture: Snapshot, check: str | None) -> str | None:
    """The check after the one that is drawn, in the order of the bench file, round the end; None: there is none."""
    if not boxes:
        return None
    here = boxes.index(in_order(boxes, picture, check)[0])
    return boxes[(here + 1) % len(boxes)].check


def bar(share: float | None, width: int) -> str:
    """The time taken as a bar whose full width is the limit."""
    filled = min(round((share or 0.0) * width), width)
    return _BAR[0] * filled + _BAR[1] * (width - filled)


@lru_cache(32)
def drawn(says: Passage, check: str, width: int, *, rows: tuple[int, int] = (0, 0), room: int = 0) -> tuple[Line, ...]:
    """Three boxes with arrows between. rows: lines for the delay and the verdict in block letters; 0: plain ones.

    room: lines for all of it; it takes more than the least only for texts that would be cut.
    """
    middle = max(width // 2 if any(rows) else width * 2 // 5, 24)
    arrow = "─" * (4 if width >= 100 else 2) + "▶"
    side = (width - middle - 2 * len(arrow)) // 2
    inside = _middle(says, middle - 4, *rows)
    title = f"controller: {check}"
    first, *more = wrap(title, middle - 4)
    name: list[Line] = [(Span(text, Tone.HEAD),) for text in wrap(" ".join(more), middle - 4)]
    ends = ((says.cause, says.caused, says.cause_now), (says.effect, says.effected, says.effect_now))
    allowed = max(room - 2, len(inside), *(len(_edge(*end, side - 4, 0)) for end in ends))
    if name and len(name) + len(inside) <= allowed:
        title, inside = first, [*name, *inside]
    edges = [_edge(*end, side - 4, allowed) for end in ends]
    height = max(len(inside), *(len(edge) for edge in edges))
    left = box("input edge", _centred(edges[0], height), side)
    inside += [()] * (height - len(inside))
    centre = box(title, inside, middle, edge=HEAVY, tone=says.tone)
    right = box("output edge", _centred(edges[1], height), side)
    arrow_at = len(left) // 2
    lines: list[Line] = []
    for i, parts in enumerate(zip(left, centre, right, strict=True)):
        link = Span(arrow if i == arrow_at else " " * len(arrow), Tone.HEAD)
        lines.append((*parts[0], link, *parts[1], link, *parts[2]))
    return tuple(lines)


def largest(says: Passage, check: str, width: int, room: int) -> tuple[Line, ...]:
    """The boxes with delay and verdict as large as `room` lines allow."""
    made = (drawn(says, check, width, rows=rows) for rows in LARGE_ROWS)
    return next((lines for lines in made if len(lines) <= room), None) or drawn(says, check, width)


def _edge(name: str, happened: str, now: Line, width: int, room: int) -> list[Line]:
    """Name, instant and present state of an edge. room: lines; name and state are cut where it does not do."""
    when: list[Line] = [(Span(text),) for text in wrap(happened, max(width, 8))]
    names: list[Line] = [(Span(text, Tone.STRONG),) for text in wrap(name, max(width, 8))]
    states = list(wrapped(now, width)) if now else [now]
    if len(names) + len(when) + len(states) > room:
        states = [now]
    left = max(room - len(when) - len(states), 1)
    if len(names) > left:
        names = [*names[: left - 1], (Span(" ".join(plain(part) for part in names[left - 1 :]), Tone.STRONG),)]
    return [*names, *when, *states]


def _centred(lines: list[Line], height: int) -> list[Line]:
    above = (height - len(lines)) // 2
    return [*[()] * above, *lines, *[()] * (height - len(lines) - above)]


def _middle(says: Passage, width: int, delay_rows: int, verdict_rows: int) -> list[Line]:
    number, _, unit = says.delay.partition(" ")
    delay = fitting(number, unit, width, delay_rows) if says.delay != "-" else None
    doubt = f" {says.doubt}" if says.doubt else ""
    word = says.verdict[2:].split(",")[0]
    verdict = fitting(word, "", width, verdict_rows)
    if delay is not None and fitting(number, unit + doubt, width, delay_rows) == delay:
        unit, doubt = unit + doubt, ""
    limit = Span(f"   {says.limit}")
    rule: Line = (Span(bar(says.share, width), says.tone if says.share is not None else Tone.DIM),)
    told: Line = (Span(says.verdict, says.tone), *((limit,) if delay is not None else ()))
    if delay is not None and doubt and width_of(told) + len(f"{doubt},") <= width:
        told = (told[0], Span(f"  {doubt}, {says.limit}"))
    lines: list[Line] = [] if delay is None else room_drawn(number, unit, delay, Tone.STRONG)
    if delay is None and len(f"{says.delay}{doubt}{limit.text}") > width:
        limit = Span(limit.text.replace("   limit", " of"))
    lines += [rule] if delay is not None else [rule, (Span(says.delay, Tone.STRONG), Span(doubt), limit)]
    lines += [] if verdict is None else room_drawn(word, "", verdict, says.tone)
    return [*lines, told, *([(Span(says.note, says.tone),)] if says.note else [])]


def in_one_line(says: Passage, check: str, width: int) -> Line:
    """The same where there is no room for boxes."""
    return tuple(fit(one_line(says, check), width))


def one_line(says: Passage, check: str) -> Line:
    """The same, as long as it is."""
    return (
        Span(says.cause, Tone.STRONG),
        Span(" ─▶ ┃ ", Tone.HEAD),
        Span(f"{says.delay} {says.doubt}".rstrip() + f", {says.limit}, "),
        Span(says.told, says.tone),
        Span(" ┃─▶ ", Tone.HEAD),
        Span(says.effect, Tone.STRONG),
        Span(f"   {check}", Tone.DIM),
    )
