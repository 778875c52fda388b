"""What the guided walk and the wiggle test show: to be read from the other end of the vehicle."""

from __future__ import annotations

from textwrap import wrap

from busprobe.session.snapshot import SignalNow, Snapshot
from busprobe.session.walk import Outcome, Result, Walk
from busprobe.session.walk_seen import Seen, is_quantity
from busprobe.session.walk_tasks import Goal, Task
from busprobe.session.wiggle import Wiggle
from busprobe.timeline import FALSE, TRUE
from busprobe.tui.view.blocks import biggest, can_draw, large
from busprobe.tui.view.history import history
from busprobe.tui.view.spans import Column, Line, Row, Span, Tone, cell
from busprobe.tui.view.times import clock, span
from busprobe.tui.view.values import value_cell

ROLE_COLUMNS = (
    Column("Result", 17),
    Column("Signal", 14, grow=1),
    Column("Role", 10, drop=2),
    Column("Edges", 5, "right"),
    Column("Bounce", 6, "right", drop=1),
    Column("Lost", 4, "right", drop=1),
    Column("Took", 8, "right", drop=3),
    Column("Found", 20, grow=2),
)
_SIGNS = {
    Outcome.CONFIRMED: Span("✓ confirmed", Tone.GOOD),
    Outcome.WRONG_WAY: Span("✗ wrong way round", Tone.BAD),
    Outcome.OTHER: Span("✗ other value", Tone.BAD),
    Outcome.NOT_SEEN: Span("? not seen", Tone.WARN),
}


def role_rows(walk: Walk) -> list[Row]:
    """One row a role: what was found, in the order asked."""
    return [
        _role(task, result, is_asked=walk.place == i)
        for i, (task, result) in enumerate(zip(walk.tasks, walk.results, strict=True))
    ]


def _role(task: Task, result: Result | None, *, is_asked: bool) -> Row:
    if result is None:
        sign = Span("▶ asked for now", Tone.NOTE) if is_asked else Span("· to come", Tone.DIM)
        rest = [cell("–", Tone.DIM)] * 4
        found = cell(task.prompt.replace("{position}", "/".join(task.positions)), Tone.DIM)
    else:
        sign = _SIGNS[result.outcome]
        rest = [cell(str(n)) for n in (result.edges, result.bounce, result.losses)] + [cell(span(result.took_ns))]
        found = cell(result.text)
    copy = "" if result is None else result_line(task, result)
    return Row(task.signal, ((sign,), cell(task.signal), cell(task.role, Tone.DIM), *rest, found), copy)


def result_line(task: Task, result: Result) -> str:
    """One result as kept in the recording and printed at the end."""
    counts = [_edges(result.edges), f"bounce {result.bounce}", f"lost {result.losses}"]
    return f"{_name(task)}: {result.outcome.value}; {', '.join(counts)}; {result.text}; took {span(result.took_ns)}"


def _name(task: Task) -> str:
    is_same = task.signal.replace("_", " ") == task.role.replace("_", " ")
    return task.signal if is_same else f"{task.signal} ({task.role})"


def result_text(walk: Walk, picture: Snapshot) -> str:
    """All results, printed when the dashboard is left; empty before there are any."""
    if not any(walk.results):
        return ""
    lines = [f"Guided walk, {picture.vehicle or picture.title}: {summary(walk)}."]
    for task, result in zip(walk.tasks, walk.results, strict=True):
        if result is None:
            lines.append(f"  · {_name(task)}: not asked")
        else:
            lines.append(f"  {_SIGNS[result.outcome].text[0]} {result_line(task, result)}")
    return "\n".join(lines)


def summary(walk: Walk) -> str:
    """"7 of 9 confirmed, 1 wrong way round, 1 not seen"."""  # fmt: skip
    found = [result.outcome for result in walk.results if result is not None]
    text = f"{found.count(Outcome.CONFIRMED)} of {len(walk.tasks)} confirmed"
    others = [f"{found.count(o)} {o.value}" for o in Outcome if o is not Outcome.CONFIRMED and o in found]
    return ", ".join([text, *others])


