"""The guided walk: pictures in, what was seen of each role out. No clock, no screen, no sound.

    begin ──> watch(picture) ... ──> all results      give_up, ask_again, ask at any time

A switch is done after the edges asked for; polarity is told by what it says at rest:

    rest   press  press  press  rest
    ____|‾‾‾‾|__|‾‾‾‾|__|‾‾‾‾|______     confirmed
    ‾‾‾‾|____|‾‾|____|‾‾|____|‾‾‾‾‾‾     wrong way round, once it is sure to rest again

One that does not begin at rest, pressed already it may be, waits for rest before it counts. Of what
it does from there a press that is held is no rest either: only a long one, or a person, says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from busprobe.report.quantities import times
from busprobe.results import WalkOutcome, WalkResult
from busprobe.session.snapshot import SignalNow, Snapshot
from busprobe.session.walk_seen import MS, Happening, Seen, first_seen, is_anew, look, says
from busprobe.session.walk_tasks import Goal, Task, switch_words
from busprobe.timeline import TRUE

POSITION_NS = 300 * MS
"""A position counts once it has held for this long: the lever only passes through others."""
REST_NS = 2_500 * MS
"""Where it did not begin at rest, the action is over after this long at rest without an edge."""
STILL_NS = 10_000 * MS
"""... and after this long at the other level: nobody holds a pedal for so long who is asked to release it."""
PATIENCE_NS = 90_000 * MS
"""Without an edge for this long the walk goes on by itself."""
UNSEEN = "bounce not measurable at this poll period"
"""Of an input line that is polled too slowly."""
MOVING, STANDING = 1.0, 0.5
"""A speed in its own unit from which it moves, and below which it stands."""


@dataclass(frozen=True)
class Walk:
    """All tasks, and how far the walk has got."""

    tasks: tuple[Task, ...]
    results: tuple[WalkResult | None, ...]
    place: int | None = None
    """The task asked for; None: not begun, or over."""
    seen: Seen | None = None
    """None until the first picture after asking."""

    @property
    def task(self) -> Task | None:
        return None if self.place is None else self.tasks[self.place]


Step = tuple[Walk, tuple[Happening, ...]]


def new_walk(tasks: Sequence[Task]) -> Walk:
    return Walk(tuple(tasks), (None,) * len(tasks))


def ask(walk: Walk, place: int) -> Walk:
    """Ask for one task; what was found of it before is dropped."""
    results = tuple(None if i == place else r for i, r in enumerate(walk.results))
    return replace(walk, place=place, seen=None, results=results)


def begin(walk: Walk) -> Walk:
    """Ask for the first task without a result; all again where each has one."""
    if not walk.tasks:
        return walk
    left = [i for i, result in enumerate(walk.results) if result is None]
    return ask(walk, left[0]) if left else ask(new_walk(walk.tasks), 0)


def ask_again(walk: Walk) -> Walk:
    """The same task from its start."""
    return walk if walk.place is None else ask(walk, walk.place)


def watch(walk: Walk, picture: Snapshot) -> Step:
    """Take in a picture."""
    task = walk.task
    now = None if task is None else picture.signal(task.signal)
    if task is None or now is None:
        return walk, ()
    if walk.seen is None:
        return replace(walk, seen=first_seen(now, picture)), (Happening.PROMPT,)
    if is_anew(walk.seen, now, picture):
        return replace(walk, seen=None), ()
    before = walk.seen
    seen, happened = look(before, now, picture)
    walk = replace(walk, seen=seen)
    if task.goal is Goal.SWITCH and began_elsewhere(task, seen) and seen.edges and not before.edges:
        happened = (*happened, Happening.PROMPT)  # it has come to rest: now
    outcome = _found(task, seen, now)
    if outcome is not None:
        return _finish(walk, outcome, now, picture, happened)
    if task.goal is Goal.POSITIONS and _is_there(task, seen, now):
        return replace(walk, seen=replace(seen, position=seen.position + 1)), (*happened, Happening.PROMPT)
    since = seen.asked_ns if task.goal is Goal.COMPARE else seen.quiet_since_ns
    if seen.t_ns - since > PATIENCE_NS:
        return give_up(walk, picture, is_agreed=False)
    return walk, happened


def give_up(walk: Walk, picture: Snapshot, *, is_agreed: bool = True) -> Step:
    """Go on with what was seen. is_agreed: a person says so, who has compared the value."""
    task, seen = walk.task, walk.seen
    now = None if task is None else picture.signal(task.signal)
    if task is None or seen is None or now is None:
        return walk, ()
    if task.goal is Goal.POSITIONS:
        seen = replace(seen, skipped=(*seen.skipped, (seen.position, now.text)), moved_ns=seen.t_ns)
        walk = replace(walk, seen=seen)
        if seen.position + 1 < len(task.positions):
            return replace(walk, seen=replace(seen, position=seen.position + 1)), (Happening.PROMPT,)
    return _finish(walk, _judged(task, seen, is_agreed=is_agreed), now, picture, ())


# --- one task


def _found(task: Task, seen: Seen, now: SignalNow) -> WalkOutcome | None:
    """The outcome once it can be told."""
    match task.goal:
        case Goal.SWITCH:
            return _switched(task, seen)
        case Goal.MOTION:
            if seen.low <= -MOVING:
                return WalkOutcome.WRONG_WAY
            is_back = seen.high >= MOVING and now.value is not None and now.value < STANDING
            return WalkOutcome.CONFIRMED if is_back else None
        case Goal.POSITIONS:
            is_last = seen.position + 1 == len(task.positions)
            return _positions(seen) if is_last and _is_there(task, seen, now) else None
    return None


def began_elsewhere(task: Task, seen: Seen) -> bool:
    """Whether a switch did not begin at rest: pressed already, or the wrong way round."""
    return seen.first_on is not None and seen.first_on != task.rests_on


def edges_from_rest(task: Task, seen: Seen) -> int:
    """Edges of a switch, without the one that brought it to rest first."""
    return max(seen.edges - began_elsewhere(task, seen), 0)


def is_in_doubt(task: Task, seen: Seen) -> bool:
    """Whether a switch that did not begin at rest stands there again, all done: pressed, or the wrong way round."""
    return began_elsewhere(task, seen) and seen.edges >= 2 * task.times and seen.settled_on != task.rests_on


def _switched(task: Task, seen: Seen) -> WalkOutcome | None:
    quiet_ns = seen.t_ns - seen.quiet_since_ns
    if is_in_doubt(task, seen):
        return WalkOutcome.WRONG_WAY if quiet_ns >= STILL_NS else None
    if edges_from_rest(task, seen) < 2 * task.times:
        return None
    return None if began_elsewhere(task, seen) and quiet_ns < REST_NS else WalkOutcome.CONFIRMED


def _is_there(task: Task, seen: Seen, now: SignalNow) -> bool:
    """Whether the position asked for has been held long enough."""
    if now.code > TRUE or now.text != task.positions[seen.position] or now.since_ns is None:
        return False
    return seen.t_ns - now.since_ns >= POSITION_NS and seen.t_ns - seen.asked_ns >= POSITION_NS


def _positions(seen: Seen) -> WalkOutcome:
    if not seen.skipped:
        return WalkOutcome.CONFIRMED
    return WalkOutcome.OTHER if seen.raw_edges else WalkOutcome.NOT_SEEN


def _judged(task: Task, seen: Seen, *, is_agreed: bool) -> WalkOutcome:
    """The outcome where the action was not completed: one full turn is enough."""
    match task.goal:
        case Goal.SWITCH if seen.edges >= 2:
            is_wrong = began_elsewhere(task, seen) and seen.settled_on != task.rests_on
            return WalkOutcome.WRONG_WAY if is_wrong else WalkOutcome.CONFIRMED
        case Goal.COMPARE if is_agreed and seen.is_known:
            return WalkOutcome.CONFIRMED
        case Goal.POSITIONS:
            return _positions(seen)
    return WalkOutcome.NOT_SEEN


def _finish(
    walk: Walk, outcome: WalkOutcome, now: SignalNow, picture: Snapshot, happened: tuple[Happening, ...]
) -> Step:
    task, seen, place = walk.task, walk.seen, walk.place
    assert task is not None
    assert seen is not None
    assert place is not None
    took = picture.t_ns - seen.asked_ns
    text = _text(task, seen, outcome, now)
    if seen.glitches > 0:
        text += f"; the debounce of its line took out {seen.glitches} pulse{'s' if seen.glitches > 1 else ''}"
    if seen.chatters:
        text += f"; its contact chattered {times(seen.chatters)}"
    if task.goal is Goal.SWITCH and not seen.sees_bounce:
        text += f"; {UNSEEN}"
    edges = edges_from_rest(task, seen) if outcome is WalkOutcome.CONFIRMED else seen.edges
    found = WalkResult(
        task.signal, task.role, outcome, edges or seen.raw_edges, _bounce(task, seen), seen.losses,
        picture.t_ns, took, text,
    )  # fmt: skip
    results = tuple(found if i == place else r for i, r in enumerate(walk.results))
    walk = replace(walk, results=results, place=None, seen=None)
    after = [i for i in (*range(place + 1, len(results)), *range(place)) if results[i] is None]
    return (ask(walk, after[0]) if after else walk), (*happened, Happening.RESULT)


def _bounce(task: Task, seen: Seen) -> int | None:
    return seen.bounce if task.goal is Goal.SWITCH and seen.sees_bounce else None


def _text(task: Task, seen: Seen, outcome: WalkOutcome, now: SignalNow) -> str:
    match task.goal:
        case Goal.MOTION:
            unit = f" {now.unit}" if now.unit else ""
            return f"from {seen.low:.3g} to {seen.high:.3g}{unit}"
        case Goal.COMPARE:
            return f"{now.text} agrees" if outcome is WalkOutcome.CONFIRMED else f"says {now.text}, not compared"
        case Goal.POSITIONS:
            return _positions_text(task, seen)
    if outcome is WalkOutcome.NOT_SEEN:
        return f"{edges_from_rest(task, seen)} of {2 * task.times} edges, says {says(now)}"
    on, off = switch_words(task.role)
    return f"{on if outcome is WalkOutcome.CONFIRMED else off} while {task.on_means}"


def _positions_text(task: Task, seen: Seen) -> str:
    """Each position, or those that were skipped, with what it said instead."""
    if not seen.skipped:
        return "each position: " + " ".join(task.positions)
    skipped = ", ".join(f"{task.positions[place]} (said {text})" for place, text in seen.skipped)
    count = len(task.positions)
    return f"{count - len(seen.skipped)} of {count} seen; skipped: {skipped}"
