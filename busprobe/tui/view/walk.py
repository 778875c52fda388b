"""What the guided walk and the wiggle test show: to be read from the other end of the vehicle."""

from __future__ import annotations

from textwrap import wrap

from busprobe.errors import counted
from busprobe.report.quantities import times
from busprobe.session.snapshot import SignalNow, Snapshot
from busprobe.session.walk import (
    REST_NS,
    STILL_NS,
    UNSEEN,
    began_elsewhere,
    edges_from_rest,
    is_in_doubt,
)
from busprobe.session.walk_seen import Seen, is_known, is_on, is_quantity, says
from busprobe.session.walk_tasks import Goal, Task, is_switch, switch_words
from busprobe.session.wiggle import Wiggle, wiggle_text
from busprobe.timeline import ASLEEP
from busprobe.tui.view.blocks import biggest, can_draw, large
from busprobe.tui.view.history import history
from busprobe.tui.view.spans import Line, Span, Tone, width_of
from busprobe.tui.view.times import clock, span
from busprobe.tui.view.values import value_cell
from busprobe.tui.view.walk_roles import WalkFound, summary


def walk_lines(found: WalkFound, picture: Snapshot, width: int, height: int, *, sounds: bool) -> list[Line]:
    """What to do now, what the signal says, and how far it has come."""
    walk = found.walk
    task = walk.task
    now = None if task is None or walk.place is None else picture.signal(task.signal)
    if task is None or now is None or walk.place is None:
        return _between(found, width, sounds=sounds)
    seen = walk.seen
    position = task.positions[seen.position if seen is not None else 0] if task.positions else ""
    prompt = task.prompt.replace("{position}", position)
    lines: list[Line] = [(Span(f" {walk.place + 1} of {len(walk.tasks)}  ", Tone.HEAD), Span(task.role, Tone.HEAD),
                          Span(f"  {now.name}, {now.source}", Tone.DIM), *_why(now))]  # fmt: skip
    lines += _wrapped("▶ ", prompt, width, Tone.NOTE, Tone.STRONG)
    if task.on_means:
        says_on = f"It must say {switch_words(task.role)[0]} while {task.on_means}."
        lines += _wrapped("  ", says_on, width, Tone.DIM, Tone.PLAIN)
    if task.goal is Goal.SWITCH and seen is not None:
        lines += _wrapped("! ", _not_at_rest(task, seen), width, Tone.WARN, Tone.WARN)
    for caution in task.cautions:
        lines += _wrapped("! ", caution, width, Tone.WARN, Tone.WARN)
    low = [_progress(task, seen, picture, width), _bell(sounds=sounds, keys="b bell · n next · a ask again")]
    big = _big(now, width, height - len(lines) - len(low), is_switch=task.goal is Goal.SWITCH)
    return [*[*lines, *big][: max(height - len(low), 1)], *low]


def _not_at_rest(task: Task, seen: Seen) -> str:
    """That a switch does not rest, before it counts or once all is done; empty where it is as it should be."""
    word = switch_words(task.role)[task.rests_on]
    if began_elsewhere(task, seen) and not seen.edges:
        return f"It says {word}: bring it to rest first. If it rests already, go on: it is the wrong way round."
    if is_in_doubt(task, seen) and seen.t_ns - seen.quiet_since_ns >= REST_NS:
        left = max(STILL_NS - (seen.t_ns - seen.quiet_since_ns), 0)
        return (
            f"It says {word}: bring it to rest. If it rests already it is the wrong way round: n, or wait {span(left)}."
        )
    return ""