# --- the large panel


def walk_lines(walk: Walk, picture: Snapshot, width: int, height: int, *, sounds: bool) -> list[Line]:
    """What to do now, what the signal says, and how far it has come."""
    task = walk.task
    now = None if task is None or walk.place is None else picture.signal(task.signal)
    if task is None or now is None or walk.place is None:
        return _between(walk, width, sounds=sounds)
    seen = walk.seen
    position = task.positions[seen.position if seen is not None else 0] if task.positions else ""
    prompt = task.prompt.replace("{position}", position)
    lines: list[Line] = [(Span(f" {walk.place + 1} of {len(walk.tasks)}  ", Tone.HEAD), Span(task.role, Tone.HEAD),
                          Span(f"  {now.name}, {now.source}", Tone.DIM))]  # fmt: skip
    lines += _wrapped("▶ ", prompt, width, Tone.NOTE, Tone.STRONG)
    if task.on_means:
        lines += _wrapped("  ", f"It must say ON while {task.on_means}.", width, Tone.DIM, Tone.PLAIN)
    if task.goal is Goal.SWITCH and seen is not None and not seen.raw_edges and seen.first_on is (not task.rests_on):
        says = f"It says {'ON' if seen.first_on else 'OFF'} now: begin at rest, or it is the wrong way round."
        lines += _wrapped("! ", says, width, Tone.WARN, Tone.WARN)
    for caution in task.cautions:
        lines += _wrapped("! ", caution, width, Tone.WARN, Tone.WARN)
    low = [_progress(task, seen, now, picture), _bell(sounds=sounds, keys="b bell · n next · a ask again")]
    big = _big(now, width, height - len(lines) - len(low))
    return [*[*lines, *big][: max(height - len(low), 1)], *low]


def _between(walk: Walk, width: int, *, sounds: bool) -> list[Line]:
    """Before the first and after the last task."""
    if not walk.tasks:
        return [(Span(" No signal of the bench file has a role: there is nothing to ask for.", Tone.DIM),)]
    if any(walk.results):
        lines: list[Line] = [(Span(f" {summary(walk)}.", Tone.STRONG),)]
        lines += _wrapped("  ", "Enter on a row asks for that one again; s goes on with what is left.", width)
    else:
        lines = [(Span(f" {len(walk.tasks)} roles to confirm.", Tone.STRONG),)]
        lines += _wrapped("▶ ", "s starts. The screen asks for one action at a time and goes on by itself.", width)
        lines += _wrapped("  ", "w watches the selected signal alone, while you wiggle its wires.", width)
    lines += _wrapped(
        "! ", "Park brake on, wheels chocked, nobody in front of or behind the vehicle.", width, Tone.WARN
    )
    return [*lines, _bell(sounds=sounds, keys="b turns it on or off")]


def _wrapped(sign: str, text: str, width: int, tone: Tone = Tone.NOTE, words: Tone = Tone.PLAIN) -> list[Line]:
    parts = wrap(text, max(width - 4, 20))
    return [(Span(f" {sign if i == 0 else '  '}", tone), Span(part, words)) for i, part in enumerate(parts)]


def _bell(*, sounds: bool, keys: str) -> Line:
    state = Span("bell on", Tone.ON) if sounds else Span("bell off", Tone.DIM)
    return Span(" "), state, Span(f" · {keys}", Tone.DIM)


def _big(now: SignalNow, width: int, height: int) -> list[Line]:
    """The value in block letters, or in one line where they do not fit."""
    if height <= 0:
        return []
    if height < 3:
        return [(Span(" "), *value_cell(now))]
    tone = Tone.ON if now.code == TRUE else Tone.PLAIN if now.code == FALSE else Tone.WARN
    lines = huge(_short(now), width - 4, height - 1)
    pad: list[Line] = [()] if height > len(lines) else []
    return [*pad, *((Span(f"   {line}", tone),) for line in lines), *([()] if height > len(lines) + 1 else [])]


