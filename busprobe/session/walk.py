"""The guided walk: pictures in, what was seen of each role out. No clock, no screen, no sound.

    begin ──> watch(picture) ... ──> all results      give_up, ask_again, ask at any time

A switch is done after the edges asked for; polarity is told by what it says at rest:

    rest   press  press  press  rest
    ____|‾‾‾‾|__|‾‾‾‾|__|‾‾‾‾|______     confirmed
    ‾‾‾‾|____|‾‾|____|‾‾|____|‾‾‾‾‾‾     wrong way round, once it rests again
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from busprobe.results import WalkOutcome, WalkResult
from busprobe.session.snapshot import SignalNow, Snapshot
from busprobe.session.walk_seen import MS, Happening, Seen, first_seen, is_anew, look
from busprobe.session.walk_tasks import Goal, Task
from busprobe.timeline import TRUE

POSITION_NS = 300 * MS
"""A position counts once it has held for this long: the lever only passes through others."""
REST_NS = 2_500 * MS
"""Where it did not begin at rest, the action is over after this long without an edge."""
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
    seen, happened = look(walk.seen, now, picture)
    walk = replace(walk, seen=seen)
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
        missing = (*seen.missing, f"{task.positions[seen.position]} asked, {now.text} seen")
        seen = replace(seen, missing=missing, moved_ns=seen.t_ns)
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


def _switched(task: Task, seen: Seen) -> WalkOutcome | None:
    if seen.edges < 2 * task.times:
        return None
    if seen.first_on == task.rests_on:
        return WalkOutcome.CONFIRMED
    if seen.t_ns - seen.quiet_since_ns < REST_NS:
        return None
    return WalkOutcome.CONFIRMED if seen.settled_on == task.rests_on else WalkOutcome.WRONG_WAY


def _is_there(task: Task, seen: Seen, now: SignalNow) -> bool:
    """Whether the position asked for has been held long enough."""
    if now.code > TRUE or now.text != task.positions[seen.position] or now.since_ns is None:
        return False
    return seen.t_ns - now.since_ns >= POSITION_NS and seen.t_ns - seen.asked_ns >= POSITION_NS


def _positions(seen: Seen) -> WalkOutcome:
    if not seen.missing:
        return WalkOutcome.CONFIRMED
    return WalkOutcome.OTHER if seen.raw_edges else WalkOutcome.NOT_SEEN


def _judged(task: Task, seen: Seen, *, is_agreed: bool) -> WalkOutcome:
    """The outcome where the action was not completed: one full turn is enough."""
    match task.goal:
        case Goal.SWITCH if seen.edges >= 2:
            return WalkOutcome.CONFIRMED if seen.settled_on == task.rests_on else WalkOutcome.WRONG_WAY
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
    if task.goal is Goal.SWITCH and not seen.sees_bounce:
        text += f"; {UNSEEN}"
    found = WalkResult(
        task.signal, task.role, outcome, seen.edges or seen.raw_edges, _bounce(task, seen), seen.losses,
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
            return "; ".join(seen.missing) or "each position: " + " ".join(task.positions)
    if outcome is WalkOutcome.NOT_SEEN:
        return f"{seen.edges} of {2 * task.times} edges, says {now.text}"
    return f"{'ON' if outcome is WalkOutcome.CONFIRMED else 'OFF'} while {task.on_means}"
