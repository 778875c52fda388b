"""Pictures of one signal, drawn from a list of change points."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

from busprobe.engine.history import NO_BOUNCE, Bounce
from busprobe.results import WalkResult
from busprobe.session.scene import Scene
from busprobe.session.snapshot import Kind, SignalNow, Snapshot
from busprobe.session.walk import Step, Walk, ask, new_walk, watch
from busprobe.session.walk_seen import Happening
from busprobe.session.walk_tasks import Task

MS = 1_000_000
START = 1_768_000_000_000_000_000

Points = Sequence[tuple[int, float | str | None]]
"""(time in ms, level 0 or 1, a label, a quantity, or None for unknown)."""


def at(ms: int) -> int:
    return START + ms * MS


def signal(points: Points, ms: int, *, unit: str | None = None, role: str = "door") -> SignalNow:
    """The signal as it stands at a time."""
    past = [(t, v) for t, v in points if t <= ms]
    since, value = past[-1]
    known = [a is not None and b is not None for (_, a), (_, b) in pairwise(past)]
    is_condition = unit is None and not isinstance(value, str)
    code = 2 if value is None else int(bool(value)) if is_condition else 1
    number = value if isinstance(value, int | float) else None if value is None else 1.0
    text = "unknown" if value is None else value if isinstance(value, str) else ("off", "on")[code]
    if unit is not None and value is not None:
        text = f"{value} {unit}"
    return SignalNow(
        "it", role, Kind.LINE, "box.it", code, is_condition, number, text, unit, at(since), 0, None, sum(known)
    )


def picture(points: Points, ms: int, *, unit: str | None = None, bounce: Bounce = NO_BOUNCE) -> Snapshot:
    now = replace(signal(points, ms, unit=unit), bounce=bounce)
    return Snapshot("live", "", "live", at(ms), START, at(ms), (now,))


def pictures(points: Points, until: int, every: int, unit: str | None = None) -> Iterator[Snapshot]:
    return (picture(points, ms, unit=unit) for ms in range(0, until + 1, every))


def walked(
    task: Task, points: Points, until: int, every: int = 50, unit: str | None = None
) -> tuple[Walk, list[Happening]]:
    """A walk of one task after all pictures, and everything that happened."""
    walk = ask(new_walk([task]), 0)
    heard: list[Happening] = []
    for one in pictures(points, until, every, unit):
        step: Step = watch(walk, one)
        walk, happened = step
        heard += happened
    return walk, heard


def found_next(scene: Scene) -> WalkResult:
    """The next role of a scene asked for and given up at once: a result, kept as the scene keeps them."""
    guide = scene.guide
    guide.look(scene.snapshot())
    if guide.walk is not None and guide.walk.task is None:
        guide.begin()
    guide.look(scene.snapshot())
    guide.go_on(scene.snapshot())
    return guide.found[-1]