def _between(found: WalkFound, width: int, *, sounds: bool) -> list[Line]:
    """Before the first and after the last task."""
    tasks = found.walk.tasks
    if found.is_replay:
        return _replayed(found, width, sounds=sounds)
    if not tasks:
        return _wrapped(
            "", "No signal of the bench file has a role: there is nothing to ask for.", width, words=Tone.DIM
        )
    if any(found.roles):
        lines = _wrapped("", f"{summary(found)}.", width, words=Tone.STRONG)
        lines += _wrapped("  ", "Enter on a row asks for that one again; s goes on with what is left.", width)
    else:
        lines = [(Span(f" {counted(len(tasks), 'role')} to confirm.", Tone.STRONG),)]
        lines += _wrapped("▶ ", "s starts. The screen asks for one action at a time and goes on by itself.", width)
        lines += _wrapped("  ", "w watches the selected signal alone, while you wiggle its wires.", width)
    lines += _wrapped(
        "! ", "Park brake on, wheels chocked, nobody in front of or behind the vehicle.", width, Tone.WARN
    )
    return [*lines, _bell(sounds=sounds, keys="b turns it on or off")]


def _replayed(found: WalkFound, width: int, *, sounds: bool) -> list[Line]:
    """Of a recording: what was found when it was made, and what can be done with it."""
    if found.recorded:
        told = f"Found while recording: {summary(found._replace(here=()))}."
        lines = _wrapped("", told, width, words=Tone.STRONG)
        lines += _wrapped("▶ ", "j goes to the instant of the selected result; k and ←→ go through them.", width)
        if any(result.t_ns < found.start_ns for result in found.recorded):
            lines += _wrapped("  ", "A time with a minus is before the recording began.", width)
    else:
        lines = _wrapped("", "No result of a walk is in this recording.", width, words=Tone.STRONG)
    if found.walk.tasks:
        lines += _wrapped(
            "  ", "s asks for one role after the other and watches what is played; it is not kept.", width
        )
    return [*lines, _bell(sounds=sounds, keys="b turns it on or off")]


def _wrapped(sign: str, text: str, width: int, tone: Tone = Tone.NOTE, words: Tone = Tone.PLAIN) -> list[Line]:
    parts = wrap(text, max(width - 4, 20)) if text else []
    return [(Span(f" {sign if i == 0 else '  '}", tone), Span(part, words)) for i, part in enumerate(parts)]


def _bell(*, sounds: bool, keys: str) -> Line:
    state = Span("bell on", Tone.ON) if sounds else Span("bell off", Tone.DIM)
    return Span(" "), state, Span(f" · {keys}", Tone.DIM)


def _big(now: SignalNow, width: int, height: int, *, is_switch: bool) -> list[Line]:
    """The value in block letters, or in one line where they do not fit. is_switch: it says ON or OFF."""
    if height <= 0:
        return []
    on = is_on(now) if is_switch else None
    if height < 3:
        return [(Span(" "), *(value_cell(now) if on is None else (Span(says(now), Tone.ON if on else Tone.PLAIN),)))]
    if not is_known(now):
        tone = Tone.DIM if now.code == ASLEEP else Tone.WARN
    else:
        tone = Tone.PLAIN if is_on(now) is False and (now.is_condition or is_switch) else Tone.ON
    lines = huge(_short(now) if on is None else says(now), width - 4, height - 1)
    pad: list[Line] = [()] if height > len(lines) else []
    return [*pad, *((Span(f"   {line}", tone),) for line in lines), *([()] if height > len(lines) + 1 else [])]


def huge(text: str, width: int, height: int) -> list[str]:
    """Block letters as large as they go; a dot takes two cells by one, or two or three times that."""
    for dot in (3, 2) if can_draw(text) else ():
        lines = [line for line in large(text, 2 * dot) for _ in range(dot)]
        if len(lines) <= height and len(lines[0]) <= width:
            return lines
    return biggest(text, width, max(min(height, 5), 1))


def _short(now: SignalNow) -> str:
    if now.bounce.is_chattering:
        return "chattering"
    if not is_known(now):
        return "---" if now.code == ASLEEP else "???"
    return now.text.split(" ")[0] if now.unit else now.text


