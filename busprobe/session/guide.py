"""The guided walk and the wiggle test of one scene: how far they have got and what they found, whatever is shown."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from busprobe.results import WalkResult
from busprobe.session.snapshot import Snapshot
from busprobe.session.walk import Step, Walk, ask, ask_again, begin, give_up, new_walk, watch
from busprobe.session.walk_seen import Happening
from busprobe.session.walk_tasks import tasks
from busprobe.session.wiggle import Wiggle, watch_wiggle, wiggle_result

Keep = Callable[[WalkResult], str]
"""Keeps a result in the recording. Returns what to tell the user ("" if kept)."""
Happened = tuple[Happening, ...]


class Guide:
    """For one thread: pictures and keys in, results out.

    keep: called with every result. recorded: those of the recording that is replayed, in the order found.
    """

    def __init__(self, keep: Keep, recorded: Sequence[WalkResult] = ()) -> None:
        self._keep = keep
        self.recorded = tuple(recorded)
        self.found: tuple[WalkResult, ...] = ()
        """What was found here, oldest first."""
        self.told = ""
        """What keeping the newest result said."""
        self.walk: Walk | None = None
        """None before the first picture."""
        self.wiggle: Wiggle | None = None

    @property
    def is_listening(self) -> bool:
        """Whether somebody waits to hear of every edge."""
        return self.wiggle is not None or (self.walk is not None and self.walk.task is not None)

    def look(self, picture: Snapshot) -> Happened:
        """Take in a picture."""
        if self.walk is None:
            self.walk = new_walk(tasks(picture.signals))
        if self.wiggle is not None:
            self.wiggle, happened = watch_wiggle(self.wiggle, picture)
            return happened
        return self._take(self.walk, watch(self.walk, picture))

    def begin(self) -> None:
        """Ask for the first role without a result; all again where each has one."""
        self._go(begin)

    def again(self) -> None:
        """The same action from its start."""
        self._go(ask_again)

    def ask(self, signal: str) -> None:
        """Ask for the role of one signal."""
        places = [i for i, task in enumerate(self.walk.tasks if self.walk is not None else ()) if task.signal == signal]
        if places:
            self._go(lambda walk: ask(walk, places[0]))

    def go_on(self, picture: Snapshot) -> Happened:
        """Go on with what was seen."""
        self.wiggle = None
        return () if self.walk is None else self._take(self.walk, give_up(self.walk, picture))

    def start_wiggle(self, signal: str) -> None:
        """Watch one signal, from the next picture on."""
        self.wiggle = Wiggle(signal)

    def end_wiggle(self) -> WalkResult | None:
        """The result; None where no picture was seen."""
        wiggle, self.wiggle = self.wiggle, None
        result = None if wiggle is None else wiggle_result(wiggle)
        if result is not None:
            self._add(result)
        return result

    def _go(self, to: Callable[[Walk], Walk]) -> None:
        self.wiggle = None
        if self.walk is not None:
            self.walk = to(self.walk)

    def _take(self, before: Walk, step: Step) -> Happened:
        self.walk, happened = step
        for was, result in zip(before.results, self.walk.results, strict=True):
            if result is not None and result is not was:
                self._add(result)
        return happened

    def _add(self, result: WalkResult) -> None:
        self.found = (*self.found, result)
        self.told = self._keep(result)