def huge(text: str, width: int, height: int) -> list[str]:
    """Block letters as large as they go; a dot takes two cells by one, or two or three times that."""
    for times in (3, 2) if can_draw(text) else ():
        lines = [line for line in large(text, 2 * times) for _ in range(times)]
        if len(lines) <= height and len(lines[0]) <= width:
            return lines
    return biggest(text, width, max(min(height, 5), 1))


def _short(now: SignalNow) -> str:
    if now.code > TRUE:
        return "? ?"
    return now.text.split(" ")[0] if now.unit else now.text


def _progress(task: Task, seen: Seen | None, now: SignalNow, picture: Snapshot) -> Line:
    if seen is None:
        return (Span(" …", Tone.DIM),)
    spans = [Span(" ")]
    if task.goal is Goal.SWITCH:
        done = min(seen.edges, 2 * task.times)
        spans += [Span("■" * done, Tone.GOOD), Span("□" * (2 * task.times - done), Tone.DIM)]
        spans.append(Span(f" {seen.edges} of {2 * task.times} edges, bounce {seen.bounce}"))
    elif task.goal is Goal.POSITIONS:
        spans += [Span(f"{p} ", Tone.GOOD if i < seen.position else Tone.DIM) for i, p in enumerate(task.positions)]
        spans.append(Span(f" {seen.position} of {len(task.positions)} seen"))
    elif task.goal is Goal.MOTION:
        spans.append(Span(f"lowest {seen.low:.3g}, highest {seen.high:.3g}"))
    else:
        spans.append(Span("n: it agrees; compare before you press", Tone.KEY))
    lost = Span(f"  ! lost {seen.losses}×", Tone.WARN) if seen.losses else Span("  never lost", Tone.DIM)
    return (*spans, lost, Span(f"  {span(picture.t_ns - seen.asked_ns)}", Tone.DIM))


def wiggle_lines(wiggle: Wiggle, picture: Snapshot, width: int, height: int, *, sounds: bool) -> list[Line]:
    """The wiggle test: one signal, large."""
    now = picture.signal(wiggle.signal)
    if now is None:
        return [(Span(f" No signal is named {wiggle.signal}.", Tone.WARN),)]
    head: Line = (Span(" Wiggle test  ", Tone.HEAD), Span(now.name, Tone.STRONG), Span(f"  {now.source}", Tone.DIM))
    begun = picture.t_ns if wiggle.start_ns is None else wiggle.start_ns
    counts: Line = (
        Span(f" {wiggle.edges:,} changes" if is_quantity(now) else f" {_edges(wiggle.edges)}", Tone.STRONG),
        Span(", "),
        Span(f"! lost {wiggle.losses}×", Tone.BAD) if wiggle.losses else Span("never lost", Tone.DIM),
        Span(f"  for {span(picture.t_ns - begun)}", Tone.DIM),
    )
    start = picture.start_ns
    ends = [(word, at) for word, at in (("edge", wiggle.last_edge_ns), ("loss", wiggle.last_loss_ns)) if at is not None]
    last = ", ".join(f"last {word} {clock(at - start, 3)}" for word, at in ends)
    low: list[Line] = [counts, (Span(f" {last or 'no edge yet'}", Tone.DIM),)]
    if height >= 12:
        low.append((Span(" "), *history(now.strip, width - 2)))
    low.append(_bell(sounds=sounds, keys="b bell · i another signal · w ends"))
    return [head, *_big(now, width, height - 1 - len(low)), *low][: max(height, 1)]


def wiggle_text(wiggle: Wiggle) -> str:
    """One line of what a wiggle test found."""
    length = 0 if wiggle.start_ns is None else wiggle.t_ns - wiggle.start_ns
    return f"Wiggle test of {wiggle.signal}: {_edges(wiggle.edges)}, lost {wiggle.losses}× in {span(length)}"


def _edges(count: int) -> str:
    return "1 edge" if count == 1 else f"{count:,} edges"