def _progress(task: Task, seen: Seen | None, picture: Snapshot, width: int) -> Line:
    if seen is None:
        return (Span(" …", Tone.DIM),)
    spans = [Span(" ")]
    if task.goal is Goal.SWITCH:
        edges = edges_from_rest(task, seen)
        done = min(edges, 2 * task.times)
        spans += [Span("■" * done, Tone.GOOD), Span("□" * (2 * task.times - done), Tone.DIM)]
        bounce = f", bounce {seen.bounce}" if seen.sees_bounce else ""
        spans.append(Span(f" {edges} of {2 * task.times} edges{bounce}"))
    elif task.goal is Goal.POSITIONS:
        spans += _positions(task, seen)
    elif task.goal is Goal.MOTION:
        spans.append(Span(f"lowest {seen.low:.3g}, highest {seen.high:.3g}"))
    else:
        spans.append(Span("n: it agrees; compare before you press", Tone.KEY))
    if seen.chatters:
        spans.append(Span(f"  ! chattered {times(seen.chatters)}", Tone.BAD))
    lost = Span(f"  ! lost {seen.losses}×", Tone.WARN) if seen.losses else Span("  never lost", Tone.DIM)
    spans += [lost, Span(f"  {span(picture.t_ns - seen.asked_ns)}", Tone.DIM)]
    if task.goal is Goal.SWITCH and not seen.sees_bounce:
        room = width - width_of(spans)
        spans.append(Span(f"  {UNSEEN}" if room > len(UNSEEN) + 2 else "  bounce not measurable", Tone.DIM))
    return tuple(spans)


def _why(now: SignalNow) -> list[Span]:
    """Behind the name: that it is unknown, and why."""
    return [] if is_known(now) else [Span(f"  {says(now)}", Tone.WARN)]


def _positions(task: Task, seen: Seen) -> list[Span]:
    """✓ seen, – skipped, ▶ asked for now, · to come."""
    skipped = {place for place, _ in seen.skipped}
    spans = []
    for place, position in enumerate(task.positions):
        if place in skipped:
            spans.append(Span(f"–{position} ", Tone.WARN))
        elif place < seen.position:
            spans.append(Span(f"✓{position} ", Tone.GOOD))
        else:
            is_asked = place == seen.position
            spans.append(Span(f"{'▶' if is_asked else '·'}{position} ", Tone.NOTE if is_asked else Tone.DIM))
    more = f", {len(skipped)} skipped" if skipped else ""
    spans.append(Span(f" {seen.position - len(skipped)} of {len(task.positions)} seen{more}"))
    return spans


def wiggle_lines(wiggle: Wiggle, picture: Snapshot, width: int, height: int, *, sounds: bool) -> list[Line]:
    """The wiggle test: one signal, large."""
    now = picture.signal(wiggle.signal)
    if now is None:
        return [(Span(f" No signal is named {wiggle.signal}.", Tone.WARN),)]
    head: Line = (
        Span(" Wiggle test  ", Tone.HEAD),
        Span(now.name, Tone.STRONG),
        Span(f"  {now.source}", Tone.DIM),
        *_why(now),
    )
    begun = picture.t_ns if wiggle.start_ns is None else wiggle.start_ns
    counts: Line = (
        Span(f" {counted(wiggle.edges, 'change' if is_quantity(now) else 'edge')}", Tone.STRONG),
        *_contact(wiggle, now),
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
    big = _big(now, width, height - 1 - len(low), is_switch=now.role is not None and is_switch(now))
    return [head, *big, *low][: max(height, 1)]


def _contact(wiggle: Wiggle, now: SignalNow) -> list[Span]:
    """What the contact behind the debounce does."""
    if now.bounce.is_chattering:
        raw, chatter = counted(wiggle.raw_edges, "raw edge"), f"! chattering, {times(max(wiggle.chatters, 1))} so far"
        return [Span(f", {raw}", Tone.STRONG), Span(", "), Span(chatter, Tone.BAD)]
    text = wiggle_text(wiggle)
    return [Span(f", {text}", Tone.BAD if wiggle.chatters else Tone.STRONG)] if text else []
